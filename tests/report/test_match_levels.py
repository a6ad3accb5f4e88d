"""The picture of levels read along the chain, where some were read at another generator level."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from lostgain.circuit import build
from lostgain.diagnosis import match
from lostgain.engine import Pool
from lostgain.readings.model import Reading, Readings
from lostgain.report.pictures import match as pictures
from lostgain.report.pictures.rows import Chart
from lostgain.signatures import table
from tests.circuit.units import make
from tests.signatures.units import TINY, TINY_NETLIST


def test_the_picture_is_of_the_generators_own_level(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reading at another level is no mark in it, and the picture says so."""
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "cache"))
    text = TINY.replace('frequencies = ["500 Hz"]', 'frequencies = ["500 Hz"]\nlevels = ["100 mV rms"]')
    with Pool(workers=1) as pool:
        found = table(build(make(tmp_path / "tiny", text, board=TINY_NETLIST), pool), pool, draws=2)
    own = Reading("TP1", "level", "main", 0.9, frequency=500.0, instrument="dmm-trms", text="0.9 V")
    other = Reading("TP1", "level", "main", 0.09, frequency=500.0, instrument="dmm-trms", text="90 mV", generator=0.1)
    drawn: list[Chart] = []

    def kept(chart: Chart) -> Figure:
        drawn.append(chart)
        return Figure()

    monkeypatch.setattr(pictures, "draw", kept)
    readings = Readings((own, other))
    pictures.level_match(found, readings, match(found, readings), tmp_path / "levels.png")
    (chart,) = drawn
    assert len(chart.axes) == 1
    assert "Not shown: 1 reading at other frequencies or generator levels than the picture's." in chart.notes
    assert {trace.values.shape for trace in chart.traces} == {(1, 1)}
    (read,) = [trace for trace in chart.traces if trace.label.startswith("read")]
    assert read.column == [["0.9 V"]]
    assert float(read.values[0, 0]) == pytest.approx(20 * np.log10(0.9))
