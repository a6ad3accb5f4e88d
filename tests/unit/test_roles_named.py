"""What a part does, with the designators of the board it is on."""

from __future__ import annotations

from pathlib import Path

from lostgain.unit import open_unit
from tests.circuit.units import POWERED, make

#: The library's R1 is the board's R4 here, and its C1 the board's C6.
EXCHANGED = POWERED + (
    '[[stage]]\nname = "Filter"\nuse = "sallen-key-low"\nU = "U1A opamp-jfet"\n'
    'R1 = "R4 10k"\nR2 = "R1 10k"\nC1 = "C6 10n"\nC2 = "C1 10n"\n'
)


def test_roles_are_named_as_on_the_board(tmp_path: Path) -> None:
    unit = make(tmp_path / "filter", EXCHANGED)
    assert "with C6 sets the corner" in unit.parts["C1"].does
    assert not any("with C1 sets" in part.does for part in unit.parts.values())


def test_a_shipped_unit_speaks_of_its_own_parts() -> None:
    """The listening desk's equalisation is R4 with C4, not the input's R1."""
    unit = open_unit("listening-desk")
    for part in unit.parts.values():
        if "3180 us" in part.does:
            named = part.does.split("with ")[1].split()[0]
            assert named in unit.parts
            assert unit.parts[named].stage == part.stage
