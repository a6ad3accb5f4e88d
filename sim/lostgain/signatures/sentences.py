"""Two or three sentences in bench language on what a failure looks like, made from the numbers."""

from __future__ import annotations

import numpy as np

from lostgain.quantities import show, show_level
from lostgain.signatures.fuses import BLOWS, MAY_BLOW, fuses
from lostgain.signatures.gains import NOTHING
from lostgain.signatures.predict import Prediction
from lostgain.signatures.shapes import picture
from lostgain.unit.branches import behind

#: A level this far off counts as changed [dB]; DC this far off [V] and as a share of the healthy voltage.
CHANGED_DB = 1.0
CHANGED_VOLTS = 0.1
CHANGED_SHARE = 0.1
#: DC of units within tolerances lies this far apart [V], and so many times further than of healthy ones: it is loose.
LOOSE_VOLTS, LOOSE_TIMES = 2.0, 5.0
#: Ripple counts as changed by this factor; below this [V peak to peak] there is none.
CHANGED_RIPPLE, LITTLE_RIPPLE = 1.5, 5e-3

#: Said where nothing that the sentences know of has changed.
NO_MARK = "This failure leaves no mark at these test points: no reading of this set-up can show it."

_WHOLE = "The signal is whole at every test point"
DC_RIGHT = "DC is as it should be at every test point."


def sentences(prediction: Prediction) -> list[str]:
    """Return what a technician would see, most telling first.

    Parameters
    ----------
    prediction : Prediction
    """
    blown = _fuses(prediction)
    if not np.isfinite(prediction.faulty.level[:, 0]).all():
        return [*blown, "The simulation gave no level for this failure: " + "; ".join(prediction.faulty.trouble) + "."]
    told = [_signal(prediction), *_picture(prediction), *_band(prediction), *_dc(prediction)]
    told += ripple(prediction)
    if (
        not blown
        and len(told) == 2
        and told[0].startswith(_WHOLE)
        and told[1] == DC_RIGHT
        and prediction.faulty.settled.all()
    ):
        told.append(NO_MARK)
    if not prediction.faulty.settled.all():
        told.append("The level does not settle: expect a moving or fuzzy trace.")
    return blown + told


def _fuses(prediction: Prediction) -> list[str]:
    """Which fuses blow, and what is gone with them."""
    healthy, faulty = prediction.healthy.fuse_amps, prediction.faulty.fuse_amps
    failed = {member.part for fault in prediction.faults for member in (fault.members or (fault,))}
    channels = len(prediction.circuit.unit.channels)
    told = []
    for fuse, before, after in zip(fuses(prediction.circuit), healthy, faulty, strict=False):
        amps = after + (channels - 1) * before  # the others draw what they always do
        if fuse.part in failed or not amps > MAY_BLOW * fuse.amps or before * channels > fuse.amps:
            continue
        may = "may blow" if amps < BLOWS * fuse.amps else "would blow"
        rails = ", ".join(fuse.rails)
        gone = f"rail{'s' if len(fuse.rails) > 1 else ''} {rails} gone after it" if rails else "all behind it is dead"
        told.append(f"The fuse {fuse.part} ({show(fuse.amps, 'A')}) {may} at {show(float(amps), 'A', 2)}: {gone}.")
    return [*told, "What follows is as if no fuse had blown."] if told else []


def _decibels(prediction: Prediction, frequency: int) -> np.ndarray:
    healthy, faulty = prediction.healthy.level[:, frequency], prediction.faulty.level[:, frequency]
    return np.asarray(20 * np.log10(np.maximum(faulty, NOTHING) / np.maximum(healthy, NOTHING)))


