"""Fuses that a failure blows, said with the prediction."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures import predict, sentences
from lostgain.signatures.fuses import fuse_amps, fuses
from lostgain.unit import open_unit
from tests.published.conftest import pool  # noqa: F401
from tests.published.emitter_text import common_emitter
from tests.published.mains_texts import SUPPLIED

FUSED = common_emitter(
    "A fused rail",
    '{ volts = "+15 V", fuse = "F1 500mA" }',
    'generator = "10 mV rms"\nload = "10k"\n',
    'CIN = "C1 10u"\nRB1 = "R1 10k"\nRB2 = "R2 2k2"\nRC = "R3 100R"\nRE = "R4 RE"\nQ = "Q1 npn-driver"\n',
    'out = "Q1 collector"\ne = "Q1 emitter"\n',
)


def unit(folder: Path, text: str, pool: Pool) -> Circuit:  # noqa: F811
    (folder / "unit.toml").write_text(text, encoding="utf-8")
    return build(open_unit(folder), pool)


@pytest.mark.parametrize(("ohms", "says"), [("10R", "would blow"), ("18R", "may blow"), ("47R", "")])
def test_a_short_between_a_fused_rail_and_ground(tmp_path: Path, pool: Pool, ohms: str, says: str) -> None:  # noqa: F811
    """15 V over what is left: 1.4 A, 0.81 A, 0.3 A, and the other channel's share, through 500 mA."""
    circuit = unit(tmp_path, FUSED.replace('"R4 RE"', f'"R4 {ohms}"').replace("10 mV rms", "1 mV rms"), pool)
    text = " ".join(sentences(predict(circuit, [parse("R3 short", circuit), parse("Q1 ce-short", circuit)], pool)))
    assert ("The fuse F1 (500 mA) " + says in text) if says else "fuse" not in text
    if says:
        assert "as if no fuse had blown" in text
        text = " ".join(sentences(predict(circuit, [parse(each, circuit) for each in ("R3 short", "F1 open")], pool)))
        assert "The fuse" not in text


def test_the_mains_fuse_of_a_shorted_rectifier(tmp_path: Path, pool: Pool) -> None:  # noqa: F811
    """325 V peak over 44 ohm of copper every other half-wave: some 3.5 A rms through 500 mA, and all rails gone."""
    circuit = unit(tmp_path, SUPPLIED, pool)
    assert [(fuse.part, fuse.amps, fuse.rails, fuse.mains) for fuse in fuses(circuit)] == [
        ("F1", 0.5, ("HT", "HT2"), True)
    ]
    texts = ("", "D1 short", "C2 short", "F1 open")
    outcomes = pool.map(fuse_amps, [(circuit, (parse(text, circuit),) if text else ()) for text in texts])
    well, shorted, behind, blown = (float(outcome.value[0]) for outcome in outcomes)
    assert 0.05 < well < 0.2
    assert shorted == pytest.approx(3.6, rel=0.15)
    assert behind < 1.5 * well  # a short behind 10 kilohm
    assert blown < 1e-3
