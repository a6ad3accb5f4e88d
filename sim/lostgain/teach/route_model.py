"""The records of a route: steps, branches, and where it ends."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Leaf:
    """Where a route ends.

    Parameters
    ----------
    parts : tuple of (str, float)
        Parts that it has come down to, most probable first, with their share; an empty name for "nothing is wrong".
    others : float
        Share of all other parts.
    share : float
        Of all faulty units, how many end here.
    ends : str
        Why: ``sure`` (one part), ``alike`` (nothing in reach tells these apart), ``healthy``, ``idle`` (no reading left
        would change what to do), ``rare`` (so seldom that the chart does not go on), ``all read``.
    """

    parts: tuple[tuple[str, float], ...]
    others: float
    share: float
    ends: str

    def with_other(self, other: Leaf) -> Leaf:
        """Return this and another leaf of the same parts as one."""
        total = max(self.share + other.share, 1e-300)
        beside = dict(other.parts)
        parts = tuple((name, (part * self.share + beside[name] * other.share) / total) for name, part in self.parts)
        parts = tuple(sorted(parts, key=lambda each: -each[1]))
        return Leaf(parts, 1.0 - sum(part for _, part in parts), self.share + other.share, self.ends)


@dataclass(frozen=True)
class Branch:
    """What a reading may show, and how the route goes on.

    Parameters
    ----------
    shows : str
        ``low (0.3 V to 0.8 V)``
    share : float
        Of all faulty units.
    then : Step or Leaf
    """

    shows: str
    share: float
    then: Step | Leaf


@dataclass(frozen=True)
class Step:
    """A reading to take.

    Parameters
    ----------
    point, quantity : str
    frequency : float or None
        [Hz]; None for DC.
    minutes : float
        From where the probe is [min].
    share : float
        Of all faulty units, how many get here.
    branches : tuple of Branch
    generator : float or None
        Level to set the generator to, where it is another one than the set-up's [V rms].
    """

    point: str
    quantity: str
    frequency: float | None
    minutes: float
    share: float
    branches: tuple[Branch, ...]
    generator: float | None = None


@dataclass(frozen=True)
class Route:
    """A troubleshooting route for one channel.

    Parameters
    ----------
    channel : str
    root : Step
    minutes : float
        Expected, until the route ends [min].
    walk_minutes : float
        The same for the walk from input to output that ends by the same rule [min].
    best : bool
        True where every order was tried, so that no route is quicker.
    """

    channel: str
    root: Step
    minutes: float
    walk_minutes: float
    best: bool
