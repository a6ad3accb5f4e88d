"""A verdict and a prediction as plain records for other programs: lists, dicts, text and numbers only."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from lostgain.diagnosis import Limits, Tried, Two, Verdict
from lostgain.signatures import Prediction, sentences, stage_gains
from lostgain.signatures.predict import State


def verdict_record(
    verdict: Verdict, limits: Limits | None = None, tried: Tried | None = None, step: str | None = None
) -> dict[str, Any]:
    """Return a verdict as one JSON object.

    Parameters
    ----------
    verdict : Verdict
    limits : Limits or None
        What no reading can tell.
    tried : Tried or None
        Pairs of failures, where no single one explains the readings.
    step : str or None
        What to read or do next, in a sentence.

    Returns
    -------
    dict
        ``suspects`` (most probable first; each with ``part``, ``mode``, ``severity``, ``severity_text``, ``stage``,
        ``channel``, ``probability``, ``group``), ``healthy``, ``faulty`` (whether the unit is called so),
        ``unexplained``, ``elsewhere`` (stray paths that explain the readings), ``groups`` (each with ``group``,
        ``suspects``, ``probability``), ``warnings``, ``table``, ``knowledge``; with `limits` also ``inseparable`` and
        ``unmarked``, with `tried` also ``two_at_once``, with `step` also ``next``; and ``checks``: what readings with
        the power off say of parts by themselves. What is no number is None.
    """
    suspects = [
        {
            "part": each.part,
            "mode": each.mode,
            "severity": _number(each.severity),
            "severity_text": each.severity_text,
            "stage": each.stage,
            "channel": each.channel,
            "probability": _number(each.probability),
            "group": each.group,
        }
        for each in verdict.suspects
    ]
    groups = [
        {"group": each.number, "suspects": list(each.suspects), "probability": _number(each.probability)}
        for each in verdict.groups
    ]
    return {
        "suspects": suspects,
        "healthy": _number(verdict.healthy),
        "faulty": verdict.faulty,
        "unexplained": _number(verdict.unexplained),
        "elsewhere": [
            {
                "text": each.text,
                "stages": list(each.stages),
                "channel": each.channel,
                "ohm": _number(each.ohms),
                "probability": _number(each.probability),
            }
            for each in verdict.elsewhere
        ],
        "groups": groups,
        "warnings": list(verdict.warnings),
        "checks": list(verdict.checks),
        "table": verdict.table,
        "knowledge": list(verdict.knowledge),
        **({} if step is None else {"next": step}),
        **({} if tried is None else {"two_at_once": [_two(each) for each in tried.pairs]}),
        **({} if limits is None else {"inseparable": list(limits.inseparable), "unmarked": list(limits.unmarked)}),
    }


def _two(pair: Two) -> dict[str, Any]:
    faults = [
        {"part": part, "mode": fault.mode, "severity": _number(fault.severity)}
        for part, fault in zip(pair.parts, pair.faults, strict=True)
    ]
    return {
        "faults": faults,
        "text": pair.text,
        "channel": pair.channel,
        "probability": _number(pair.probability),
    }


def prediction_record(prediction: Prediction) -> dict[str, Any]:
    """Return a prediction as one JSON object; what has no number is None.

    Parameters
    ----------
    prediction : Prediction

    Returns
    -------
    dict
        ``unit``, ``faults``, ``sentences``, ``points``, ``frequencies`` [Hz], ``sweep`` [Hz], and ``healthy`` and
        ``faulty``, each with ``dc`` [V], ``dc_range`` [V] (least and most of units drawn within tolerances; empty where
        not known), ``level`` (a list of points, of frequencies) [V rms], ``swing`` [V peak to peak], ``settled``,
        ``response`` (as a ratio), ``stage_gains`` and ``trouble``.
    """
    return {
        "unit": prediction.circuit.unit.name,
        "faults": [
            {"part": each.part, "mode": each.mode, "severity": _number(each.severity)} for each in prediction.faults
        ],
        "sentences": sentences(prediction),
        "points": list(prediction.points),
        "frequencies": list(prediction.frequencies),
        "sweep": _numbers(prediction.sweep),
        "healthy": _state(prediction, prediction.healthy),
        "faulty": _state(prediction, prediction.faulty),
    }


def _state(prediction: Prediction, state: State) -> dict[str, Any]:
    gains = [
        {"stage": each.stage, "from": each.first, "to": each.last, "gain": [_number(gain) for gain in each.gain]}
        for each in stage_gains(prediction.circuit, state)
    ]
    return {
        "dc": _numbers(state.dc),
        "dc_range": [_numbers(row) for row in state.dc_range],
        "level": [_numbers(row) for row in state.level],
        "swing": [_numbers(row) for row in state.swing],
        "settled": [bool(each) for each in state.settled],
        "response": _numbers(state.response),
        "stage_gains": gains,
        "trouble": list(state.trouble),
    }


def _numbers(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[float | None]:
    return [_number(float(value)) for value in values]


def _number(value: float | None) -> float | None:
    return float(value) if value is not None and math.isfinite(value) else None
