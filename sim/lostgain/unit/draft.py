"""A unit while it is being read: its parts so far, and which designators are taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lostgain.problems import Problem, Where
from lostgain.unit.model import Part, Rail
from lostgain.unit.parttext import PartText
from lostgain.unit.source import Source, tidy


@dataclass
class Draft:
    """A unit while it is being read.

    Parameters
    ----------
    source : Source
        The unit file, which also collects the mistakes.
    tolerances : mapping
        Kind of part to default tolerance.
    rails : tuple of Rail
    parts : dict
        Designator to Part.
    taken : dict
        Every designator in use, those of reservoirs and bleeders included, to where.
    shared : set of str
        Designators that all channels share: rails, fuses, reservoirs, bleeders.
    left_out : list of str
        Elements of netlists that are no parts.
    unread, unread_rails : set of str
        Designators of parts and names of rails that are there and could not be read: that they are missing then is no
        mistake of its own.
    stage_of_node : dict
        For a unit that is one netlist: node, lower case, to the first stage with a part on it.
    """

    source: Source
    tolerances: Mapping[str, tuple[float, float]]
    rails: tuple[Rail, ...] = ()
    parts: dict[str, Part] = field(default_factory=dict)
    taken: dict[str, Where] = field(default_factory=dict)
    shared: set[str] = field(default_factory=set)
    left_out: list[str] = field(default_factory=list)
    unread: set[str] = field(default_factory=set)
    unread_rails: set[str] = field(default_factory=set)
    stage_of_node: dict[str, str] = field(default_factory=dict)

    def wrong(self, where: Where, message: str, meant: str = "") -> None:
        """Note a mistake."""
        self.source.problems.append(Problem(tidy(message), where, meant))

    def claim(self, designator: str, where: Where, shared: bool = False) -> bool:
        """Take a designator; note a mistake and return False where it is taken already."""
        if designator in self.taken:
            before = self.taken[designator]
            place = f"line {before.line}" if before.file == where.file else f"{before}"
            self.wrong(where, f"the designator {designator} is used twice; the first is in {place}.")
            return False
        self.taken[designator] = where
        if shared:
            self.shared.add(designator)
        return True

    def add(self, part: Part, shared: bool = False) -> bool:
        """Add a part, unless its designator is taken."""
        if not self.claim(part.designator, part.where, shared):
            return False
        self.parts[part.designator] = part
        return True

    def make(
        self,
        said: PartText,
        stage: str,
        role: str,
        where: Where,
        does: str = "",
        value: float | None = None,
        device: str | None = None,
        pins: tuple[str, ...] = (),
    ) -> Part:
        """Return a part from what its text says, with the defaults of its kind for what it doesn't."""
        from_text = said.value if said.value is not None else value
        return Part(
            designator=said.designator,
            kind=said.kind,
            value=from_text,
            tolerance=said.tolerance or self.tolerances[said.kind],
            rating=said.rating,
            device=said.device or device,
            taper=said.taper,
            stage=stage,
            role=role,
            does=does,
            pins=pins,
            where=where,
        )
