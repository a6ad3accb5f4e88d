"""A unit from somebody else: what its netlists may not do is refused before anything is run."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.circuit import build
from lostgain.circuit.compose import compose
from lostgain.engine import Pool
from lostgain.problems import UserError
from lostgain.unit import open_unit
from tests.circuit.units import HEAD, NETLIST, make, netlist_stage

PLAIN = "R1 in out 1k\nR2 out 0 1k\n"


@pytest.mark.parametrize(
    "line",
    [
        ".control\nshell touch {mark}\n.endc",
        "R`touch {mark}` out 0 1k",
        "R3 out 0 1k ; shell touch {mark}\nR4 `touch {mark}` 0 1k",
        ".include /etc/hostname",
        ".include ../other.cir",
        'A1 [in] [out] model\n.model model d_source(input_file="/etc/hostname")',
        "B1 out 0 V=`touch {mark}`",
        ".model m d(is=`touch {mark}`)",
    ],
)
@pytest.mark.parametrize("whole", [True, False])
def test_nothing_is_run(tmp_path: Path, line: str, whole: bool) -> None:
    mark = tmp_path / "mark"
    line = line.format(mark=mark)
    stage = HEAD + netlist_stage("A", "board")
    board = f"title\n{PLAIN}{line}\n" if whole else f".subckt a in out\n{PLAIN}.ends\n{line}\n"
    with pytest.raises(UserError, match=r"board\.cir") as caught, Pool(workers=1) as pool:
        build(make(tmp_path / "unit", NETLIST if whole else stage, board=board), pool)
    assert caught.value.problems[0].where.line is not None
    assert not mark.exists()


def test_a_netlist_changed_after_the_unit_was_opened_is_checked_again(tmp_path: Path) -> None:
    unit = make(tmp_path, NETLIST, board=f"title\n{PLAIN}")
    (tmp_path / "board.cir").write_text(f"title\n{PLAIN}.control\nshell touch {tmp_path / 'mark'}\n.endc\n")
    with pytest.raises(UserError, match=r"board\.cir, line 4: A control block"):
        compose(unit)


def test_an_initialisation_file_in_the_unit_does_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mark = tmp_path / "mark"
    unit = make(tmp_path, NETLIST, board=f"title\n{PLAIN}")
    for name in (".spiceinit", "spice.rc"):
        (tmp_path / name).write_text(f"shell touch {mark}\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    with Pool(workers=1) as pool:
        build(open_unit(unit.folder), pool)
    assert not mark.exists()
