"""The library's stages and device classes, and mistakes in adding one."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.problems import UserError
from lostgain.unit import library, open_unit
from lostgain.unit.kinds import kinds, of_family

STAGE = """title = "Pad"
purpose = "Takes the level down."
gain = "RB/(RA + RB)"
ports = ["in", "out", "vp"]
[rails]
vp = "positive"
[roles.RA]
kind = "resistor"
does = "series"
value = 1000
[roles.CB]
kind = "capacitor"
absent = "open"
[nodes.out]
about = "output"
"""


def write(folder: Path, text: str, netlist: str = ".subckt pad in out vp\n.ends\n") -> Path:
    (folder / "pad.toml").write_text(text, encoding="utf-8")
    (folder / "pad.cir").write_text(netlist, encoding="utf-8")
    return folder / "pad.toml"


def test_every_shipped_stage_says_what_it_is_for() -> None:
    for facts in library.stages():
        assert facts.title
        assert facts.purpose
        assert f".subckt {facts.name}".lower() in facts.netlist.lower()
        assert all(role.does for role in facts.roles.values())


def test_every_shipped_device_class_has_a_model_for_its_pins() -> None:
    for facts in library.devices():
        assert facts.stands_for
        assert facts.kind in kinds()
        assert facts.pins
        assert (".subckt" if facts.subckt else ".model") in facts.netlist.lower()


def test_a_stage_is_read_from_two_files(tmp_path: Path) -> None:
    facts = library.read_stage(write(tmp_path, STAGE))
    assert (facts.name, facts.ports, facts.rails) == ("pad", ("in", "out", "vp"), {"vp": "positive"})
    assert (facts.roles["RA"].element, facts.roles["RA"].value, facts.roles["CB"].absent) == ("RA", 1000.0, "open")
    assert facts.nodes == {"out": "output"}


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('title = "Pad"', 'titel = "Pad"', 1, "titel"),
        ('vp = "positive"', 'vp = "plus"', 6, "positive"),
        ('vp = "positive"', 'vq = "positive"', 6, "vq"),
        ('kind = "resistor"', 'kind = "resistr"', 8, "resistor"),
        ('absent = "open"', 'absent = "opn"', 13, "opn"),
        ("value = 1000", 'value = "1k"\nvalu = 1', 11, "valu"),
        ('about = "output"', "about = 3", 15, "about"),
    ],
)
def test_a_mistake_in_a_stage_names_its_line(tmp_path: Path, old: str, new: str, line: int, words: str) -> None:
    with pytest.raises(UserError) as raised:
        library.read_stage(write(tmp_path, STAGE.replace(old, new)))
    assert any(problem.where.line == line and words in str(problem) for problem in raised.value.problems)


def test_a_stage_without_its_netlist_is_refused(tmp_path: Path) -> None:
    file = write(tmp_path, STAGE)
    file.with_suffix(".cir").unlink()
    with pytest.raises(UserError, match=r"pad\.cir: the file doesn't exist"):
        library.read_stage(file)


def test_an_unknown_name_gets_the_nearest() -> None:
    with pytest.raises(UserError, match=r"noninvertng.*Did you mean noninverting"):
        library.stage("noninvertng")
    with pytest.raises(UserError, match=r"npn-smal.*npn-small"):
        library.device("npn-smal")


def test_a_family_stands_for_its_kinds() -> None:
    assert {kind.name for kind in of_family("capacitor")} == {"electrolytic", "film", "ceramic", "tantalum"}
    assert [kind.name for kind in of_family("film")] == ["film"]
    assert of_family("valve") == ()


#: A part of each family, or kind, by which any role can be filled.
FILLERS = {
    "resistor": "R{} 10k", "capacitor": "C{} 10u", "inductor": "L{} 10uH", "potentiometer": "RV{} 10k",
    "opamp": "U{} opamp-jfet", "npn": "Q{} npn-small", "pnp": "Q{} pnp-small", "njf": "Q{} njf-small",
    "diode": "D{} diode-signal", "contact": "J{}", "mute": "K{} mute",
    "triode": "V{} triode-12ax7", "pentode": "V{} pentode-el84", "regulator": "U{} 5V regulator_positive",
    "plain-transformer": "T{} 1:1 transformer_line", "push-pull-transformer": "T{} 32:1 transformer_output_pp",
    "driven-relay": "K{} 24V relay_coil",
    "photocell": "PC{} photocell-led", "mains-transformer": "T{} 5:1 transformer_mains_tapped",
}  # fmt: skip


@pytest.mark.parametrize("name", [name for name in library.stage_names() if not library.stage(name).supplies])
def test_a_unit_can_be_made_of_every_stage(tmp_path: Path, name: str) -> None:
    facts = library.stage(name)
    families = {role: of_family(facts.roles[role].kind)[0] for role in facts.roles}
    fillers = {role: FILLERS.get(kind.name) or FILLERS[kind.family] for role, kind in families.items()}
    parts = [
        f'{role} = "{fillers[role].format(number)}{" fuse" if kind.name == "fuse" else ""}"'
        for number, (role, kind) in enumerate(families.items(), start=1)
    ]
    lines = ["[unit]", "title = 'A'", "[rails]", "VP = '+15 V'", "VN = '-15 V'", "[setup]", "generator = '1 V rms'"]
    lines += ["load = '10k'"]
    lines += ["[[stage]]", "name = 'S'", f"use = '{name}'", *parts]
    (tmp_path / "unit.toml").write_text("\n".join(lines), encoding="utf-8")
    unit = open_unit(tmp_path)
    assert {part.role for part in unit.parts.values() if part.stage == "S"} == set(facts.roles)
    assert all(part.pins for part in unit.parts.values())
