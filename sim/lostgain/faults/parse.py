"""Reading a fault as it is typed: ``C7 open``, ``R14 drift 3x``, ``C9 esr 40``."""

from __future__ import annotations

import re

from lostgain.circuit import Circuit
from lostgain.faults.catalogue import Mode, modes_for
from lostgain.faults.edits import can_put_in
from lostgain.faults.listing import clusters, is_shared
from lostgain.faults.model import Fault
from lostgain.faults.packages import never_alone
from lostgain.problems import Problem, UserError, nearest
from lostgain.quantities import component
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part

#: Lowest and highest severity that means anything: factors, shares left of the nominal value, ohms.
LIMITS = {"times": (1e-6, 1e6), "share": (1e-9, 1.0), "ohm": (1e-3, 1e12)}

_FACTOR = re.compile(r"[x×]?\s*(\d*[.,]?\d+(?:e[+-]?\d+)?)\s*([x×%]|times)?", re.IGNORECASE | re.ASCII)


def parse(text: str, circuit: Circuit) -> Fault:
    """Read one fault.

    Parameters
    ----------
    text : str
        Designator, mode, and a severity where the mode has one: a factor (``3x``, ``0.3``), a share left (``5 %``),
        what is left of the value (``2u2``, ``220n``), or ohms (``40``, ``4k7``). Of parts that fail together the name
        alone will do: ``output-pair-shorted``.
    circuit : Circuit
        The unit's circuit.

    Raises
    ------
    UserError
        For an unknown part or mode, or a severity that is missing, not wanted or no number.
    """
    words = text.split()
    if whole := _cluster(" ".join(words).lower(), None, circuit):
        return whole
    if len(words) < 2:
        raise _wrong(f"'{text}' is no fault: a part and what is wrong with it are needed.", 'Example: "C7 open".')
    part = _find_part(words[0], circuit)
    joined = " ".join(words[1:])
    if cluster := _cluster(joined.lower(), part.designator, circuit):
        return cluster
    known = tuple(
        mode for mode in modes_for(part.kind) if can_put_in(mode, circuit.parts[part.designator], circuit.flat)
    )
    mode, tail = _find_mode(joined, part, known, circuit)
    if not tail and (part.designator, mode.name) in never_alone(circuit.unit):
        return next(each for each in clusters(circuit.unit) if each.mode == mode.name and _holds(each, part))
    severity = _severity(tail, mode, part, text)
    return Fault(part.designator, mode.name, severity, part.stage, shared=is_shared(part, circuit.unit))


def _cluster(name: str, part: str | None, circuit: Circuit) -> Fault | None:
    """Return a cluster by its name; of several stages' clusters of one name, the one the part belongs to."""
    found = [each for each in clusters(circuit.unit) if name in (each.mode, each.mode.replace("-", " "))]
    if part is not None:
        found = [each for each in found if part in {member.part for member in each.members}]
    if len(found) > 1:
        meant = ", ".join(f'"{each.part} {each.mode}"' for each in found)
        raise _wrong(f"'{name}' is in more than one stage.", f"Expected one of {meant}.")
    return found[0] if found else None


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


def _find_mode(text: str, part: Part, known: tuple[Mode, ...], circuit: Circuit) -> tuple[Mode, str]:
    """Return the mode a text begins with, and what follows it, in the letters it was typed in (1M5 is not 1m5)."""
    names = {name: mode for mode in known for name in (mode.name, *mode.also)}
    spaced = {name.replace("-", " "): mode for name, mode in names.items()}
    lower = text.lower()
    for spelling in sorted({**names, **spaced}, key=len, reverse=True):
        if lower == spelling or lower.startswith(spelling + " "):
            return {**spaced, **names}[spelling], text[len(spelling) :].strip()
    with_clusters = [*names, *(each.mode for each in clusters(circuit.unit) if _holds(each, part))]
    if not with_clusters:
        raise _wrong(f"no failure of {part.designator} can be simulated: it has no value, pins or model to change.")
    raise _wrong(
        f"'{text}' is no failure mode of {part.designator} (a part of kind {part.kind}).",
        nearest(text.split()[0], with_clusters) or f"Known: {', '.join(mode.name for mode in known)}.",
    )


def _holds(cluster: Fault, part: Part) -> bool:
    return part.designator in {member.part for member in cluster.members}


def _severity(text: str, mode: Mode, part: Part, whole: str) -> float | None:
    if not mode.severity:
        if text:
            raise _wrong(f"'{text}' is too much: {part.designator} {mode.name} has no severity.")
        return None
    if not text and mode.usual is not None:
        return mode.usual
    if not text:
        raise _wrong(f"'{whole}' does not say how much.", _examples(mode, part))
    value = _read(text, mode, part)
    low, high = LIMITS[mode.severity]
    if value is None or not low <= value <= high:
        raise _wrong(f"'{text}' is no severity of {part.designator} {mode.name}.", _examples(mode, part))
    return value


def _read(text: str, mode: Mode, part: Part) -> float | None:
    """Return a severity: a plain number or a share of the nominal value, or what is left or there instead of it."""
    unit = kinds()[part.kind].unit
    if mode.severity not in ("times", "share"):
        return _component(text, "ohm")
    factor = _FACTOR.fullmatch(text)
    if factor:
        number = float(factor[1].replace(",", "."))
        return number / 100 if factor[2] == "%" else number
    value = _component(text.lstrip("-−") if unit == "volt" else text, unit) if unit else None
    return value / abs(part.value) if value is not None and part.value else None


def _component(text: str, unit: str) -> float | None:
    try:
        return component(text, unit)
    except ValueError:
        return None


def _examples(mode: Mode, part: Part) -> str:
    example = {"times": "3x", "share": "10%", "ohm": "40"}[mode.severity]
    return f'Expected: "{part.designator} {mode.name} {example}".'
