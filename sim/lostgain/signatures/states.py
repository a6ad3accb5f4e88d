"""What a transient starts from, what it ends at, and how ngspice is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.engine.session import BRANCH

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Nodes of a line that says where they start: names are short enough for none to be too long.
TOGETHER = 12


@dataclass(frozen=True)
class Slopes:
    """How the mean currents of slow capacitors change with their voltages.

    Parameters
    ----------
    lasting : array of bool, (slow capacitor,)
        Those whose voltage lasts: the others follow within a part of a cycle what is about them.
    siemens : array, (lasting capacitor, lasting capacitor) [S]
        The first for its current, the second for its voltage.
    """

    lasting: NDArray[np.bool_]
    siemens: Values


@dataclass(frozen=True)
class Steady:
    """What the generator's sine looks like once it has settled.

    Parameters
    ----------
    level : array, (node,) [V rms]
        Without DC.
    swing : array, (node,) [V peak to peak]
    wave : array, (node, phase) [V]
        One cycle, without DC, starting where the generator crosses zero upwards.
    settled : bool
    cycles : int
        How many it took.
    state : array, (number of `states`,) [V, A]
        Where the generator crosses zero upwards: where a transient of a circuit much like this one can start.
    drifted : bool
        Whether slow capacitors had to charge before the level was what it is: a circuit much like this one may then
        be somewhere else.
    slopes : Slopes or None
        Where they had to: how their mean currents change with their voltages.
    """

    level: Values
    swing: Values
    wave: Values
    settled: bool
    cycles: int
    state: Values
    drifted: bool = False
    slopes: Slopes | None = None


@dataclass(frozen=True)
class Linear:
    """What `op` and `ac` say of all `states` of a circuit.

    Parameters
    ----------
    dc : array, (number of `states`,) [V, A]
    phasor : complex array, (number of `states`,) [V rms, A rms]
        At the frequency and drive that the transient will have.
    limit : float
        No voltage can be larger than this [V]: that of the rails. Where a phasor is, it says nothing.
    """

    dc: Values
    phasor: Complex
    limit: float

    def state(self) -> Values | None:
        """Return the state where the generator crosses zero upwards, or None where something clips."""
        size = 2**0.5 * np.abs(self.phasor)
        if not np.isfinite(size).all() or (np.abs(self.dc) + size).max() > self.limit:
            return None
        return np.asarray(self.dc + 2**0.5 * self.phasor.imag)


@dataclass(frozen=True)
class Cycle:
    """What one cycle does to slow capacitors.

    Parameters
    ----------
    currents : array, (slow capacitor,) [A]
        Into each, on average.
    early, mean : array, (slow capacitor,) [V]
        Across each, when the cycle begins and on average.
    state : array, (number of `states`,) [V, A]
        A whole cycle after the start.
    level : array, (node,) [V rms]
    """

    currents: Values
    early: Values
    mean: Values
    state: Values
    level: Values


def states(flat: FlatCircuit) -> list[str]:
    """Return what a circuit's state is told by, as `Session` names it: every node, and every inductor's current."""
    return [*flat.nodes(), *(f"{name}{BRANCH}" for name in flat.elements if name[0] == "l")]


def started(flat: FlatCircuit, names: Sequence[str], state: Values, charged: Mapping[str, float]) -> list[str]:
    """Return the netlist of a circuit with the state it starts from in it: of all, and of some capacitors by name."""
    given = {name.removesuffix(BRANCH): value for name, value in zip(names, state, strict=True) if BRANCH in name}
    given.update(charged)
    own = (
        replace(flat.elements[name], rest=f"{flat.elements[name].rest} ic={value:.10g}")
        for name, value in given.items()
    )
    *lines, end = flat.with_elements(*own).lines()
    starts = [f"v({name})={value:.10g}" for name, value in zip(names, state, strict=True) if BRANCH not in name]
    # One line for each would take ngspice a tenth longer to load.
    packed = (" ".join(starts[number : number + TOGETHER]) for number in range(0, len(starts), TOGETHER))
    return [*lines, *(f".ic {each}" for each in packed), end]
