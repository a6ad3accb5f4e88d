"""How bad: severities estimated from their probabilities, and said in a sentence."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.faults import Fault, modes_for
from lostgain.faults.packages import said
from lostgain.quantities import show
from lostgain.unit.kinds import kinds
from lostgain.unit.library import stage
from lostgain.unit.model import Channel

Values = NDArray[np.float64]

_UNITS = {"ohm": "ohm", "farad": "farad", "henry": "henry", "ampere": "A", "volt": "V"}


def quantiles(severity: Values, weight: Values, shares: tuple[float, ...]) -> list[float]:
    """Return quantiles of a severity, on its logarithm: each step stands for all up to half-way to its neighbours.

    Parameters
    ----------
    severity : array, (step,)
        Positive: the middles of the steps.
    weight : array, (step,)
        Probabilities; they need not add up to one.
    shares : tuple of float
        0.5 is the median.
    """
    order = np.argsort(severity)
    level, weight = np.log(severity[order]), weight[order]
    total = weight.sum()
    if total <= 0 or len(level) == 1:
        return [float(np.exp(level[len(level) // 2]))] * len(shares)
    half = (level[1:] + level[:-1]) / 2
    edges = np.concatenate([[2 * level[0] - half[0]], half, [2 * level[-1] - half[-1]]])
    below = np.concatenate([[0.0], np.cumsum(weight) / total])
    return [float(each) for each in np.exp(np.interp(shares, below, edges))]


def half_believed(weight: Values, prior: Values, trust: float) -> Values:
    """Return the weights of severities of which the readings are believed in part.

    What a device does may be its maker's affair. A model then tells how bad such a fault is, or nothing of it: so there
    are two cases, each with its share.

    Parameters
    ----------
    weight, prior : arrays, (step,)
        Probabilities with the readings and before them.
    trust : float
        Share of the case in which the readings tell: 1 to believe them, 0 to leave all as it was.
    """
    return np.asarray(trust * weight / weight.sum() + (1 - trust) * prior / prior.sum())


def sentence(
    fault: Fault, severity: float | None, spread: tuple[float, float] | None, circuit: Circuit, channel: Channel | None
) -> str:
    """Return what is wrong, for people: "C12 has about 2 nF left of 10 µF (0.8 nF to 5 nF)".

    Parameters
    ----------
    fault : Fault
    severity : float or None
        Its median.
    spread : (float, float) or None
        The range to add in brackets.
    circuit : Circuit
    channel : Channel or None
        Whose designators to use; the first channel's if None.
    """
    if fault.members:
        return _cluster(fault, circuit, channel)
    part = circuit.parts[fault.part].part
    mode = next(each for each in modes_for(part.kind) if each.name == fault.mode)
    name = channel.called(part.designator) if channel and not fault.shared else part.designator
    unit = _UNITS.get(kinds()[part.kind].unit, "")

    def shown(level: float) -> str:
        if mode.severity in ("times", "share") and part.value is not None and "{now}" in mode.says:
            return show(part.value * level, unit, 2)
        if mode.severity == "ohm":
            return show(level, "ohm", 2)
        return f"{level * 100:.2g} %" if level >= 1e-3 else f"1/{round(1 / level):,}"

    value = show(part.value, unit) if part.value is not None else ""
    now = shown(severity) if severity is not None else ""
    text = mode.says.format(part=name, value=value, now=now, severity=now)
    if spread is not None and severity is not None and not math.isclose(*spread, rel_tol=0.02):
        text += f" ({shown(spread[0])} to {shown(spread[1])})"
    return text


def _cluster(fault: Fault, circuit: Circuit, channel: Channel | None) -> str:
    names = [channel.called(member.part) if channel else member.part for member in fault.members]
    says = said(fault.mode) or fault.mode.replace("-", " ")
    for one in (*circuit.unit.stages, *circuit.unit.supplies):
        if one.name == fault.stage and one.source == "library":
            says = next((each.says for each in stage(one.library).clusters if each.name == fault.mode), says)
    return f"{says}: {', '.join(names)}"
