"""A circuit simulated again at what the generator gave for some readings, and no more: a table is of many drives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.diagnosis.features import Feature, predicted
from lostgain.signatures.build import by_drive
from lostgain.signatures.row import RowResult
from lostgain.signatures.table import assembled

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Drives:
    """Some of a table's drives, which are simulated together.

    Parameters
    ----------
    circuit : Circuit
        Set up for them alone.
    first : int
        Where they begin among the table's drives.
    """

    circuit: Circuit
    first: int

    def holds(self, feature: Feature) -> bool:
        """Whether a feature is a level at one of them."""
        return 0 <= feature.frequency - self.first < len(self.circuit.unit.setup.frequencies)


def drives_of(circuit: Circuit, features: Sequence[Feature]) -> tuple[Drives, ...]:
    """Return the drives that features are levels at; the first ones where none is, for DC is everywhere."""
    found, first = [], 0
    for each in by_drive(circuit):
        found.append(Drives(each, first))
        first += len(each.unit.setup.frequencies)
    used = tuple(each for each in found if any(each.holds(feature) for feature in features))
    return used or (found[0],)


def predicted_again(
    drives: Sequence[Drives], rows: Sequence[RowResult], features: Sequence[Feature], key: str
) -> Values:
    """Return what a circuit shows of some features, none of them with the power off: array, (feature,).

    Parameters
    ----------
    drives : sequence of Drives
        What `drives_of` returns of these features.
    rows : sequence of RowResult
        The circuit's, at each of them.
    features : sequence of Feature
    key : str
        The table's.
    """
    found = np.full(len(features), np.nan)
    for number, (each, row) in enumerate(zip(drives, rows, strict=True)):
        table = assembled(each.circuit, (), [row], key, 0)
        mine = [place for place, feature in enumerate(features)
                if each.holds(feature) or (number == 0 and not feature.is_level)]  # fmt: skip
        here = [replace(features[place], frequency=features[place].frequency - each.first)
                if features[place].is_level else features[place] for place in mine]  # fmt: skip
        if mine:
            found[mine] = predicted(table, here)[0, 0]
    return found
