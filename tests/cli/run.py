"""Runs the command line in this process, as a person would type it."""

from __future__ import annotations

from pathlib import Path

from rich.cells import cell_len

from lostgain.cli.main import main

UNITS = Path(__file__).resolve().parent.parent / "units"
CHAIN, MIXED, FILTER = (str(UNITS / name) for name in ("chain", "mixed", "filter"))

WEAK = Path(__file__).with_name("weak.csv")
READINGS = WEAK.read_text(encoding="utf-8")


def run(capsys, *words: object) -> tuple[int, str, str]:
    """Return exit code, stdout and stderr; no line of stdout may be wider than 80 columns unless it is JSON."""
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    if "--json" not in words:
        wide = [line for line in said.out.splitlines() if cell_len(line) > 80]
        assert wide == []
    return code, said.out, said.err


def refused(capsys, *words: object) -> str:
    """Return what is said of something the user can mend: exit code 2, nothing on stdout, no traceback."""
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert "Traceback" not in err
    return err
