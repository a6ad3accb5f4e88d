"""How the bench stands while readings are taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lostgain.problems import Where
from lostgain.unit.load import OPEN, Load


@dataclass(frozen=True)
class Drive:
    """What the generator gives while a level is read.

    Parameters
    ----------
    frequency : float
        [Hz]
    generator : float
        Open-circuit level [V rms].
    """

    frequency: float
    generator: float


@dataclass(frozen=True)
class Setup:
    """How the bench stands while readings are taken.

    Parameters
    ----------
    generator : float
        Open-circuit level of the generator [V rms].
    source : float
        Its source resistance [ohm].
    common : float or None
        Level on both legs of a balanced input, tied together, where common mode is read [V rms]; None: the generator's.
    start : str
        Where it is fed in: ``input``, or the name of the test point the description starts at.
    start_dc : float
        DC level there [V].
    frequencies : tuple of float
        Middle, low and high [Hz].
    levels : tuple of float
        Further levels of the generator that may be read at, with the first of `frequencies` [V rms].
    load : Load
        What hangs on the unit's output, and on every other output that has none of its own in `loads`.
    loads : mapping
        Stage at an output to what hangs there instead.
    load_rating : float or None
        What the dummy load may dissipate [W].
    instrument : str
        Name of the default instrument.
    controls : mapping
        Potentiometer's designator to its setting: share of the voltage passed unloaded (0 to 1).
    """

    generator: float
    source: float = 50.0
    start: str = "input"
    start_dc: float = 0.0
    frequencies: tuple[float, ...] = (500.0, 40.0, 10_000.0)
    load: Load = OPEN
    loads: Mapping[str, Load] = field(default_factory=dict)
    load_rating: float | None = None
    instrument: str = "scope-x10"
    controls: Mapping[str, float] = field(default_factory=dict)
    common: float | None = None
    levels: tuple[float, ...] = ()
    where: Where = Where()

    @property
    def drives(self) -> tuple[Drive, ...]:
        """All that the generator may give: the frequencies at its own level, then the first one at further levels."""
        own = [Drive(frequency, self.generator) for frequency in self.frequencies]
        return (*own, *(Drive(self.frequencies[0], each) for each in self.levels))
