"""Readings along the chain, with the healthy unit and what the leading suspects predict."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from lostgain.diagnosis import Suspect, Verdict
from lostgain.diagnosis.drawn import suspect_levels
from lostgain.readings import Readings
from lostgain.readings.model import Reading
from lostgain.report.levels import decibels, highest, unreachable
from lostgain.report.pictures.chain import RANGE, healthy_range
from lostgain.report.pictures.rows import Chart, Trace, draw
from lostgain.report.pictures.scale import dress
from lostgain.report.pictures.style import CHANNELS, HEALTHY, SUSPECTS, Look, drawing, kind_of, save
from lostgain.report.pictures.titles import drive, frequency
from lostgain.report.shares import percent
from lostgain.signatures import Table
from lostgain.signatures.gains import NOTHING

#: A reading's frequency is one of the set-up's if it lies within this share of it.
SAME = 1e-3


def level_match(table: Table, readings: Readings, verdict: Verdict, path: Path | str, leading: int = 2) -> Path:
    """Draw the levels read in each channel, the healthy unit with its range, and the leading suspects' predictions.

    Parameters
    ----------
    table : Table
        The unit's signature table.
    readings : Readings
    verdict : Verdict
        Its first suspects are drawn, at their estimated severity and nominal part values.
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.
    leading : int
        How many suspects, at most 3.

    Returns
    -------
    Path

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    unit = table.circuit.unit
    own = slice(len(table.frequencies))  # the picture is of the generator's own level
    levels = table.values("level")[..., own]
    low, high = (ends[:, own] for ends in healthy_range(table))
    # The first is always shown; another only if it is worth a look.
    likely = [each for each in verdict.suspects[1:] if each.probability >= 0.01]
    shown = (*verdict.suspects[:1], *likely)[: min(leading, len(SUSPECTS))]
    expected = [suspect_levels(table, suspect)[:, own] for suspect in shown]
    traces = [Trace("healthy", HEALTHY, decibels(levels[0, 0]), low, high)]
    traces += [Trace(_called(suspect), look, decibels(predicted))
               for suspect, predicted, look in zip(shown, expected, SUSPECTS, strict=False)]  # fmt: skip
    names = [channel.name for channel in unit.channels]
    read = [name for name in names if any(each.channel == name for each in readings.rows)]
    traces += [_read(table, readings, name, CHANNELS[names.index(name) % len(CHANNELS)], name == readings.good)
               for name in read]  # fmt: skip
    top = highest([levels[0, 0], *expected, np.array([each.value or 0.0 for each in _levels(readings.rows)])])
    lost = frozenset(point for point, _ in readings.unreachable)
    chart = Chart(
        title="Levels read along the chain",
        below=(drive(unit),),
        points=table.points,
        unreachable=unreachable(unit) | lost,
        axes=tuple(frequency(each, index) for index, each in enumerate(table.frequencies)),
        dress=lambda ax: dress(ax, top),
        traces=tuple(traces),
        range_label=RANGE,
        notes=_notes(table, readings),
    )
    with drawing():
        return save(draw(chart), path)


def _called(suspect: Suspect) -> str:
    return f"{suspect.part} {suspect.mode}, {percent(suspect.probability)}"


def _levels(rows: Sequence[Reading]) -> list[Reading]:
    return [reading for reading in rows if reading.quantity == "level"]


def _read(table: Table, readings: Readings, channel: str, look: Look, good: bool) -> Trace:
    """Return one channel's readings: marks where they are numbers or nothing, and all of them as they were typed."""
    values = np.full((len(table.points), len(table.frequencies)), np.nan)
    texts = [[""] * len(table.frequencies) for _ in table.points]
    for reading in _levels(readings.rows):
        index = _index(table, reading)
        if reading.channel != channel or reading.point not in table.points or index is None:
            continue
        point = table.points.index(reading.point)
        texts[point][index] = reading.text or reading.word
        if reading.value is not None:
            values[point, index] = reading.value
        elif reading.word == "nothing":
            values[point, index] = NOTHING
    alone = len(table.circuit.unit.channels) == 1
    label = "read" if alone else f"read in {channel}" + (" (known to be good)" if good else "")
    return Trace(label, look, decibels(values), column=texts, heading="read" if alone else channel)


def _index(table: Table, reading: Reading) -> int | None:
    """Return which of the set-up's frequencies a reading was taken at, None for another or another generator level."""
    if reading.frequency is None or reading.generator is not None:
        return None
    same = (index for index, each in enumerate(table.frequencies)
            if math.isclose(each, reading.frequency, rel_tol=SAME))  # fmt: skip
    return next(same, None)


def _notes(table: Table, readings: Readings) -> tuple[str, ...]:
    """Say what the picture does not show."""
    notes = ["Suspects are drawn at nominal part values and the severity that the readings give."]
    channels = table.circuit.unit.channels
    if len(channels) > 1:
        notes.append(f"Test points are named as in {channels[0].name}.")
    other = sum(reading.quantity != "level" for reading in readings.rows)
    away = sum(_index(table, reading) is None for reading in _levels(readings.rows))
    if other:
        notes.append(f"Not shown: {other} reading{'s' * (other > 1)} of other quantities than level.")
    if away:
        notes.append(
            f"Not shown: {away} reading{'s' * (away > 1)} at other frequencies or generator levels than the picture's."
        )
    return tuple(notes)
