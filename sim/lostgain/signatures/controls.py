"""A control turned a little: what a position that is not quite the stated one does to the levels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit

#: How far a control is turned either way [dB of the share of its track below the wiper].
TURN = 1.0
#: Less of the track than this is as good as none.
LEAST = 1e-3


@dataclass(frozen=True)
class Turn:
    """A control turned away from its position.

    Parameters
    ----------
    control : str
        Designator in the first channel.
    elements : (str, str)
        Its track above and below the wiper.
    decibels : float
        By how much the share of the track below the wiper grows.
    """

    control: str
    elements: tuple[str, str]
    decibels: float

    @property
    def label(self) -> str:
        """Short name: ``RV2 turned by +1 dB``."""
        return f"{self.control} turned by {self.decibels:+.2g} dB"


def turns(circuit: Circuit) -> list[Turn]:
    """Return each control of a circuit turned up and turned down; one at an end of its track, one way alone.

    Parameters
    ----------
    circuit : Circuit
    """
    found = []
    for name, place in circuit.parts.items():
        ends = place.track(circuit.flat)
        if ends is None:
            continue
        top, bottom = (circuit.flat.elements[each].value for each in ends)
        share = bottom / (top + bottom)
        if share < LEAST:  # turned off altogether, a little more is nothing in decibels
            continue
        up = min(TURN, float(-20 * np.log10(share)))
        found += [Turn(name, ends, by) for by in (up, -TURN) if abs(by) > TURN / 10]
    return found


def put_turn(flat: FlatCircuit, turn: Turn) -> FlatCircuit:
    """Return the circuit with a control turned.

    Parameters
    ----------
    flat : FlatCircuit
    turn : Turn
    """
    top, bottom = (flat.elements[each].value for each in turn.elements)
    track = top + bottom
    share = min(bottom / track * 10 ** (turn.decibels / 20), 1.0)
    parts = {turn.elements[0]: max(track * (1 - share), LEAST), turn.elements[1]: max(track * share, LEAST)}
    return flat.with_values(parts)


def per_decibel(
    levels: NDArray[np.float64], controls: Sequence[str], decibels: NDArray[np.float64]
) -> dict[str, NDArray[np.float64]]:
    """Return by how much levels change with each control [dB per dB].

    Parameters
    ----------
    levels : array, (1 + turn, …)
        Levels [dB] with every control where it belongs, then with each turn of `turns`.
    controls : sequence of str
        What each turn turns.
    decibels : array, (turn,)
        How far.

    Returns
    -------
    dict
        Designator to array, (…).
    """
    found = {}
    for control in dict.fromkeys(controls):
        mine = [(by, level) for name, by, level in zip(controls, decibels, levels[1:], strict=True) if name == control]
        (high, above), (low, below) = mine if len(mine) == 2 else (*mine, (0.0, levels[0]))
        found[control] = (above - below) / (high - low)
    return found
