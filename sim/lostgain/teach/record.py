"""The record of a drill: what is hidden, the work order, how the bench stands, and every step taken so far."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from lostgain.readings.model import Reading
from lostgain.teach.hidden import Bench, Hidden, hidden_from, hidden_record

#: How a drill may end.
SIGNED_OFF, UNSAFE = "signed off", "unsafe"

_READING = ("point", "quantity", "channel", "value", "word", "given_as", "frequency", "instrument", "below", "above",
            "against", "lifted", "text")  # fmt: skip
#: What drills that were kept by earlier versions do not have.
_LATER = ("generator",)


@dataclass(frozen=True)
class Step:
    """One thing done.

    Parameters
    ----------
    typed : str
    act : str
        A name of ``actions.toml``; ``reading`` for one.
    minutes, money : float
        [min], and the shop's money.
    says : str
        What the bench answered.
    channel : str
    parts : tuple of str
        What it was done to, in designators of the first channel.
    reading : Reading or None
    compared : bool
        Whether the reading was taken in the unit's own set-up, so that a signature table can weigh it.
    left : float
        Share of what is there that was left when the probe touched it.
    turned : str
        How the controls of that channel stood, where they are not the unit's own.
    gone : int
        How many of the faults had been done away with when it was over.
    """

    typed: str
    act: str
    minutes: float
    money: float = 0.0
    says: str = ""
    channel: str = ""
    parts: tuple[str, ...] = ()
    reading: Reading | None = None
    compared: bool = False
    left: float = 1.0
    turned: str = ""
    gone: int = 0


@dataclass(frozen=True)
class Drill:
    """A drill so far.

    Parameters
    ----------
    hidden : Hidden
    order : tuple of str
        The work order, sentence by sentence.
    start : tuple of Reading
        Readings taken on arrival, which cost nothing.
    bench : Bench
    steps : tuple of Step
    ended : str
        Empty, `SIGNED_OFF` or `UNSAFE`.
    hazard : str
        Its name, of an unsafe act that ended the drill.
    result : mapping
        How it was scored, once it has been; see `lostgain.teach.score`.
    """

    hidden: Hidden
    order: tuple[str, ...]
    start: tuple[Reading, ...]
    bench: Bench
    steps: tuple[Step, ...] = ()
    ended: str = ""
    hazard: str = ""
    result: Mapping[str, Any] | None = None

    @property
    def minutes(self) -> float:
        """Minutes used so far [min]."""
        return sum(each.minutes for each in self.steps)

    @property
    def money(self) -> float:
        """What the new parts cost."""
        return sum(each.money for each in self.steps)

    @property
    def readings(self) -> tuple[Reading, ...]:
        """Readings taken so far, those on arrival left out."""
        return tuple(each.reading for each in self.steps if each.reading is not None)


def drill_record(drill: Drill) -> dict[str, Any]:
    """Return a drill as plain data."""
    return {
        "hidden": hidden_record(drill.hidden), "order": list(drill.order), "ended": drill.ended,
        "start": [_reading_record(each) for each in drill.start], "bench": asdict(drill.bench),
        "steps": [_step_record(each) for each in drill.steps], "hazard": drill.hazard, "result": drill.result,
    }  # fmt: skip


def drill_from(data: Mapping[str, Any]) -> Drill:
    """Return what `drill_record` wrote.

    Raises
    ------
    KeyError, TypeError, ValueError
        If something is missing or of another sort.
    """
    return Drill(
        hidden_from(data["hidden"]), tuple(data["order"]), tuple(_reading_from(each) for each in data["start"]),
        _bench_from(data["bench"]), tuple(_step_from(each) for each in data["steps"]), data["ended"], data["hazard"],
        data["result"],
    )  # fmt: skip


def _reading_record(reading: Reading) -> dict[str, Any]:
    return {name: getattr(reading, name) for name in (*_READING, *_LATER)}


def _reading_from(data: Mapping[str, Any]) -> Reading:
    later = {name: data[name] for name in _LATER if name in data}
    return Reading(**{name: data[name] for name in _READING}, **later)


def _step_record(step: Step) -> dict[str, Any]:
    reading = _reading_record(step.reading) if step.reading is not None else None
    return {**asdict(replace(step, reading=None)), "reading": reading}


def _step_from(data: Mapping[str, Any]) -> Step:
    reading = _reading_from(data["reading"]) if data["reading"] is not None else None
    return Step(**{**data, "parts": tuple(data["parts"]), "reading": reading})


def _bench_from(data: Mapping[str, Any]) -> Bench:
    pairs = {name: tuple((str(one), str(other)) for one, other in data[name])
             for name in ("lifted", "replaced", "bridged")}  # fmt: skip
    return Bench(**{**data, **pairs, "swapped": tuple(data["swapped"])})
