"""Moves that are no readings: which can be made, and what each is expected to tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.belief import HEALTHY, Belief, Named
from lostgain.diagnosis.information import yes_or_no
from lostgain.diagnosis.moves import MoveKind, facts
from lostgain.diagnosis.next_model import Move
from lostgain.quantities import show
from lostgain.signatures import Table
from lostgain.unit.branches import behind
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part

Values = NDArray[np.float64]

#: Moves about parts less probable than this are not worked out.
LEAST = 0.01
#: A fault shows at the output if its level there differs by this much [dB] from the healthy one's.
SHOWS_DB = 2.0


def moves(table: Table, belief: Belief) -> list[Move]:
    """Return the moves that could be made, without any order.

    Parameters
    ----------
    table : Table
    belief : Belief
    """
    found: list[Move] = []
    for kind in facts().moves.values():
        if kind.of == "part":
            found += _about_parts(table, belief, kind)
        elif kind.of == "stage":
            found += _about_stages(table, belief, kind)
        elif kind.of == "channel":
            found += _about_channels(table, belief, kind)
    return found


def _about_parts(table: Table, belief: Belief, kind: MoveKind) -> Iterator[Move]:
    share = belief.of_decision() / max(belief.weight.sum(), 1e-300)
    for number, lifted in enumerate(belief.lifted):
        if lifted == HEALTHY or share[number] < LEAST:
            continue
        members = [each for each in belief.named if each.lifted == lifted]
        part = _part(table, members[0])
        if (
            part is None
            or part.kind not in kind.kinds
            or (kind.name in ("lift", "take-out") and _read(belief, members))
        ):
            continue
        shows = np.array([each.lifted == lifted and _concerns(kind, each) for each in belief.named])
        if not shows.any():
            continue
        words = {"part": _called(kind, lifted[0], members), "value": _value(part)}
        yield _move(belief, kind, shows[belief.suspect], words, lifted[0], members[0], f"whether it is {lifted[0]}")


def _read(belief: Belief, members: Sequence[Named]) -> bool:
    """Tell whether a part was read out of circuit already."""
    fault = members[0].fault
    return fault is not None and any(
        each.lifted and each.point.split()[0] == fault.part and each.channel == members[0].channel
        for each in (*belief.seen.readings, *(row for row, _ in belief.seen.words))
    )


def _called(kind: MoveKind, lifted: str, members: Sequence[Named]) -> str:
    """A whole package is swapped; what is lifted or bridged is one part."""
    return lifted if kind.name in ("swap", "swap-valve") else members[0].part


def _concerns(kind: MoveKind, named: Named) -> bool:
    return named.fault is not None and (not kind.modes or named.fault.mode in kind.modes)


def _part(table: Table, named: Named) -> Part | None:
    if named.fault is None:
        return None
    return table.circuit.parts[named.fault.part].part


def _value(part: Part) -> str:
    return show(part.value, kinds()[part.kind].unit) if part.value is not None else "the same value"


def _about_stages(table: Table, belief: Belief, kind: MoveKind) -> Iterator[Move]:
    """Inject where a stage begins: the output is then as it should be if the fault lies before it."""
    stages = table.circuit.unit.stages
    names = [stage.name for stage in stages if stage.source != "stand-in"]
    heard = _heard(table, belief)
    place = [each.fault.stage if each.fault and each.fault.stage in names else "" for each in belief.named]
    for name in names[1:]:
        from_here = {name, *behind(stages, name)}
        ahead = {each for each in names if name in behind(stages, each)}
        later = np.array([stage in from_here for stage in place], dtype=bool)[belief.suspect] & heard
        before = np.array([stage in ahead for stage in place], dtype=bool)[belief.suspect]
        if not later.any() or not before.any():
            continue
        words = {"stage": name}
        yield _move(belief, kind, later, words, "", None, f"whether the fault lies before {name} or behind", name)


def _heard(table: Table, belief: Belief) -> NDArray[np.bool_]:
    """Which hypotheses change the level at the output: array of bool, (row,)."""
    circuit = table.circuit
    at = [number for number, name in enumerate(table.points) if circuit.points[name] == circuit.output]
    if not at:
        return np.ones(len(belief.weight), dtype=bool)
    level = table.values("level")[:, 0, at[-1], 0]
    off = np.abs(20 * np.log10((level + 1e-4) / (level[0] + 1e-4))) > SHOWS_DB
    rows = {fault_row: bool(off[fault_row]) for fault_row in range(len(off))}
    by_fault: dict[tuple[str, str], bool] = {}
    for number, fault in enumerate(table.faults, 1):
        key = (fault.part, fault.mode)
        by_fault[key] = by_fault.get(key, False) or rows[number]
    shown = np.array([each.fault is not None and by_fault.get((each.fault.part, each.fault.mode), True)
                      for each in belief.named])  # fmt: skip
    return np.asarray(shown[belief.suspect])


def _about_channels(table: Table, belief: Belief, kind: MoveKind) -> Iterator[Move]:
    """Cross two channels at a connector: what lies before it changes sides with the signal, what lies behind stays."""
    unit = table.circuit.unit
    order = [stage.name for stage in unit.stages]
    if len(unit.channels) < 2:
        return
    for part in unit.parts.values():
        if part.kind not in kind.kinds or part.stage not in order:
            continue
        from_here = behind(unit.stages, part.stage)
        later = np.array([
            each.fault is not None and not each.fault.shared and each.fault.stage in from_here for each in belief.named
        ])  # fmt: skip
        if not later.any():
            continue
        first, second = unit.channels[0].name, unit.channels[1].name
        words = {"part": part.designator, "channel": first, "other": second}
        shows = f"whether the fault lies before {part.designator} (it changes sides) or behind (it stays)"
        yield _move(belief, kind, later[belief.suspect], words, part.designator, None, shows, part.stage)


def _move(
    belief: Belief, kind: MoveKind, yes: NDArray[np.bool_], words: dict[str, str], part: str, named: Named | None,
    shows: str, stage: str = "",
) -> Move:  # fmt: skip
    chance = np.where(yes, kind.finds, kind.misleads)
    bits, right = yes_or_no(belief.decision, belief.weight, chance)
    if named is not None and named.fault is not None:
        stage = named.fault.stage
    return Move(
        name=kind.name, part=part, stage=stage, channel=named.channel if named is not None else "",
        text=kind.says.format(**words), shows=shows, power=kind.power, risk=kind.risk, minutes=kind.minutes,
        information=bits, right=right,
    )  # fmt: skip
