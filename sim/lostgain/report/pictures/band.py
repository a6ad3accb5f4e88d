"""The response at the output."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from lostgain.quantities import show
from lostgain.report.pictures.style import (
    FAULTY,
    GREY,
    HEALTHY,
    KEY,
    SMALL,
    drawing,
    fitted,
    head,
    kind_of,
    save,
    sheet,
)
from lostgain.report.pictures.titles import about, drive, failure
from lostgain.signatures import Prediction

#: A gain of nothing counts as this [dB]; how far the picture reaches below its highest line [dB].
DEEPEST, REACH = -120.0, 90.0
WIDTH, TALL = 8.27, 3.0


def response(prediction: Prediction, path: Path | str) -> Path:
    """Draw the small-signal gain from the generator to the output, 10 Hz to 100 kHz, healthy and faulty.

    Parameters
    ----------
    prediction : Prediction
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.

    Returns
    -------
    Path

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    with drawing():
        lines = fitted((about(prediction), f"{drive(prediction.circuit.unit)}; small-signal gain",
                        *prediction.faulty.trouble), WIDTH)  # fmt: skip
        height = head(lines) + TALL + 1.15
        figure = sheet(WIDTH, height, f"Response at the output: {failure(prediction)}", lines)
        ax = figure.add_axes((0.75 / WIDTH, 0.85 / height, (WIDTH - 1.1) / WIDTH, TALL / height))
        _lines(ax, prediction)
        _marks(ax, prediction)
        figure.legend(loc="lower left", bbox_to_anchor=(0.15 / WIDTH, 0.12 / height), ncols=3, **KEY)
        return save(figure, path)


def _lines(ax: Axes, prediction: Prediction) -> None:
    gains = [_decibels(state.response) for state in (prediction.healthy, prediction.faulty)]
    known = [gain[np.isfinite(gain)] for gain in gains if np.isfinite(gain).any()]
    top = float(np.ceil(max((gain.max() for gain in known), default=0.0) / 10) * 10 + 5)
    bottom = max(float(np.floor(min((gain.min() for gain in known), default=-20.0) / 10) * 10 - 5), top - REACH)
    for gain, label, look in zip(gains, ("healthy", "faulty"), (HEALTHY, FAULTY), strict=True):
        ax.plot(prediction.sweep, gain, label=label, color=look.colour, ls=look.dashes, lw=1.6,
                zorder=3 + (look is HEALTHY))  # fmt: skip
    ax.set_xscale("log")
    ax.set_xlim(prediction.sweep[0], prediction.sweep[-1])
    ax.set_ylim(bottom, top)
    marks = [10.0, 100.0, 1e3, 10e3, 100e3]
    ax.set_xticks(marks, [show(mark, "Hz") for mark in marks])
    ax.set_xlabel("Frequency [Hz]")
    ax.set_ylabel("Gain, generator to output [dB]")
    ax.grid(which="both")
    if not np.isfinite(gains[1]).any():
        ax.text(0.5, 0.5, "faulty: no response, the run did not converge", color=FAULTY.colour,
                transform=ax.transAxes, ha="center", va="center")  # fmt: skip


def _marks(ax: Axes, prediction: Prediction) -> None:
    """Mark the set-up's frequencies."""
    for frequency in prediction.frequencies:
        ax.axvline(frequency, color=GREY, lw=0.8, ls=(0, (2, 2)), zorder=1)
        ax.annotate(show(frequency, "Hz"), (frequency, 1), xytext=(0, 3), xycoords=ax.get_xaxis_transform(),
                    textcoords="offset points", ha="center", va="bottom", size=SMALL, color=GREY)  # fmt: skip


def _decibels(gain: np.ndarray) -> np.ndarray:
    return np.asarray(20 * np.log10(np.maximum(gain, 10 ** (DEEPEST / 20))))
