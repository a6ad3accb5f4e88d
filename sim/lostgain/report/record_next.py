"""What to do next as a plain record for other programs."""

from __future__ import annotations

from typing import Any

from lostgain.diagnosis.next_model import Move, Next, NextReading
from lostgain.report.text_next import next_line
from lostgain.unit.model import Unit


def next_record(step: Next, unit: Unit) -> dict[str, Any]:
    """Return what to do next as one JSON object.

    Returns
    -------
    dict
        ``next`` (readings and moves, most information per minute first; each with ``kind``: ``reading`` or the move's
        name, ``minutes``, ``information`` [bit], ``rate`` [bit/min]; a reading with ``point``, ``against``,
        ``quantity``, ``frequency`` [Hz], ``generator`` [V rms] where it is not the set-up's, ``channel``,
        ``instrument``, ``power``, ``risk``, ``expected``; a move with ``part``, ``stage``, ``channel``, ``text``,
        ``shows``, ``power``, ``risk``), ``stop`` (why no further reading is asked for, or empty), ``parts``,
        ``action``, ``instead``, ``text``.
    """
    return {
        "next": [_reading(each) if isinstance(each, NextReading) else _move(each) for each in step.ranked],
        "stop": step.stop,
        "parts": [{"part": part, "channel": channel, "probability": share} for part, channel, share in step.parts],
        "action": _move(step.action) if step.action is not None else None,
        "instead": [
            {"point": each.point, "channel": each.channel, "place": each.place, "same_node": each.same_node}
            for each in step.instead
        ],
        "text": next_line(step, unit),
    }


def _reading(each: NextReading) -> dict[str, Any]:
    return {
        "kind": "reading", "point": each.point, "quantity": each.quantity, "frequency": each.frequency,
        "generator": each.generator,
        "channel": each.channel, "instrument": each.instrument, "against": each.against or None, "power": each.power,
        "risk": each.risk, **_worth(each),
        "expected": [
            {"part": one.part, "mode": one.mode, "channel": one.channel, "probability": one.probability,
             "value": one.value, "low": one.low, "high": one.high}
            for one in each.expectations
        ],
    }  # fmt: skip


def _move(each: Move) -> dict[str, Any]:
    return {
        "kind": each.name, "part": each.part, "stage": each.stage, "channel": each.channel, "text": each.text,
        "shows": each.shows, "power": each.power, "risk": each.risk, **_worth(each),
    }  # fmt: skip


def _worth(each: NextReading | Move) -> dict[str, float]:
    return {"minutes": each.minutes, "information": each.information, "rate": each.rate}
