"""An op-amp of another construction than the table's, with the numbers of its class moved aside.

One pole at a node whose driving current saturates as x/sqrt(1+x²), ideal followers behind the supply pins for the
limits of the swing, and an output whose current saturates more slowly, as x/(1+|x|), and comes from the rail it should
come from.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import pi

from lostgain.circuit import Element, FlatCircuit, PlacedPart

#: Size of the capacitor that makes the pole [F].
POLE = 1e-10


def stem(place: PlacedPart) -> str:
    """Return what the names of the elements inside an op-amp begin with."""
    return place.element.replace(".", "_")


def fitted(flat: FlatCircuit, place: PlacedPart, facts: Mapping[str, float], offset: float) -> FlatCircuit:
    """Take an op-amp's inside out and put this construction in.

    Parameters
    ----------
    flat : FlatCircuit
    place : PlacedPart
        The op-amp.
    facts : mapping
        ``gain_bandwidth`` [Hz], ``slew_rate`` [V/s], ``open_loop_gain``, ``input_bias`` [A], ``output_resistance``
        [ohm], ``current_limit`` [A], ``rail_drop`` [V], ``supply_current`` [A].
    offset : float
        [V]
    """
    inside = {}
    for pin, at in place.pins.items():
        nodes = flat.elements[at.element].nodes
        inside[pin] = nodes[1 - at.index]
    name = stem(place)
    inp, inn, vp, vn, out = (inside[pin] for pin in ("inp", "inn", "vp", "vn", "out"))
    a, on, g, hi, lo, top, bottom = (f"{name}_{node}" for node in ("a", "on", "g", "hi", "lo", "top", "bottom"))
    conductance = 2 * pi * facts["gain_bandwidth"] * POLE
    most = facts["slew_rate"] * POLE
    x = f"({conductance / most:.6g}*(v({a})-v({inn})))"
    y = f"((v({g})-v({out}))*{1 / (facts['output_resistance'] * facts['current_limit']):.6g})"
    flow = f"({facts['current_limit']:.6g}*v({on})*{y}/(1+abs({y})))"
    idle = 1e-10
    new = [
        Element(f"v{name}_os", (a, inp), f"{offset:.6g}"),
        Element(f"b{name}_ip", (inp, vn), f"i={facts['input_bias']:.6g}*v({inp},{vn})/(abs(v({inp},{vn}))+0.3)"),
        Element(f"b{name}_in", (inn, vn), f"i={facts['input_bias']:.6g}*v({inn},{vn})/(abs(v({inn},{vn}))+0.3)"),
        Element(f"r{name}_diff", (inp, inn), "1e9"),
        Element(f"c{name}_ip", (inp, "0"), "4e-12"),
        Element(f"c{name}_in", (inn, "0"), "4e-12"),
        Element(f"b{name}_on", ("0", on), f"i=0.5+0.5*(v({vp},{vn})-5)/sqrt((v({vp},{vn})-5)^2+0.5)"),
        Element(f"r{name}_on", (on, "0"), "1"),
        Element(f"b{name}_gm", ("0", g), f"i={most:.6g}*v({on})*{x}/sqrt(1+{x}^2)"),
        Element(f"r{name}_dom", (g, "0"), f"{facts['open_loop_gain'] / conductance:.6g}"),
        Element(f"c{name}_dom", (g, "0"), f"{POLE:.6g}"),
        Element(f"e{name}_hi", (top, "0", vp, "0"), "1"),
        Element(f"v{name}_hi", (top, hi), f"{facts['rail_drop']:.6g}"),
        Element(f"d{name}_hi", (g, hi), f"m{name}_clamp"),
        Element(f"e{name}_lo", (bottom, "0", vn, "0"), "1"),
        Element(f"v{name}_lo", (lo, bottom), f"{facts['rail_drop']:.6g}"),
        Element(f"d{name}_lo", (lo, g), f"m{name}_clamp"),
        Element(f"b{name}_source", (vp, out), f"i=0.5*({flow}+sqrt({flow}^2+{idle:g}))"),
        Element(f"b{name}_sink", (out, vn), f"i=0.5*(sqrt({flow}^2+{idle:g})-{flow})"),
        Element(f"b{name}_quiet", (vp, vn), f"i={facts['supply_current']:.6g}*v({on})"),
        Element(f"r{name}_quiet", (vp, vn), "1e6"),
    ]
    kept = {key: element for key, element in flat.elements.items() if f".{place.element}." not in key}
    gone = {element.rest.split()[0] for key, element in flat.elements.items() if key not in kept and element.rest}
    others = {key: text for key, text in flat.models.items() if key not in gone}
    models = {**others, f"m{name}_clamp": "d(is=1e-14 n=0.5 rs=5)"}
    return replace(flat, elements=kept, models=models).with_elements(*new)
