"""A fault: a part, a mode and a severity."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One failure.

    Parameters
    ----------
    part : str
        Designator in the first channel; of a cluster, its first part.
    mode : str
        A mode of the catalogue, or a cluster's name.
    severity : float or None
        In SI units, or as a multiple or share of the nominal value, as the mode says; None where it has none.
    stage : str
        The stage the part belongs to.
    members : tuple of Fault
        The faults of a cluster, which fail together.
    shared : bool
        True where the part serves all channels: a rail or its fuse.
    """

    part: str
    mode: str
    severity: float | None = None
    stage: str = ""
    members: tuple[Fault, ...] = ()
    shared: bool = False

    @property
    def label(self) -> str:
        """Short name, as it is typed: ``R14 drift 3x``."""
        tail = "" if self.severity is None else f" {self.severity:.3g}"
        return f"{self.part} {self.mode}{tail}"
