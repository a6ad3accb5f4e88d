"""From what is there to what an instrument shows: its band, its errors drawn for this drill, its floor and its end."""

from __future__ import annotations

import hashlib
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lostgain.quantities import PP_PER_RMS, show, show_level
from lostgain.readings.model import LEVELS, UNITS, UNPOWERED, Instrument, Reading
from lostgain.signatures.gains import NOTHING
from lostgain.teach.distortion import percent
from lostgain.teach.hidden import Hidden
from lostgain.teach.looking import Seen

#: An average-responding meter is scaled so that a sine reads its rms value: pi / (2 sqrt 2).
FORM_FACTOR = np.pi / 8**0.5
#: The last digit stirs by this share of what the instrument tells from nothing (common practice, no source).
LAST_DIGIT = 0.2
#: Cycles that an oscilloscope shows; the noise of its trace, one standard deviation, and half the height of its screen
#: at its most sensitive, both as shares of what it tells from nothing (common practice, no source).
CYCLES, TRACE, SCREEN = 2, 0.3, 10.0
#: Figures shown of a reading.
FIGURES = {"pp": 3, "rms": 4}


def level_shown(seen: Seen, instrument: Instrument, frequency: float) -> float:
    """Return a level as an instrument without errors would show it, as the rms value of a sine [V rms].

    Parameters
    ----------
    seen : Seen
    instrument : Instrument
    frequency : float
        [Hz]

    Notes
    -----
    Beyond its band an instrument is taken to fall off as a filter of first order does, by half an octave further.
    """
    size = {"pp": seen.swing / PP_PER_RMS, "rms": seen.rms, "average": seen.average * FORM_FACTOR}
    low, high = instrument.bandwidth
    share = min(1.0, high / frequency) * min(1.0, frequency / low if low else 1.0)
    return float(size[instrument.responds] * share)


def reading_of(hidden: Hidden, wanted: Reading, value: float, instrument: Instrument, number: int) -> Reading:
    """Return a reading with the errors that this drill's instrument has.

    Parameters
    ----------
    hidden : Hidden
    wanted : Reading
        Without a value.
    value : float
        [V rms], [V], [V peak to peak], [A], [ohm].
    instrument : Instrument
    number : int
        Of the reading in the drill: the last digit stirs with it, and nothing else.
    """
    scale, zero = hidden.meters.get(instrument.name, (0.0, 0.0))
    quantity = wanted.quantity
    own = _normal(hidden.seed, instrument.name, wanted.channel, wanted.point, wanted.against, quantity,
                  wanted.frequency)  # fmt: skip
    shown = value * (1 + instrument.scale_error * scale) * (1 + instrument.read_error * own)
    if quantity in ("dc", *UNPOWERED):
        shown += instrument.zero_error * zero
    floor, largest = instrument.floor(quantity), instrument.largest(quantity)
    shown += LAST_DIGIT * floor * _normal(hidden.seed, "digit", number)
    form = "pp" if instrument.responds == "pp" else "rms"
    given_as = form if quantity in LEVELS else "rms"
    # No meter shows digits of DC far below what it tells from nothing.
    shown = round(shown / (floor / 10)) * (floor / 10) if quantity == "dc" else max(shown, 0.0)
    shown = min(shown, 10 * largest)  # a short has no end
    shown = float(f"{shown:.{FIGURES[form] - 1}e}")
    found = replace(wanted, value=shown, given_as=given_as, instrument=instrument.name)
    if abs(shown) > largest:
        found = replace(found, value=float(np.sign(shown) * largest), above=True)
    elif quantity in (*LEVELS, "ripple", "current", "capacitance") and shown < floor:
        found = replace(found, value=None, word="nothing") if quantity in LEVELS else replace(
            found, value=floor, below=True)  # fmt: skip
    return replace(found, text=shown_text(found))


def on_screen(hidden: Hidden, seen: Seen, reading: Reading, value: float, instrument: Instrument, number: int) -> Seen:
    """Return what an instrument's screen shows: as large as it reads, with the noise of its input.

    Parameters
    ----------
    hidden : Hidden
    seen : Seen
    reading : Reading
    value : float
        What it would have read without errors.
    instrument : Instrument
    number : int
        Of the reading in the drill: no two traces have the same noise.
    """
    share = reading.value / value if reading.quantity in LEVELS and reading.value is not None and value else 1.0
    noise = TRACE * instrument.floor_level * _deviates(CYCLES * len(seen.wave), hidden.seed, "trace", number)
    return replace(seen, rms=seen.rms * share, swing=seen.swing * share, wave=seen.wave * share, noise=noise,
                   floor=instrument.floor_level)  # fmt: skip


def screen(seen: Seen) -> tuple[NDArray[np.float64], float]:
    """Return an oscilloscope's trace, and how far its screen reaches up and down.

    Parameters
    ----------
    seen : Seen

    Returns
    -------
    trace : array, (phase,) [V]
        `CYCLES` cycles.
    tall : float
        Half the height of the screen [V]; no screen is more sensitive than that of `SCREEN`.
    """
    trace = np.tile(seen.wave, CYCLES)
    trace = trace + seen.noise if len(seen.noise) == len(trace) else trace
    return trace, max(2 * NOTHING, SCREEN * seen.floor, float(np.abs(trace).max(initial=0.0)))


def shown_text(reading: Reading) -> str:
    """Return what is written down of a reading: ``1.2 Vpp``, ``OL``."""
    if reading.word:
        return reading.word
    value = reading.value or 0.0
    sign = "< " if reading.below else "> " if reading.above else ""
    if reading.quantity in LEVELS:
        return sign + show_level(value, reading.given_as)
    if reading.quantity == "distortion":
        return percent(value)
    if reading.quantity == "dc" and abs(value) < 1e-4:
        return "0 V"
    return sign + show(value, UNITS[reading.quantity], 4 if reading.quantity == "dc" else 3)


def _normal(*what: object) -> float:
    """Return a standard normal deviate that belongs to some words, always the same."""
    return float(_deviates(1, *what)[0])


def _deviates(count: int, *what: object) -> NDArray[np.float64]:
    """Return standard normal deviates that belong to some words, always the same: array, (deviate,)."""
    seed = int.from_bytes(hashlib.sha256(repr(what).encode()).digest()[:8], "big")
    return np.clip(np.random.default_rng(seed).standard_normal(count), -3, 3)
