"""One example of every stage with every role filled, for tests that go over all stages.

Those of the stages here have invented values; those of all others are the worked examples in their own files.
"""

from __future__ import annotations

from collections.abc import Mapping

from lostgain import quantities
from lostgain.unit import library
from lostgain.unit.controls import share
from lostgain.unit.kinds import kinds
from lostgain.unit.loads import parse_load
from lostgain.unit.parttext import PartText, read_part

OUTPUT: dict[str, float | str] = {
    "CIN": 2.2e-6, "RIN": 22e3, "QD1": "pnp-small", "QD2": "pnp-small",
    "QV": "npn-driver", "QB": "npn-driver", "RB1": 1.87e3, "RB2": 680.0,
    "QN1": "npn-driver", "QP1": "pnp-driver", "QN2": "npn-power", "QP2": "pnp-power",
    "RD": 220.0, "RE1": 0.22, "RE2": 0.22, "RF": 22e3, "RG": 1e3, "CG": 100e-6,
    "RZ": 10.0, "CZ": 100e-9, "RO": 10.0, "LO": 2e-6,
}  # fmt: skip
MIRROR: dict[str, float | str] = {
    **OUTPUT, "QM1": "npn-small", "QM2": "npn-small", "RM1": 100.0, "RM2": 100.0, "RV": 22.0, "CC": 220e-12,
    "DR1": "diode-signal", "DR2": "diode-signal", "RREF": 10e3, "QT": "pnp-small", "RT": 620.0,
    "QS": "pnp-driver", "RS": 100.0,
}  # fmt: skip
BOOTSTRAP: dict[str, float | str] = {
    **OUTPUT, "RT": 22e3, "RC": 1.2e3, "RV": 10.0, "CC": 150e-12, "RS1": 2.2e3, "RS2": 2.2e3, "CB": 100e-6,
}  # fmt: skip

#: Stage to its parts, its load [ohm] and its rails [V].
EXAMPLES: dict[str, tuple[dict[str, float | str], float, float | Mapping[str, float]]] = {
    "noninverting": ({"U": "opamp-jfet", "RF": 22e3, "RG": 2.2e3, "CG": 47e-6, "CF": 47e-12}, 10e3, 15.0),
    "inverting": ({"U": "opamp-bipolar", "RIN": 10e3, "RF": 22e3, "CF": 47e-12, "RB": 6.8e3}, 10e3, 15.0),
    "buffer": ({"U": "opamp-lownoise", "RS": 100.0}, 10e3, 15.0),
    "coupling": ({"CIN": 1e-6, "RB": 47e3, "RS": 1e3, "CS": 220e-12}, 1e6, 15.0),
    "level": ({"RV": "potentiometer R=10k K=0.5"}, 100e3, 15.0),
    "contact": ({}, 10e3, 15.0),
    "mute": ({"RS": 1e3}, 10e3, 15.0),
    "common-emitter": (
        {"CIN": 10e-6, "RB1": 47e3, "RB2": 10e3, "RC": 4.7e3, "RE": 1e3, "CE": 100e-6, "Q": "npn-small"}, 100e3, 24.0,
    ),
    "classab-mirror": (MIRROR, 8.0, 28.0),
    "classab-bootstrap": (BOOTSTRAP, 8.0, 28.0),
}  # fmt: skip


def from_its_file(name: str) -> tuple[dict[str, float | str], float, Mapping[str, float]]:
    """Return the worked example of a stage in the form of those above."""
    facts = library.stage(name)
    assert facts.example is not None, f"{name} has no worked example"
    controls = facts.example.setup.get("controls", {})
    read = {role: read_part(text, facts.roles[role].kind) for role, text in facts.example.parts.items()}
    # a part without a value has its role's
    parts = {role: as_value(part, controls) for role, part in read.items() if part.value is not None or part.device}
    load = parse_load(facts.example.setup.get("load", "open")).ohms or 1e9
    rails = {port: quantities.measure(volts, "voltage").value for port, volts in facts.example.rails.items()}
    return parts, load, rails


def as_value(part: PartText, controls: Mapping[str, str]) -> float | str:
    """Return a part's value (SI), or its device class with its parameters."""
    if part.kind == "potentiometer":
        return (
            f"potentiometer R={part.value:g} K={share(controls.get(part.designator, 'half'), part.taper or 'linear'):g}"
        )
    if part.device is None:
        assert part.value is not None
        return part.value
    return part.device if part.value is None else f"{part.device} {kinds()[part.kind].unit}={part.value:g}"


#: The stages a signal goes through; supplies have tests of their own.
SIGNAL = [name for name in library.stage_names() if not library.stage(name).supplies]
EXAMPLES |= {name: from_its_file(name) for name in SIGNAL if name not in EXAMPLES}
