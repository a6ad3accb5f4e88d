"""What a unit file with valves may and may not say."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.bench import cautions
from lostgain.problems import UserError
from lostgain.unit import open_unit

HEAD = """
[unit]
title = "Valves"
[rails]
HT = "+260 V"
[setup]
generator = "100 mV rms"
load = "{load}"
"""
SPLITTER = """
[[stage]]
name = "Splitter"
use = "phase-splitter"
CIN = "C1 22n"
RG1 = "R1 1M"
RG2 = "R2 1M"
CG = "C2 100n"
V1 = "V1A triode-12ax7"
V2 = "V1B triode-12ax7"
RA1 = "R3 82k"
RA2 = "R4 100k"
RK = "R5 470R"
RT = "R6 10k"
"""
OUTPUT = """
[[stage]]
name = "Output"
use = "pentode-push-pull"
CIN1 = "C3 22n"
CIN2 = "C4 22n"
RG1 = "R7 470k"
RG2 = "R8 470k"
V1 = "V2 pentode-el84"
V2 = "V3 pentode-el84"
RK = "R9 130R"
CK = "C5 100u"
T = "T1 {ratio} transformer_output_pp"
"""
COUPLING = '[[stage]]\nname = "Splitter"\nuse = "coupling"\nCIN = "C1 22n"\nRB = "R1 1M"\n'


def write(folder: Path, text: str) -> Path:
    (folder / "unit.toml").write_text(text, encoding="utf-8")
    return folder


def test_a_push_pull_output_takes_both_signals_of_the_splitter(tmp_path: Path) -> None:
    unit = open_unit(write(tmp_path, HEAD.format(load="8R") + SPLITTER + OUTPUT.format(ratio="32:1")))
    assert unit.parts["T1"].value == 32
    assert unit.parts["V2"].pins == ("a", "g2", "g", "k")
    topics = {caution.topic for caution in cautions(unit)}
    assert {"High tension", "Hot valves"} <= topics


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD.format(load="open") + SPLITTER + OUTPUT.format(ratio="32:1"), "output transformer"),
        (HEAD.format(load="8R") + COUPLING + OUTPUT.format(ratio="32:1"), "takes a second signal at in2"),
        (HEAD.format(load="8R") + SPLITTER + OUTPUT.format(ratio="8k"), "is no turns ratio"),
        (
            HEAD.format(load="8R") + SPLITTER.replace("triode-12ax7", "", 1) + OUTPUT.format(ratio="32:1"),
            "device class",
        ),
        (HEAD.format(load="8R") + SPLITTER.replace("V1A triode-12ax7", "V1A pentode-el84"), "a triode is wanted here"),
    ],
)
def test_mistakes(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(UserError, match=said):
        open_unit(write(tmp_path, text))
