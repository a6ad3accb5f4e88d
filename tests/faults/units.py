"""Units with every kind of part, for tests of faults."""

from __future__ import annotations

from tests.circuit.units import HEAD, POWERED

#: A divider: 10 kilohm over 10 kilohm.
DIVIDER = HEAD + (
    '[[stage]]\nname = "Divider"\nnetlist = "a.cir"\nsubckt = "a"\nports = ["in", "out"]\n[stage.points]\nout = "Tap"\n'
)
DIVIDER_NETLIST = ".subckt a in out\nR1 in out 10k\nR2 out 0 10k\n.ends\n"

#: One part of every kind that a netlist can hold, and a few more.
ALL_KINDS = (
    POWERED.replace("[setup]", '[setup]\nsource = "50R"', 1)
    + """
[[stage]]
name = "Jack"
use = "contact"
K = "J9 connector"
[[stage]]
name = "Mute"
use = "mute"
RS = "R9 2k2"
K = "K1"
[[stage]]
name = "Volume"
use = "level"
RV = "RV1 10k linear"
[[stage]]
name = "Board"
netlist = "a.cir"
subckt = "a"
ports = ["in", "out", "VP", "VN"]
parts = { XU1 = "U1A opamp-jfet", C2 = "film", C3 = "tantalum", C4 = "ceramic" }
[stage.points]
out = "Out"
"""
)
ALL_KINDS_NETLIST = """.subckt a in out vp vn
.model small njf(beta=1m vto=-2)
.model sd d(is=1e-14)
C1 in a 10u
R1 a 0 100k
XU1 a fb vp vn b opamp-jfet
R2 b fb 10k
R3 fb 0 10k
C2 fb b 100n
C4 a 0 100p
R4 b c 1k
C3 c d 10u
L1 d e 1m
Q1 vp e f npn-small
R5 f vn 10k
R6 e 0 100k
Q2 vn f g pnp-small
R7 vp g 10k
D1 g out sd
R8 out vn 10k
J1 vp out h small
R10 h vn 10k
.ends
"""
