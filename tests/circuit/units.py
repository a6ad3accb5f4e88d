"""Tiny units for tests: written into a folder, opened as any unit is."""

from __future__ import annotations

from pathlib import Path

from lostgain.unit import open_unit
from lostgain.unit.model import Unit

#: A coupling network, which ngspice and paper agree on.
COUPLING = """
[unit]
title = "Coupling network"
invented = true
[setup]
generator = "1 V rms"
source = "0R001"
frequencies = ["500 Hz", "40 Hz", "10 kHz"]
[[stage]]
name = "Coupling"
use = "coupling"
CIN = "C1 1u film"
RB = "R1 10k"
[stage.points]
in = "Input"
out = "R1, hot end"
"""

#: An op-amp stage on two rails, one of them fused.
AMPLIFIER = """
[unit]
title = "Gain stage"
invented = true
[[channel]]
name = "Left"
[[channel]]
name = "Right"
add = 100
[rails]
VP = { volts = "+15 V", fuse = "F1 500mA" }
VN = "-15 V"
[setup]
generator = "100 mV rms"
load = "10k"
[[stage]]
name = "Gain"
use = "noninverting"
U = "U1A opamp-jfet"
RF = "R2 22k"
RG = "R3 2k2"
CG = "C2 47u"
[stage.points]
in = "U1 pin 3"
inn = "U1 pin 2"
out = "U1 pin 1"
"""

#: The heads of units whose stages the test adds.
HEAD = COUPLING.partition("[[stage]]")[0]
POWERED = AMPLIFIER.partition("[[stage]]")[0]

#: The head of a unit that is one netlist called ``board.cir``.
NETLIST = """
[unit]
title = "Board"
invented = true
netlist = "board.cir"
input = "in"
output = "out"
[setup]
generator = "1 V rms"
source = "0R001"
"""


def netlist_stage(name: str, file: str = "a", ports: str = "in out", parts: str = "") -> str:
    """Return a stage whose subcircuit ``a`` is in a file of the unit's; `parts` is the inside of its table."""
    listed = ", ".join(f'"{port}"' for port in ports.split())
    return (
        f'[[stage]]\nname = "{name}"\nnetlist = "{file}.cir"\nsubckt = "a"\nports = [{listed}]\nparts = {{ {parts} }}\n'
    )


def make(folder: Path, text: str, **netlists: str) -> Unit:
    """Write a unit and its netlists (``board="…"`` is the file ``board.cir``) and open it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "unit.toml").write_text(text, encoding="utf-8")
    for name, lines in netlists.items():
        (folder / f"{name}.cir").write_text(lines, encoding="utf-8")
    return open_unit(folder)