def changed(prediction: Prediction, frequency: int = 0) -> np.ndarray:
    """Return at which test points the level or the shape of the signal has changed: array of bool, (point,).

    Parameters
    ----------
    prediction : Prediction
    frequency : int
        Its index.
    """
    healthy, faulty = prediction.healthy, prediction.faulty
    off = ~(np.abs(_decibels(prediction, frequency)) <= CHANGED_DB)  # a level that is not known counts as changed
    for point in range(len(prediction.points)):
        shapes = [picture(each.wave[point, frequency], each.level[point, frequency]) for each in (healthy, faulty)]
        off[point] |= shapes[0] != shapes[1]
    return np.asarray(off & _of_signal(prediction))


def _of_signal(prediction: Prediction) -> np.ndarray:
    """At which test points the signal counts, and not what is left of it on a supply: array of bool, (point,)."""
    supplies = {stage.name for stage in prediction.circuit.unit.supplies}
    return np.array([point.stage not in supplies for point in prediction.circuit.unit.points])


def _signal(prediction: Prediction) -> str:
    """Where along the chain the signal changes."""
    change = _decibels(prediction, 0)
    heard = prediction.healthy.level[:, 0] > 4 * NOTHING
    heard = heard & _of_signal(prediction)
    off = np.flatnonzero((np.abs(change) > CHANGED_DB) & heard)
    where = f"at {show(prediction.frequencies[0], 'Hz')}"
    if len(off) == 0:
        return f"{_WHOLE} {where}."
    first = int(off[0])
    ahead = _ahead(prediction, first)
    before = next((index for index in range(first - 1, -1, -1) if heard[index] and index in ahead), None)
    faulty = prediction.faulty.level[first, 0]
    what = _what(float(change[first]), float(faulty))
    start = f"The signal is whole at {prediction.points[before]}" if before is not None else "The signal"
    joint = " and " if before is not None else " is "
    text = f"{start}{joint}{what} at {prediction.points[first]} {where}"
    if faulty > 2 * NOTHING:
        text += f" ({show_level(float(faulty))} instead of {show_level(float(prediction.healthy.level[first, 0]))})"
    last = int(np.flatnonzero(heard)[-1])
    further = _what(float(change[last]), float(prediction.faulty.level[last, 0]))
    if last in off and last != first and further != what and abs(change[last] - change[first]) > CHANGED_DB:
        text += f", and {further} at {prediction.points[last]}"
    return text + "."


def _ahead(prediction: Prediction, point: int) -> set[int]:
    """Which test points the signal passes on its way to one; in a unit without branches all before it."""
    unit = prediction.circuit.unit
    if not any(stage.takes_from for stage in unit.stages):
        return set(range(point))
    here = unit.points[point].stage
    on_the_way = {stage.name for stage in unit.stages if stage.name == here or here in behind(unit.stages, stage.name)}
    return {index for index in range(point) if unit.points[index].stage in on_the_way}


def _what(decibels: float, volts: float) -> str:
    if volts < 2 * NOTHING:
        return "gone"
    return f"{abs(decibels):.0f} dB {'low' if decibels < 0 else 'high'}"


def _picture(prediction: Prediction) -> list[str]:
    """What the screen shows where the shape has changed."""
    for index, name in enumerate(prediction.points):
        if not _of_signal(prediction)[index]:
            continue
        was = picture(prediction.healthy.wave[index, 0], prediction.healthy.level[index, 0])
        now = picture(prediction.faulty.wave[index, 0], prediction.faulty.level[index, 0])
        if now and now != was:
            return [f"From {name} on the sine is {now}."]
    return []


