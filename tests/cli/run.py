"""Runs the command line in this process, as a person would type it."""

from __future__ import annotations

from pathlib import Path

from rich.cells import cell_len

from lostgain.cli.main import main

UNITS = Path(__file__).resolve().parent.parent / "units"
CHAIN, MIXED, FILTER = (str(UNITS / name) for name in ("chain", "mixed", "filter"))

READINGS = """# good channel: Down line
test point,quantity,value,frequency,channel
J1 hot,level,200 mV rms,500 Hz,Up line
U1 pin 3,level,200 mV rms,500 Hz,Up line
U1 pin 1,level,200 mV rms,500 Hz,Up line
U1 pin 1,dc,0 V,,Up line
TP4,level,50 mV rms,500 Hz,Up line
U101 pin 1,level,2.2 V rms,500 Hz,Down line
TP104,level,550 mV rms,500 Hz,Down line
"""


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
