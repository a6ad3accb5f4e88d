"""Further levels of the generator: simulated beside the set-up's own, and nothing twice."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from lostgain.bench.healthy import output_level
from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures import Table, bends, table
from lostgain.signatures.build import write_table
from tests.circuit.units import make
from tests.signatures.units import CLASS_B, CLASS_B_NETLIST, TINY, TINY_NETLIST

#: Each test has a cache of its own.
pytestmark = pytest.mark.usefixtures("cache")


@pytest.fixture(scope="module")
def followers(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Table:
    """Emitter followers with a few of their faults, at two levels."""
    circuit = build(make(tmp_path_factory.mktemp("units") / "followers", CLASS_B, board=CLASS_B_NETLIST), pool)
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("LOSTGAIN_CACHE", str(tmp_path_factory.mktemp("cache")))
        few = tuple(parse(text, circuit) for text in ("D1 short", "RL drift 2x"))
        patched.setattr("lostgain.signatures.build.listing", lambda _: few)
        patched.setattr("lostgain.signatures.build.strays", lambda _: ())
        return table(circuit, pool, draws=2)


def tiny(folder: Path, pool: Pool, levels: str) -> Circuit:
    text = TINY.replace('frequencies = ["500 Hz"]', f'frequencies = ["500 Hz"]\nlevels = [{levels}]')
    return build(make(folder, text, board=TINY_NETLIST), pool)


def test_what_is_linear_follows_the_generator(tmp_path: Path, pool: Pool) -> None:
    found = table(tiny(tmp_path / "two", pool, '"100 mV rms", "3 V rms"'), pool, draws=2)
    assert [(each.frequency, each.generator) for each in found.drives] == [(500, 1.0), (500, 0.1), (500, 3.0)]
    assert found.frequencies == (500.0,)
    level = found.values("level")
    np.testing.assert_allclose(level[..., 1], 0.1 * level[..., 0], rtol=1e-3, atol=1e-6)
    np.testing.assert_allclose(level[..., 2], 3 * level[..., 0], rtol=1e-3, atol=1e-6)
    assert output_level(found) == pytest.approx(level[0, 0, -1, 0]), "the load of the set-up's own level"


def test_a_level_that_is_added_repeats_nothing(tmp_path: Path, pool: Pool, monkeypatch: pytest.MonkeyPatch) -> None:
    one = table(tiny(tmp_path / "one", pool, ""), pool, draws=2)
    circuit = tiny(tmp_path / "two", pool, '"100 mV rms"')
    given: list[int] = []
    real = Pool.imap

    def counted(self: Pool, task, items, common=None):  # type: ignore[no-untyped-def]
        items = list(items)
        given.append(len(items) if task is not bends._refined else 0)
        return real(self, task, items, common)

    monkeypatch.setattr(Pool, "imap", counted)
    two = table(circuit, pool, draws=2)
    rows = one.data.sizes["row"]
    assert sum(given) <= rows, "the rows at the generator's own level are simulated again"
    assert two.key != one.key
    np.testing.assert_array_equal(two.values("level")[..., 0], one.values("level")[..., 0])


def test_the_file_says_which_level_is_which(tmp_path: Path, pool: Pool) -> None:
    found = table(tiny(tmp_path / "two", pool, '"100 mV rms"'), pool, draws=2)
    write_table(found, tmp_path / "table.nc")
    with xr.open_dataset(tmp_path / "table.nc", engine="h5netcdf") as data:
        assert data.generator.values.tolist() == [1.0, 0.1]
        assert data.generator.attrs["units"] == "V rms"
        assert data.frequency.values.tolist() == [500.0, 500.0]
    again = table(found.circuit, pool, draws=2)
    assert again.key == found.key
    assert again.data.identical(found.data)


def test_a_dead_zone_takes_more_of_a_small_signal(followers: Table) -> None:
    """Followers without bias pass what exceeds the dead zone: Sedra and Smith, Microelectronic Circuits, class-B
    transfer characteristic (from memory). One diode shorted leaves one half-wave with about one junction's drop.
    """  # fmt: skip
    level = followers.values("level")[:, 0, followers.points.index("Emitters")]
    assert followers.drives[3].generator == pytest.approx(0.4)
    healthy, shorted = level[0], level[1]
    lost = 20 * np.log10(shorted / healthy)
    assert lost[3] < lost[0] - 1.5
    angle = np.linspace(0, 2 * np.pi, 2000, endpoint=False)
    for index in (0, 3):
        sine = 2**0.5 * healthy[index] * np.sin(angle)
        cut = np.where(sine > 0, np.maximum(sine - 0.62, 0.0), sine)  # a junction at about 1 mA: 0.6 to 0.65 V
        assert shorted[index] == pytest.approx(np.std(cut), rel=0.1)
