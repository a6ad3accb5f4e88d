"""Every stage's drawing shows exactly its netlist: the same parts, joined in the same way."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.problems import UserError
from lostgain.unit import library
from lostgain.unit.drawing import Drawing, drawing, read_drawing
from lostgain.unit.drawing_fitted import as_fitted
from lostgain.unit.drawing_nets import dots, nets
from lostgain.unit.kinds import kinds
from lostgain.unit.symbols import pins_of, symbol_of, symbols
from tests.circuits.solve import body, facts
from tests.circuits.test_stages_hold_together import STAGES, element_of, pins


def netlist(name: str) -> dict[str, set[str]]:
    """The nets of a stage's netlist: node to ``ROLE.PIN`` of every end on it, and what a drawing marks it with."""
    known = facts("stages", name)
    found: dict[str, set[str]] = {}
    roles = {element_of(role, about): role for role, about in known["roles"].items()}
    for line in body(name):
        role = roles[line.split()[0]]
        kind = known["roles"][role]["kind"]
        for pin, node in zip(pins_of(kind), pins(line, kind), strict=True):
            found.setdefault(node, set()).add(f"{role}.{pin}")
    for port in known["ports"]:
        found[port].add(f"rail {port}" if port in known.get("rails", {}) else f"port {port}")
    if "0" in found:
        found["0"].add("ground")
    return found


def drawn(name: str) -> Drawing:
    found = drawing(name)
    assert found is not None, f"{name} has no drawing"
    return found


@pytest.mark.parametrize("name", STAGES)
def test_its_wires_join_what_the_netlist_joins(name: str) -> None:
    shown = [{end for end in net if not end.startswith("node ")} for net in nets(drawn(name)).values()]
    assert sorted(map(sorted, shown)) == sorted(map(sorted, netlist(name).values()))


@pytest.mark.parametrize("name", STAGES)
def test_its_test_points_are_on_their_own_nets(name: str) -> None:
    wanted = netlist(name)
    marked = set(facts("stages", name)["ports"])
    for net in nets(drawn(name)).values():
        for end in net:
            if end.startswith("node "):
                assert net - {each for each in net if each.startswith("node ")} == wanted[end.removeprefix("node ")]
                marked.add(end.removeprefix("node "))
    assert set(facts("stages", name)["nodes"]) <= marked


@pytest.mark.parametrize("name", STAGES)
def test_no_two_symbols_lie_on_each_other(name: str) -> None:
    places = [part.at for part in drawn(name).parts if part.symbol.two_leg]
    assert len(set(places)) == len(places)


def test_every_kind_a_stage_asks_for_has_a_symbol() -> None:
    asked = {role.kind for stage in library.stages() for role in stage.roles.values()}
    assert {kind for kind in asked if symbol_of(kind) is None} == set()
    for name, symbol in symbols().items():
        if not symbol.two_leg and name in kinds():
            assert set(symbol.pins) == set(pins_of(name))


def test_wires_that_only_cross_are_not_joined_and_have_no_dot(tmp_path: Path) -> None:
    file = tmp_path / "mute.draw.toml"
    text = """
    parts = [{ role = "RS", from = [0, 0], to = [4, 0] }, { role = "K", from = [2, 2], to = [2, 4] }]
    wires = [[[0, 0], [0, 3], [4, 3], [4, 1]], [[2, 2], [2, -2]]]
    ports = [{ name = "in", at = [0, 0] }, { name = "out", at = [4, 0] }]
    """
    file.write_text(text)
    found = read_drawing(file, "mute")
    assert frozenset({"K.1"}) in nets(found).values()
    assert frozenset({"RS.1", "port in"}) in nets(found).values()
    assert dots(found) == ()
    file = tmp_path / "joined.draw.toml"
    moved = text.replace("[[2, 2], [2, -2]]", "[[2, 2], [2, 3]]").replace("[2, 2], to = [2, 4]", "[2, 3], to = [2, 5]")
    file.write_text(moved)
    found = read_drawing(file, "mute")
    assert frozenset({"K.1", "RS.1", "port in"}) in nets(found).values()
    assert (2.0, 3.0) in dots(found)


def test_what_is_not_fitted_is_a_wire_or_gone_with_what_led_to_it() -> None:
    absent = {role.name: role.absent for role in library.stage("coupling").roles.values()}
    left = as_fitted(drawn("coupling"), ["CIN", "RB"], absent)
    assert [part.role for part in left.parts] == ["CIN", "RB"]
    assert frozenset({"CIN.2", "RB.1", "port out", "node far"}) in nets(left).values()
    assert left.grounds == ((4.0, 1.0),)
    ends = [place for wire in left.wires for place in wire]
    held = {place for part in left.parts for place in part.pins.values()} | {port.at for port in left.ports}
    assert all(ends.count(place) > 1 or place in held for place in ends)
    assert as_fitted(drawn("coupling"), absent, absent) == drawn("coupling")


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ('{ role = "RX", from = [0, 0], to = [2, 0] }', "mute has no role “RX”."),
        ('{ role = "RS", from = [0, 0], to = [2, 1] }', "RS should lie straight"),
        ('{ role = "RS", form = [0, 0], to = [2, 0] }', "needs from, a place of two numbers"),
        ('{ role = "RS", from = [0, 0], to = [2, 0], label = "top" }', "“top” should be one of left, right"),
        ("", "role RS is drawn 0 times"),
    ],
)
def test_a_mistake_in_a_drawing_is_told_with_its_line(tmp_path: Path, row: str, said: str) -> None:
    file = tmp_path / "mute.draw.toml"
    file.write_text(f'parts = [\n  {{ role = "K", from = [0, 0], to = [0, 2] }},\n  {row}\n]\n')
    with pytest.raises(UserError) as caught:
        read_drawing(file, "mute")
    assert said in str(caught.value)
    assert "mute.draw.toml, line" in str(caught.value)
