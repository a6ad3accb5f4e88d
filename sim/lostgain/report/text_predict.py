"""What a failure looks like, for the terminal."""

from __future__ import annotations

import math

import numpy as np

from lostgain.diagnosis.severity import sentence
from lostgain.quantities import show
from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.signatures import Prediction, sentences, stage_gains
from lostgain.signatures.gains import NOTHING
from lostgain.signatures.shapes import picture

#: Frequencies of the response that are shown [Hz]: the nearest of the sweep.
SHOWN_HZ = (10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 10e3, 20e3, 50e3, 100e3)


def prediction_text(prediction: Prediction) -> str:
    """Return what a failure looks like beside the healthy unit.

    Parameters
    ----------
    prediction : Prediction
    """
    unit = prediction.circuit.unit
    heading = wrapped(unit.title)
    for fault in prediction.faults:
        heading += wrapped(f"{fault.label}: {sentence(fault, fault.severity, None, prediction.circuit, None)}", "  ")
    if unit.invented:
        heading += ["An invented example."]
    if len(unit.channels) > 1:
        heading += wrapped(f"Parts and test points are named as in {unit.channels[0].name}.")
    setup = unit.setup
    drive = (
        f"Generator: {show(setup.generator, 'V rms')} without load, from {show(setup.source, 'ohm')}, at "
        f"{show(prediction.frequencies[0], 'Hz')}. All parts at their nominal values."
    )
    told = [line for text in sentences(prediction) for line in wrapped(text, "  ")]
    return joined(
        [
            heading,
            [*section("What you would see"), *told],
            _gains(prediction),
            _points(prediction),
            _response(prediction),
            wrapped(drive),
            *[wrapped(f"Not simulated: {each}.") for each in _trouble(prediction)],
        ]
    )


def _trouble(prediction: Prediction) -> list[str]:
    healthy = [f"the healthy unit, {each}" for each in prediction.healthy.trouble]
    return [*healthy, *[f"the failure, {each}" for each in prediction.faulty.trouble]]


def _gains(prediction: Prediction) -> list[str]:
    healthy = stage_gains(prediction.circuit, prediction.healthy)
    faulty = stage_gains(prediction.circuit, prediction.faulty)
    rows = []
    for was, now in zip(healthy, faulty, strict=True):
        rows.append([was.stage, f"{was.first} to {was.last}", *gain_shown(was.gain[0]), *gain_shown(now.gain[0])])
    heads = ["Stage", "From, to", "Healthy", "", "Failed", ""]
    title = f"Stage gains at {show(prediction.frequencies[0], 'Hz')}"
    return [*section(title), *table(rows, "<<>>>>", heads)] if rows else []


def gain_shown(ratio: float) -> tuple[str, str]:
    """Return a gain in decibels and as a ratio: ``20.8 dB``, ``×11``."""
    if math.isnan(ratio):
        return "—", "—"
    if ratio < 1e-6:
        return "none", "×0"
    return show(20 * math.log10(ratio), "dB"), f"×{ratio:.3g}"


def _points(prediction: Prediction) -> list[str]:
    healthy, faulty = prediction.healthy, prediction.faulty
    rows = []
    for index, name in enumerate(prediction.points):
        levels = [_level(float(state.level[index, 0])) for state in (healthy, faulty)]
        dc = [_dc(float(state.dc[index])) for state in (healthy, faulty)]
        shape = picture(faulty.wave[index, 0], faulty.level[index, 0])
        rows.append([name, *levels, shape or ("sine" if faulty.level[index, 0] > NOTHING else "—"), *dc])
    heads = ["Test point", "Healthy", "Failed", "Picture", "DC", "DC failed"]
    title = f"Level at {show(prediction.frequencies[0], 'Hz')} (V rms) and DC with the generator off"
    return [*section(title), *table(rows, "<>><>>", heads)]


def _level(volts: float) -> str:
    return "nothing" if volts < NOTHING else show(volts, "V")


def _dc(volts: float) -> str:
    return "0 V" if abs(volts) < 0.5e-3 else show(volts, "V")


def _response(prediction: Prediction) -> list[str]:
    picks = [int(np.argmin(np.abs(np.log(prediction.sweep / hertz)))) for hertz in SHOWN_HZ]
    rows = []
    for pick, hertz in zip(picks, SHOWN_HZ, strict=True):
        was, now = (gain_shown(float(state.response[pick]))[0] for state in (prediction.healthy, prediction.faulty))
        rows.append([show(hertz, "Hz"), was, now])
    title = "Response from the generator to the output, small signal"
    return [*section(title), *table(rows, ">>>", ["", "Healthy", "Failed"])]
