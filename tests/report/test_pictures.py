"""Pictures are made, hold what they must, and come out the same each time."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox

from lostgain.problems import UserError
from lostgain.report import levels, pictures
from lostgain.report.pictures import band, bars, chain, match, rows, sines, style
from lostgain.report.shares import percent
from tests.report import records

DRAW: dict[str, Callable[..., Path]] = {
    "level": pictures.level_chain,
    "dc": pictures.dc_chain,
    "waves": pictures.waves,
    "response": pictures.response,
}
STARTS = {".png": b"\x89PNG", ".svg": b"<?xml", ".pdf": b"%PDF"}


@pytest.fixture(autouse=True)
def _no_warnings() -> Iterator[None]:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        yield


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """The figures that are saved, instead of their files."""
    kept: list[Figure] = []

    def keep(figure: Figure, path: Path | str) -> Path:
        figure.canvas.draw()
        kept.append(figure)
        return Path(path)

    for module in (band, bars, chain, match, sines):
        monkeypatch.setattr(module, "save", keep)
    return kept


def texts(figure: Figure) -> list[str]:
    return [each.get_text() for each in figure.findobj(Text)]


@pytest.mark.parametrize("kind", records.KINDS)
@pytest.mark.parametrize("name", DRAW)
def test_every_kind_of_failure_is_drawn(name: str, kind: str, drawn: list[Figure]) -> None:
    DRAW[name](records.prediction(kind), "x.png")
    inside(drawn[0])


def inside(figure: Figure) -> None:
    """Check that no text is cut off at the edge of the picture, or written over another."""
    width, height = figure.bbox.width, figure.bbox.height
    boxes: list[tuple[str, Bbox]] = []
    for text in figure.findobj(Text):
        if text.get_text() and text.get_visible():
            box = text.get_window_extent()
            assert box.x0 >= 0, text.get_text()
            assert box.x1 <= width, text.get_text()
            assert box.y0 >= 0, text.get_text()
            assert box.y1 <= height, text.get_text()
            over = [other for other, taken in boxes if Bbox.intersection(box, taken.padded(-0.5))]
            assert not over, (text.get_text(), over)
            boxes.append((text.get_text(), box))


@pytest.mark.parametrize("suffix", STARTS)
def test_a_picture_has_the_same_bytes_each_time(suffix: str, tmp_path: Path) -> None:
    made = [pictures.level_chain(records.prediction("gone"), tmp_path / f"{number}{suffix}") for number in range(2)]
    first, second = (path.read_bytes() for path in made)
    assert first == second
    assert first.startswith(STARTS[suffix])
    assert b"CreationDate" not in first  # two files made in one second would be the same all the same
    assert b"<dc:date>" not in first


def test_each_function_writes_its_file(tmp_path: Path) -> None:
    for name, draw in DRAW.items():
        path = tmp_path / f"{name}.png"
        assert draw(records.prediction("clipped"), path) == path
        assert path.read_bytes().startswith(STARTS[".png"])
    table, verdict = records.table(), records.verdict()
    pictures.level_match(table, records.readings(), verdict, tmp_path / "match.png")
    pictures.suspects(verdict, tmp_path / "suspects.png")
    assert len(list(tmp_path.iterdir())) == len(DRAW) + 2


def test_the_users_own_matplotlib_settings_change_nothing(tmp_path: Path) -> None:
    import matplotlib

    found = records.prediction("gone")
    one = pictures.response(found, tmp_path / "a.png").read_bytes()
    with matplotlib.rc_context({"font.size": 30, "axes.facecolor": "red", "lines.linewidth": 9}):
        other = pictures.response(found, tmp_path / "b.png").read_bytes()
    assert one == other


@pytest.mark.parametrize(("name", "said"), [("x.pgn", ".png"), ("x", "none of"), ("x.jpg", ".png")])
def test_another_suffix_is_refused(name: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="none of") as caught:
        pictures.waves(records.prediction("gone"), tmp_path / name)
    assert said in str(caught.value)


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="could not be written"):
        pictures.response(records.prediction("gone"), tmp_path / "missing" / "x.png")


@pytest.mark.parametrize("name", ["level", "dc", "waves"])
def test_a_long_name_is_whole_and_not_cut(name: str, drawn: list[Figure]) -> None:
    DRAW[name](records.renamed(records.prediction("gone")), "x.png")
    inside(drawn[0])
    shown = [text.replace("\n", " ") for text in texts(drawn[0])]
    assert f"{records.LONG} (out of reach)" in shown


def test_a_name_with_dollar_signs_is_no_formula(drawn: list[Figure]) -> None:
    pictures.level_chain(records.renamed(records.prediction("gone"), "$^$ pin"), "x.png")
    assert "$^$ pin (out of reach)" in texts(drawn[0])


def test_what_did_not_converge_is_said(drawn: list[Figure]) -> None:
    for draw in DRAW.values():
        draw(records.prediction("no result"), "x.png")
    for figure in drawn:
        assert any("singular matrix" in text for text in texts(figure))
    assert any("did not converge" in text for text in texts(drawn[-1]))


def test_the_range_names_its_percentiles(drawn: list[Figure]) -> None:
    pictures.level_chain(records.prediction("gone"), "x.png", records.table())
    assert any("5th to 95th percentile" in text for text in texts(drawn[0]))
    low, high = chain.healthy_range(records.table())
    assert (low < high).all()


def test_every_axis_has_its_unit(drawn: list[Figure]) -> None:
    for draw in DRAW.values():
        draw(records.prediction("clipped"), "x.png")
    for figure, units in zip(
        drawn, (("dB re 1 V rms", "V rms"), ("V DC",), ("Time [ms]",), ("[Hz]", "[dB]")), strict=True
    ):
        for unit in units:
            assert any(unit in text for text in texts(figure))


def test_readings_are_drawn_as_typed_and_what_is_left_out_is_said(drawn: list[Figure]) -> None:
    pictures.level_match(records.table(), records.readings(), records.verdict(), "x.png")
    shown = texts(drawn[0])
    for text in ("6.2 Vpp", "2 Vpp", "same as good", "nothing", "J1 hot (out of reach)"):
        assert text in shown
    assert "Test points are named as in Up line." in shown
    assert "Not shown: 1 reading of other quantities than level." in shown
    assert "Not shown: 1 reading at other frequencies or generator levels than the picture's." in shown
    inside(drawn[0])


@pytest.mark.parametrize("count", [0, 1, 2, 30])
def test_suspects_with_healthy_and_unexplained_beside_them(count: int, drawn: list[Figure]) -> None:
    verdict = records.verdict(count) if count else records.verdict(0, 0.7, 0.3)
    pictures.suspects(verdict, "x.png")
    shown = texts(drawn[0])
    assert {"healthy", "unexplained"} <= set(shown)
    assert ("other suspects" in shown) == (count > 12)
    if count:
        assert "C100 lost" in shown
    inside(drawn[0])


def test_looks_differ_without_colour() -> None:
    looks = (style.HEALTHY, *style.SUSPECTS)
    assert len({str(look.dashes) for look in looks}) == len(looks)
    marks = [(look.marker, look.filled) for look in (*looks, *style.CHANNELS)]
    assert len(set(marks)) == len(marks)


def test_nothing_lies_on_the_floor_and_no_result_nowhere() -> None:
    shown = levels.decibels(np.array([0.0, 1e-9, 1.0, np.nan]))
    assert shown[0] == shown[1] == levels.FLOOR
    assert shown[2] == 0
    assert np.isnan(shown[3])
    assert [levels.volts(each) for each in (0.0, 0.42, float("nan"))] == ["nothing", "420 mV", "no result"]


@pytest.mark.parametrize(
    ("probability", "said"), [(0, "<0.1 %"), (5e-4, "<0.1 %"), (0.004, "0.4 %"), (0.63, "63 %"), (1, ">99 %")]
)
def test_probabilities_are_written_with_two_figures(probability: float, said: str) -> None:
    assert percent(probability) == said


@pytest.mark.parametrize("name", DRAW)
def test_a_prediction_of_several_channels_says_whose_names_are_used(name: str, drawn: list[Figure]) -> None:
    DRAW[name](records.prediction("gone"), "x.png")
    assert "Named as in Up line." in " ".join(texts(drawn[0])).replace("\n", " ")


def test_a_long_chain_makes_a_taller_picture() -> None:
    def height(count: int) -> float:
        values = np.ones((count, 1))
        trace = rows.Trace("healthy", style.HEALTHY, values)
        names = tuple(f"TP{number}" for number in range(count))
        with style.drawing():
            figure = rows.draw(rows.Chart("x", (), names, frozenset(), ("DC",), lambda ax: None, (trace,)))
        return float(figure.get_size_inches()[1])

    assert height(60) - height(30) == pytest.approx(30 * rows.ROW)
