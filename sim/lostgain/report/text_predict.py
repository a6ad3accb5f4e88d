"""What a failure looks like, for the terminal."""

from __future__ import annotations

import math

import numpy as np

from lostgain.diagnosis.severity import sentence
from lostgain.quantities import show
from lostgain.report.text_chain import text_chain
from lostgain.report.text_layout import WIDTH, joined, section, table, wrapped
from lostgain.report.text_letters import Letters, letters_for
from lostgain.report.text_wave import text_wave
from lostgain.signatures import Prediction, sentences, stage_gains
from lostgain.signatures.gains import NOTHING
from lostgain.signatures.predict import State
from lostgain.signatures.sentences import changed
from lostgain.signatures.shapes import picture

#: Frequencies of the response that are shown [Hz]: the nearest of the sweep.
SHOWN_HZ = (10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 10e3, 20e3, 50e3, 100e3)


def prediction_text(prediction: Prediction, encoding: str | None = "utf-8") -> str:
    """Return what a failure looks like beside the healthy unit.

    Parameters
    ----------
    prediction : Prediction
    encoding : str or None
        Of the output: pictures are drawn in characters it has.
    """
    letters = letters_for(encoding)
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
            _levels(prediction, letters),
            _points(prediction),
            _waves(prediction, letters),
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


def _levels(prediction: Prediction, letters: Letters) -> list[str]:
    title = f"Level along the chain at {show(prediction.frequencies[0], 'Hz')}"
    return [*section(title), *text_chain(prediction, 0, letters, WIDTH)]


def _points(prediction: Prediction) -> list[str]:
    rows = []
    for index, name in enumerate(prediction.points):
        shapes = [_shape(state, index) for state in (prediction.healthy, prediction.faulty)]
        volts = [_dc(float(state.dc[index])) for state in (prediction.healthy, prediction.faulty)]
        rows.append([name, *shapes, *volts])
    heads = ["Test point", "Picture", "failed", "DC, generator off", "failed"]
    return [*section("What the oscilloscope and the meter show"), *table(rows, "<<<>>", heads), *_ripple(prediction)]


def _ripple(prediction: Prediction) -> list[str]:
    """Ripple at every test point, where the supply is described."""
    healthy, faulty = prediction.healthy.ripple, prediction.faulty.ripple
    if not len(healthy):
        return []
    rows = [
        [name, *(show(float(value), "Vpp") if not value < 1e-4 else "nothing" for value in (healthy[row], faulty[row]))]
        for row, name in enumerate(prediction.points)
    ]
    return ["", *section("Ripple, with the mains on"), *table(rows, "<>>", ["Test point", "Healthy", "Failed"])]


def _shape(state: State, point: int) -> str:
    level = float(state.level[point, 0])
    if math.isnan(level):
        return "not known"
    return picture(state.wave[point, 0], level) or ("sine" if level > NOTHING else "nothing")


def _waves(prediction: Prediction, letters: Letters) -> list[str]:
    """Draw the signal where it first changes, where its shape changes again, and at the end."""
    off = [index for index, yes in enumerate(changed(prediction)) if yes]
    drawn: list[int] = []
    for index in off:
        if not drawn or index == off[-1] or _shape(prediction.faulty, index) != _shape(prediction.faulty, drawn[-1]):
            drawn.append(index)
    lines = section("The generator's sine, where it changes") if drawn else []
    for index in drawn:
        lines += [*text_wave(prediction, prediction.points[index], 0, letters, WIDTH), ""]
    return lines[:-1]


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
