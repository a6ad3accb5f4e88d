"""``lostgain stage``: what it says and writes, and what it refuses."""

from __future__ import annotations

import json
from pathlib import Path

from lostgain.unit.library import stage_names
from tests.cli.run import CHAIN, refused, run


def test_all_stages_are_listed(capsys) -> None:
    code, out, _ = run(capsys, "stage")
    assert code == 0
    assert all(name in out for name in stage_names())


def test_one_stage_says_what_it_is_for_and_what_it_is_made_of(capsys) -> None:
    code, out, _ = run(capsys, "stage", "noninverting")
    assert code == 0
    for part in ("Raises the level", "Gain: 1 + RF/RG", "ground leg: sets the gain", "inverting input: follows",
                 "vp (positive rail)", "may be left out: a wire then", "Worked example", "Source:"):  # fmt: skip
        assert part in " ".join(out.split())


def test_a_units_stage_has_its_parts_and_test_points(capsys) -> None:
    code, out, _ = run(capsys, "stage", "noninverting", "--unit", CHAIN, "--channel", "down line")
    assert code == 0
    for part in ("Gain stage, Down line", "R102", "U101 pin 1", "2.2 kΩ ±5 %"):
        assert part in out
    assert "Worked example" not in out


def test_a_stage_says_which_device_classes_there_are(capsys) -> None:
    _, out, _ = run(capsys, "stage", "common-emitter")
    assert "npn  npn-driver, npn-power, npn-small" in out
    for name in ("coupling", "level"):
        assert "Device classes" not in run(capsys, "stage", name)[1]


def test_json_holds_the_same(capsys) -> None:
    _, out, _ = run(capsys, "stage", "noninverting", "--unit", CHAIN, "--json")
    record = json.loads(out)
    assert record["parts"]["RG"] == {"part": "R2", "value": 2200.0, "device": None}
    assert record["points"]["out"]["test_point"] == "U1 pin 1"
    _, out, _ = run(capsys, "stage", "--json")
    assert [each["name"] for each in json.loads(out)] == list(stage_names())


def test_drawings_are_written_in_the_format_asked_for(capsys, tmp_path: Path) -> None:
    files = {kind: tmp_path / f"level.{kind}" for kind in ("png", "svg", "pdf")}
    words = [word for kind, path in files.items() for word in (f"--{kind}", path)]
    code, out, err = run(capsys, "stage", "level", *words)
    assert (code, out) == (0, "")
    assert all(str(path) in err for path in files.values())
    assert files["png"].read_bytes().startswith(b"\x89PNG")
    assert files["pdf"].read_bytes().startswith(b"%PDF")
    assert b"<svg" in files["svg"].read_bytes()


def test_what_can_be_mended_is_told(capsys, tmp_path: Path) -> None:
    assert "Did you mean noninverting" in refused(capsys, "stage", "noninvertin")
    assert "--unit needs the name of a stage" in refused(capsys, "stage", "--unit", CHAIN)
    assert "name the unit as well" in refused(capsys, "stage", "level", "--channel", "A")
    assert "should end in .png" in refused(capsys, "stage", "level", "--png", tmp_path / "level.svg")
    assert "has no channel" in refused(capsys, "stage", "noninverting", "--unit", CHAIN, "--channel", "Zone C")
    assert "does not use" in refused(capsys, "stage", "classab-mirror", "--unit", CHAIN)
    assert "several times" in refused(capsys, "stage", "coupling", "--unit", "ferry-terminal")
