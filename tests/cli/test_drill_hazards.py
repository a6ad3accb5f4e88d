"""Every unsafe act, typed at the command line: the drill stops with the reason, and its file says which it was."""

from __future__ import annotations

import io
import sys
from functools import cache
from pathlib import Path

import pytest

from lostgain import Pool, build_circuit, open_unit, parse_fault
from lostgain.teach import keep
from lostgain.teach.draw import hide
from lostgain.teach.drill import begun
from lostgain.teach.hazards import hazard, names
from lostgain.teach.record import UNSAFE
from tests.cli.run import UNITS, run
from tests.teach.drilled import VALVE

MEGAPHONE = (UNITS / "megaphone" / "unit.toml").read_text()
#: The small unit on the mains, with a fuse, an output stage and an output that is bridged.
LOUD = MEGAPHONE.replace("[unit]", "[unit]\nmains = true\noutput_stage = true\nbridged = true", 1).replace(
    'VP = "+15 V"', 'VP = { volts = "+15 V", fuse = "F1 500mA" }', 1
)
OFF = ("power off", "discharge")

#: Unit, fault, lines and the hazard they meet: the issue's list, each act of it.
ACTS = [
    ("megaphone", "C3 open", ("R4, resistance",), "live-ohms"),
    ("megaphone", "C3 open", ("C3, esr",), "live-ohms"),
    ("megaphone", "C3 open", ("C3, capacitance",), "live-ohms"),
    ("loud", "C3 open", ("power off", "R4, resistance"), "live-ohms"),
    ("loud", "C3 open", ("U1 pin 7 to U1 pin 1, scope",), "earthed-clip"),
    ("megaphone", "R4 open", ("load loudspeaker",), "speaker-on-dc"),
    ("megaphone", "R4 open", ("power off", "load loudspeaker", "power on"), "speaker-on-dc"),
    ("megaphone", "C3 open", ("replace R4",), "live-part"),
    ("megaphone", "C3 open", ("bridge C3",), "live-part"),
    ("megaphone", "C3 open", ("swap R4",), "live-part"),
    ("loud", "C3 open", ("power off", "replace R4"), "charged-part"),
    ("loud", "C3 open", ("power off", "bridge C3"), "charged-part"),
    ("megaphone", "C3 open", ("earth lift",), "lifted-earth"),
    ("loud", "C3 open", (*OFF, "limiter out", "replace C3", "power on"), "no-limiter"),
    ("loud", "C3 open", (*OFF, "swap C3", "limiter out", "power on"), "no-limiter"),
    ("valve", "R2 open", ("load open",), "unloaded"),
    ("valve", "R2 open", ("power off", "load open", "power on"), "unloaded"),
    ("loud", "C3 open", (*OFF, "replace F1 with 2 A"), "fuse-rating"),
    ("loud", "C3 open", (*OFF, "replace F1 with a wire"), "fuse-rating"),
]


TEXTS = {"megaphone": MEGAPHONE, "loud": LOUD, "valve": VALVE}


@cache
def hidden(name: str, fault: str, folder: Path) -> Path:
    """A saved drill of one of these units, with the unit's folder beside it."""
    own = folder / name
    own.mkdir(exist_ok=True)
    (own / "unit.toml").write_text(TEXTS[name])
    unit = open_unit(own)
    with Pool(workers=1) as pool:
        circuit = build_circuit(unit, pool)
        level = 2 if len(unit.channels) > 1 else 3  # with a good channel to swap with
        found = hide(unit, circuit, level, 1, pool, (parse_fault(fault, circuit),), unit.channels[0].name)
        path = folder / f"{name}-{fault.replace(' ', '-')}.txt"
        keep.write(begun(unit, found, pool), path)
    return path


@pytest.fixture(scope="module")
def shelf(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("shelf")


@pytest.fixture
def stopped(capsys, monkeypatch, tmp_path, shelf):
    """Type lines into a drill; return what was printed and the drill as it was kept."""
    monkeypatch.chdir(tmp_path)

    def typed(name: str, fault: str, lines: tuple[str, ...]):
        monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        path = hidden(name, fault, shelf)
        code, out, _ = run(capsys, "drill", path, "--unit", shelf / name, "--work", "mine.txt", "--no-debrief")
        assert code == 0
        return out, keep.read(Path("mine.txt"))

    return typed


@pytest.mark.parametrize(("name", "fault", "lines", "met"), ACTS, ids=lambda each: str(each)[:60])
def test_an_unsafe_act_stops_the_drill_with_its_reason(stopped, name, fault, lines, met) -> None:
    out, drill = stopped(name, fault, (*lines, "list"))
    assert (drill.ended, drill.hazard) == (UNSAFE, met)
    assert [each.typed for each in drill.steps] == list(lines)  # the last one it was, and nothing after it
    said = " ".join(out.replace("!", "").split())
    reason = hazard(met, volts="1 V", why="1").says
    assert "The drill stops here" in said
    assert " ".join(reason.split("1 V")[0].split("1.")[0].split()) in said
    assert "Nothing so far" not in out


@pytest.mark.parametrize(
    ("name", "fault", "lines"),
    [
        ("loud", "C3 open", (*OFF, "R4, resistance", "replace F1 with 500 mA", "replace C3", "power on")),
        ("loud", "C3 open", ("U1 pin 7 to U1 pin 1", "U1 pin 7, scope", "load loudspeaker", "load 8R")),
        ("valve", "R2 open", ("power off", "load open", "load 8R", "power on")),
    ],
)
def test_what_is_safe_does_not(stopped, name, fault, lines) -> None:
    _, drill = stopped(name, fault, lines)
    assert (drill.ended, drill.hazard) == ("", "")
    assert len(drill.steps) == len(lines)


def test_every_hazard_is_met_here() -> None:
    assert {met for *_, met in ACTS} == set(names())