def _band(prediction: Prediction) -> list[str]:
    """Lost bass or treble: changes at the low and high frequency that the middle one does not show."""
    told = []
    middle = _decibels(prediction, 0)
    for index, name in ((1, "bass"), (2, "treble")):
        if len(prediction.frequencies) <= index:
            continue
        change = _decibels(prediction, index) - middle
        heard = prediction.faulty.level[:, index] > 4 * NOTHING
        heard |= prediction.faulty.level[:, 0] > 4 * NOTHING
        heard &= _of_signal(prediction)
        off = np.flatnonzero((np.abs(change) > CHANGED_DB) & heard)
        if len(off) == 0:
            continue
        # The output counts; a point aside, such as the ground leg of a stage, may change the other way.
        last = int(np.flatnonzero(heard)[-1])
        same = [int(each) for each in off if np.sign(change[each]) == np.sign(change[last])]
        first = same[0] if last in off else int(off[0])
        more = "less" if change[first] < 0 else "more"
        start, end = (
            ("There is", f", from {prediction.points[first]} on")
            if last in off
            else (f"At {prediction.points[first]} there is", "")
        )
        told.append(
            f"{start} {more} {name}: {abs(change[first]):.0f} dB {more} at {show(prediction.frequencies[index], 'Hz')} "
            f"than at {show(prediction.frequencies[0], 'Hz')}{end}."
        )
    return told


def _dc(prediction: Prediction) -> list[str]:
    """Where DC has moved most."""
    healthy, faulty = prediction.healthy.dc, prediction.faulty.dc
    moved = np.abs(faulty - healthy)
    off = np.flatnonzero(moved > CHANGED_VOLTS + CHANGED_SHARE * np.abs(healthy))
    loose = _loose(prediction)
    if len(off) == 0:
        return loose or [DC_RIGHT]
    first, worst = int(off[0]), int(off[np.argmax(moved[off])])
    text = f"DC is off from {prediction.points[first]} on: {_volts(faulty[first])} instead of {_volts(healthy[first])}"
    if worst != first:
        text += f", and {_volts(faulty[worst])} at {prediction.points[worst]}"
    return [text + ".", *loose]


def _loose(prediction: Prediction) -> list[str]:
    """Where DC hangs on each unit's own parts, so that nominal values say little: an op-amp that nothing holds."""
    before, after = prediction.healthy.dc_range, prediction.faulty.dc_range
    if before.shape != after.shape or not after.size:
        return []
    apart, was = after[1] - after[0], before[1] - before[0]
    moved = np.abs(prediction.faulty.dc - prediction.healthy.dc)  # what has moved further than it wanders is no riddle
    far = np.flatnonzero((apart > LOOSE_VOLTS) & (apart > LOOSE_TIMES * was) & (apart > moved))
    if not len(far):
        return []
    worst = int(far[np.argmax(apart[far])])
    return [f"DC hangs on each unit's own parts: from {prediction.points[int(far[0])]} on, with parts within their "
            f"tolerances, it lies anywhere between {_volts(after[0, worst])} and {_volts(after[1, worst])} "
            f"(at {prediction.points[worst]})."]  # fmt: skip


def ripple(prediction: Prediction) -> list[str]:
    """Return a sentence on where ripple has changed most and what of it comes out; none where it has not changed.

    Parameters
    ----------
    prediction : Prediction
    """
    healthy, faulty = prediction.healthy.ripple, prediction.faulty.ripple
    if not len(healthy) or not np.isfinite(faulty).all():
        return []
    ratio = np.maximum(faulty, LITTLE_RIPPLE) / np.maximum(healthy, LITTLE_RIPPLE)
    size = np.abs(np.log(ratio))
    worst = int(np.argmax(size))
    if size[worst] < np.log(CHANGED_RIPPLE):
        return []
    # of points that differ about as much, the one with most ripple tells best
    alike = np.flatnonzero(size > 0.7 * size[worst])
    worst = int(alike[np.argmax(np.maximum(healthy, faulty)[alike])])
    text = f"Ripple, mains on, is {_vpp(faulty[worst])} at {prediction.points[worst]} instead of {_vpp(healthy[worst])}"
    last = len(prediction.points) - 1
    if worst != last and size[last] > np.log(CHANGED_RIPPLE):
        text += f", and {_vpp(faulty[last])} at {prediction.points[last]}"
    return [text + "."]


def _vpp(value: float) -> str:
    return show(float(value), "Vpp") if value >= 1e-4 else "nothing"


def _volts(value: float) -> str:
    return show(float(value), "V") if abs(value) >= 1e-3 else "0 V"
