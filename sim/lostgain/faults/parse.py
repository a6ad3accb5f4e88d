"""Reading a fault as it is typed: ``C7 open``, ``R14 drift 3x``, ``C9 esr 40``."""

from __future__ import annotations

import re

from lostgain.circuit import Circuit
from lostgain.faults.catalogue import Mode, modes_for
from lostgain.faults.listing import clusters, is_shared
from lostgain.faults.model import Fault
from lostgain.problems import Problem, UserError, nearest
from lostgain.quantities import component
from lostgain.unit.model import Part


def parse(text: str, circuit: Circuit) -> Fault:
    """Read one fault.

    Parameters
    ----------
    text : str
        Designator, mode, and a severity where the mode has one: a factor (``3x``, ``0.3``), a share left (``5 %``),
        what is left of the value (``2u2``, ``220n``), or ohms (``40``, ``4k7``).
    circuit : Circuit
        The unit's circuit.

    Raises
    ------
    UserError
        For an unknown part or mode, or a severity that is missing, not wanted or no number.
    """
    words = text.split()
    if len(words) < 2:
        raise _wrong(f"'{text}' is no fault: a part and what is wrong with it are needed.", 'Example: "C7 open".')
    part = _find_part(words[0], circuit)
    joined = " ".join(words[1:]).lower()
    for cluster in clusters(circuit.unit):
        if cluster.part == part.designator and joined == cluster.mode:
            return cluster
    known = modes_for(part.kind)
    mode, tail = _find_mode(joined, part, known)
    severity = _severity(tail, mode, part, text)
    return Fault(part.designator, mode.name, severity, part.stage, shared=is_shared(part, circuit.unit))


def _wrong(message: str, meant: str = "") -> UserError:
    return UserError(Problem(message, meant=meant))


def _find_part(word: str, circuit: Circuit) -> Part:
    by_upper = {name.upper(): place.part for name, place in circuit.parts.items()}
    wanted = word.upper()
    if wanted in by_upper:
        return by_upper[wanted]
    for channel in circuit.unit.channels:
        for own, theirs in channel.designators.items():
            if theirs.upper() == wanted and own in circuit.parts:
                return circuit.parts[own].part
    if wanted in {name.upper() for name in circuit.unit.parts}:
        raise _wrong(f"{word} is in the unit file, but not in the circuit that is simulated.")
    raise _wrong(f"there is no part {word} in {circuit.unit.title}.", nearest(word, circuit.parts))


def _find_mode(text: str, part: Part, known: tuple[Mode, ...]) -> tuple[Mode, str]:
    names = {name: mode for mode in known for name in (mode.name, *mode.also)}
    spaced = {name.replace("-", " "): mode for name, mode in names.items()}
    for spelling in sorted({**names, **spaced}, key=len, reverse=True):
        if text == spelling or text.startswith(spelling + " "):
            return {**spaced, **names}[spelling], text[len(spelling) :].strip()
    raise _wrong(
        f"'{text}' is no failure mode of {part.designator} (a part of kind {part.kind}).",
        nearest(text.split()[0], names) or f"Known: {', '.join(mode.name for mode in known)}.",
    )


def _severity(text: str, mode: Mode, part: Part, whole: str) -> float | None:
    if not mode.severity:
        if text:
            raise _wrong(f"'{text}' is too much: {part.designator} {mode.name} has no severity.")
        return None
    if not text:
        raise _wrong(f"'{whole}' says not how much.", _examples(mode, part))
    value = _read(text, mode, part)
    if value is None or not value > 0:
        raise _wrong(f"'{text}' is no severity of {part.designator} {mode.name}.", _examples(mode, part))
    return value


def _read(text: str, mode: Mode, part: Part) -> float | None:
    factor = re.fullmatch(r"(?:x|×)?\s*(\d*[.,]?\d+(?:e[+-]?\d+)?)\s*(x|×|times|%)?", text)
    if mode.severity in ("times", "share"):
        if factor:
            number = float(factor[1].replace(",", "."))
            return number / 100 if factor[2] == "%" else number
        unit = {"R": "ohm", "C": "farad", "L": "henry"}.get(part.designator[0])
        value = _component(text, unit) if unit and part.value else None
        return value / part.value if value is not None and part.value else None
    return _component(text, "ohm")


def _component(text: str, unit: str) -> float | None:
    try:
        return component(text, unit)
    except ValueError:
        return None


def _examples(mode: Mode, part: Part) -> str:
    example = {"times": "3x", "share": "10%", "ohm": "40 (ohms)", "volt": "12 V"}[mode.severity]
    return f'Expected: "{part.designator} {mode.name} {example}".'
