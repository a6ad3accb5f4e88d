"""Tiny units for tests of signature tables."""

from __future__ import annotations

from tests.circuit.units import NETLIST

#: A resistor into a capacitor, and a divider: three parts.
SMALL = NETLIST + (
    '[tolerances]\nresistor = "2%"\n[parts]\nC1 = "film 10%"\n'
    '[[point]]\nname = "TP1"\nnode = "mid"\n[[point]]\nname = "TP2"\nnode = "out"\n'
)
SMALL_NETLIST = "title\nR1 in mid 1k\nC1 mid 0 100n\nR2 mid out 10k\nR3 out 0 10k\n"

#: One frequency and two parts, for tests that build a table often.
TINY = NETLIST.replace('source = "0R001"', 'source = "0R001"\nfrequencies = ["500 Hz"]') + (
    '[[point]]\nname = "TP1"\nnode = "out"\n'
)
TINY_NETLIST = "title\nR1 in out 1k\nC1 out 0 100n\n"

#: A relaxation oscillator near 700 Hz, which no frequency of the set-up is a multiple of.
OSCILLATOR = NETLIST + (
    '[rails]\nVP = "15 V"\nVN = "-15 V"\n[parts]\nX1 = "U1A opamp-jfet"\n[[point]]\nname = "TP1"\nnode = "out"\n'
)
OSCILLATOR_NETLIST = """title
R9 in plus 1meg
X1 plus minus vp vn out opamp-jfet
R1 out minus 10k
C1 minus 0 73n
R2 out plus 10k
R3 plus 0 10k
"""

#: Emitter followers with a bias of two diodes, at two levels of the generator.
CLASS_B = NETLIST.replace(
    'generator = "1 V rms"\nsource = "0R001"',
    'generator = "2 V rms"\nsource = "0R001"\nfrequencies = ["500 Hz", "40 Hz", "10 kHz"]\nlevels = ["400 mV rms"]',
) + (
    '[rails]\nVP = "15 V"\nVN = "-15 V"\n[[point]]\nname = "Input"\nnode = "in"\n'
    '[[point]]\nname = "Emitters"\nnode = "out"\n'
)
CLASS_B_NETLIST = """title
R1 vp top 4.7k
D1 top in diode-signal
D2 in bottom diode-signal
R2 bottom vn 4.7k
Q1 vp top out npn-small
Q2 vn bottom out pnp-small
RL out 0 1k
"""

#: A resonance of quality 6 at the generator's frequency, and an amplifier of gain 2 behind it.
RINGS = NETLIST.replace('source = "0R001"', 'source = "0R001"\nfrequencies = ["500 Hz"]') + (
    '[rails]\nVP = "15 V"\nVN = "-15 V"\n[tolerances]\nresistor = "5%"\n[parts]\nX1 = "U1A opamp-jfet"\n'
    '[[point]]\nname = "TP1"\nnode = "tank"\n[[point]]\nname = "TP2"\nnode = "out"\n'
)
RINGING_NETLIST = """title
R1 in tank 10k
L1 tank 0 530m
C1 tank 0 191n
X1 tank minus vp vn out opamp-jfet
R2 minus 0 10k
R3 out minus 10k
"""
