"""A loudspeaker's equivalent circuit against what its parameters mean.

Source
------
R. H. Small, "Direct-Radiator Loudspeaker System Analysis", J. Audio Eng. Soc. 20 (1972), on measuring f_S, Q_MS and
Q_ES from the impedance curve; formulas from memory, to be verified.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize

from lostgain.unit.loads import library_load, load_names
from tests.circuit.test_loads import impedance


@pytest.mark.parametrize("name", load_names())
def test_f_s_q_ms_and_q_es_are_found_again_from_the_impedance_curve(name: str) -> None:
    """r0 = Zmax/R_E; with |Z| = R_E sqrt(r0) at f1 and f2: f_S² = f1 f2, Q_MS = f_S sqrt(r0)/(f2 - f1), and
    Q_ES = Q_MS/(r0 - 1). They hold for a voice coil without inductance, which is left out here."""
    load = library_load(name)
    assert load.speaker is not None
    speaker = replace(load.speaker, le=1e-12)
    coilless = replace(load, speaker=speaker)

    def size(frequency: float) -> float:
        return abs(impedance(coilless, frequency))

    peak = optimize.minimize_scalar(
        lambda f: -size(f), bounds=(0.7 * speaker.fs, 1.4 * speaker.fs), method="bounded", options={"xatol": 1e-4}
    ).x
    assert peak == pytest.approx(speaker.fs, rel=1e-3)
    r0 = size(peak) / speaker.re
    assert r0 == pytest.approx(1 + speaker.qms / speaker.qes, rel=1e-4)
    wanted = speaker.re * np.sqrt(r0)
    f1, f2 = (optimize.brentq(lambda f: size(f) - wanted, *ends) for ends in ((peak / 20, peak), (peak, peak * 20)))
    assert np.sqrt(f1 * f2) == pytest.approx(speaker.fs, rel=1e-3)
    qms = speaker.fs * np.sqrt(r0) / (f2 - f1)
    assert qms == pytest.approx(speaker.qms, rel=2e-3)
    assert qms / (r0 - 1) == pytest.approx(speaker.qes, rel=2e-3)


@pytest.mark.parametrize("name", load_names())
def test_the_rated_impedance_is_one_the_standard_allows(name: str) -> None:
    """IEC 60268-5: within the rated frequency range the impedance is nowhere below 80 % of the rated one (from memory,
    to be verified). The range here is from half the resonance up."""
    load = library_load(name)
    assert load.speaker is not None
    lowest = min(abs(impedance(load, f)) for f in np.geomspace(load.speaker.fs / 2, 20e3, 200))
    assert lowest >= 0.795 * load.speaker.nominal


@pytest.mark.parametrize("name", load_names())
def test_far_above_resonance_it_is_voice_coil_and_inductance(name: str) -> None:
    load = library_load(name)
    assert load.speaker is not None
    frequency = max(20e3, 30 * load.speaker.fs)
    coil = load.speaker.re + 2j * np.pi * frequency * load.speaker.le
    motion = 1 / (2j * np.pi * frequency * load.speaker.cmes)  # the moving mass is all that is left of the mechanics
    assert impedance(load, frequency) == pytest.approx(coil + motion, rel=5e-3)
