"""One stage against lcapy's symbolic analysis: the gain stage with a capacitor in its ground leg.

lcapy (a symbolic circuit analyser on SymPy) solves the netlist with an ideal op-amp. Its answer is checked by hand too:
1 + RF CG s / (1 + RG CG s).
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.circuits.solve import powered, run

lcapy = pytest.importorskip("lcapy")

RF, RG, CG = 22e3, 2.2e3, 4.7e-6
NETLIST = """
V1 in 0 {v(t)}
E1 out 0 opamp in inn A
RF out inn
RG inn leg
CG leg 0
"""


def test_gain_stage_with_ground_leg_capacitor() -> None:
    circuit = lcapy.Circuit(NETLIST)
    symbolic = (circuit.out.V(lcapy.s) / circuit["in"].V(lcapy.s)).limit("A", lcapy.oo).simplify()
    by_hand = lcapy.expr("1 + RF*CG*s/(1 + RG*CG*s)")
    assert (symbolic.sympy - by_hand.sympy).simplify() == 0
    numbers = symbolic.subs({"RF": RF, "RG": RG, "CG": CG})
    lines = powered("noninverting", {"U": "opamp-jfet", "RF": RF, "RG": RG, "CG": CG}, "dc 0 ac 1")
    for frequency in (2.0, 5.0, 15.4, 50.0, 500.0):
        expected = complex(numbers.subs(2j * np.pi * frequency).cval)
        found = complex(run(lines, f"ac lin 1 {frequency:g} {frequency:g}")["out"][0])
        assert found == pytest.approx(expected, rel=2e-3), frequency
