"""What the README tells to type is taken: its faults, its readings with the power off, its commands."""

from __future__ import annotations

import re
from pathlib import Path

import lostgain
from lostgain.cli.main import COMMANDS
from lostgain.readings.typed import typed

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def test_its_faults_are_those_of_the_unit_it_is_about() -> None:
    texts = re.findall(r'`"([A-Z]+[0-9]+[A-Z]? [^"]+)"`|--fault "([^"]+)"', README)
    faults = {one or other for one, other in texts}
    assert {"C8 open", "C10 esr 40"} <= faults
    circuit = lostgain.build_circuit(lostgain.open_unit("ferry-terminal"))
    for text in faults:
        assert lostgain.parse_fault(text, circuit).part == text.split()[0]


def test_its_readings_with_the_power_off_are_taken() -> None:
    lines = re.findall(r"`([A-Z]+[0-9]+), (resistance|esr|diode test), ([^`]+)`", README.replace("\n", " "))
    assert len(lines) == 2
    unit = lostgain.open_unit("ferry-terminal")
    for point, quantity, value in lines:
        typed(unit, {"test point": point, "quantity": quantity, "value": value, "channel": "Zone A"})


def test_its_list_of_commands_is_whole() -> None:
    listed = README.partition("All commands:")[2].partition("each")[0]
    assert set(re.findall(r"`(?:lostgain )?(\w+)`", listed)) == set(COMMANDS)
