"""Unit texts that the tests of supplies share: the mains, its bridge rectifier, a smoothing section. All invented."""

from __future__ import annotations


def head(title: str, load: str, source: str = "", fuse: str = "") -> str:
    """Return a unit on 230 V, 50 Hz, up to its first supply stage; `fuse` is one ahead of all of them."""
    return (
        f'[unit]\ntitle = "{title}"\nmains = true\n'
        '[mains]\nvolts = "230 V"\nfrequency = "50 Hz"\n'
        + (f'fuse = "{fuse}"\n' if fuse else "")
        + f'[setup]\ngenerator = "10 mV rms"\nload = "{load}"\n'
        + (f'source = "{source}"\n' if source else "")
    )


def bridge(transformer: str, reservoir: str, bleeder: str, fuse: str = "") -> str:
    """Return the supply stage that delivers HT; without `fuse` it has none of its own."""
    return (
        '[[supply]]\nname = "Rectifier"\nuse = "supply-bridge"\n'
        + (f'F = "{fuse}"\n' if fuse else "")
        + f'T = "{transformer} transformer_mains"\n'
        + "".join(f'D{number} = "D{number} diode-rectifier-ht"\n' for number in (1, 2, 3, 4))
        + f'C = "C1 {reservoir}"\nRB = "R1 {bleeder}"\n'
        'rails = { out = "HT" }\n[supply.points]\nout = "C1 plus"\n'
    )


def smoothing(resistor: str, capacitor: str) -> str:
    """Return the supply stage that makes HT2 of HT."""
    return (
        '[[supply]]\nname = "Smoothing"\nuse = "supply-filter"\n'
        f'R = "R2 {resistor}"\nC = "C2 {capacitor}"\n'
        'rails = { in = "HT", out = "HT2" }\n[supply.points]\nout = "C2 plus"\n'
    )


def triode(name: str, valve: str, grid: str, anode: str, cathode: str, coupling: str = "") -> str:
    """Return a triode stage on HT2, its parts by their designators."""
    return (
        f'[[stage]]\nname = "{name}"\nuse = "triode-stage"\n'
        + (f'CIN = "{coupling} 22n"\n' if coupling else "")
        + f'RG = "{grid} 1M"\nV = "{valve}A triode-12ax7"\nRA = "{anode} 100k"\nRK = "{cathode} 1k5"\n'
        f'rails = {{ vp = "HT2" }}\n[stage.points]\nout = "{valve} pin 1"\n'
    )


#: A triode on a rectified and smoothed rail.
SUPPLIED = (
    head("A supply", "1M")
    + '[rails]\nHT = "+280 V"\nHT2 = "+270 V"\n'
    + bridge("T1 1:1", "47u 450V", "6k8 20W", "F1 500mA")
    + smoothing("10k", "22u 450V")
    + triode("Triode", "V1", "R3", "R4", "R5")
)
