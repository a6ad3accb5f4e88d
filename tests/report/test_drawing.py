"""Stages are drawn with every name on paper, the suspected part marked twice over, and the same bytes each time."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from lostgain.problems import UserError
from lostgain.report.drawing import draw, draw_stage, suspect_stage
from lostgain.report.pictures import style
from lostgain.unit import open_unit
from lostgain.unit.library import stage, stage_names
from lostgain.unit.placed_stage import placed_stage
from tests.report import records


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """The figures that are saved, instead of their files."""
    kept: list[Figure] = []

    def keep(figure: Figure, path: Path | str) -> Path:
        figure.canvas.draw()
        kept.append(figure)
        return Path(path)

    monkeypatch.setattr(draw, "save", keep)
    return kept


def texts(figure: Figure) -> list[str]:
    return [each.get_text() for each in figure.findobj(Text)]


@pytest.mark.parametrize("name", stage_names())
def test_every_name_is_on_paper_and_none_lies_on_another(name: str, drawn: list[Figure]) -> None:
    draw_stage(name, "x.png")
    said = texts(drawn[0])
    facts = stage(name)
    for word in (*facts.roles, *facts.nodes, *facts.rails, facts.title):
        assert word in said
    boxes = [each.get_window_extent() for each in drawn[0].findobj(Text) if each.get_text().strip()]
    page = drawn[0].bbox
    for number, box in enumerate(boxes):
        assert page.x0 <= box.x0
        assert box.x1 <= page.x1
        assert page.y0 <= box.y0
        assert box.y1 <= page.y1
        for other in boxes[number + 1 :]:
            wide = min(box.x1, other.x1) - max(box.x0, other.x0)
            high = min(box.y1, other.y1) - max(box.y0, other.y0)
            assert wide < 1 or high < 3, (name, box, other)  # a line's box is a little higher than its letters


def test_a_units_stage_has_its_designators_values_and_test_points(drawn: list[Figure]) -> None:
    unit = open_unit("ferry-terminal")
    draw_stage("noninverting", "x.png", placed_stage(unit, "Gain stage", "Zone B"))
    said = texts(drawn[0])
    assert {"R109", "22 kΩ", "C104", "47 µF", "U101B", "U101 pin 6", "VN −15 V", "Gain stage, Zone B"} <= set(said)
    assert "RF" not in said
    assert "inn" not in said


def test_a_part_that_is_not_fitted_is_a_wire_or_nothing(drawn: list[Figure]) -> None:
    """The level coupling has no series resistor and no shunt capacitor."""
    unit = open_unit("ferry-terminal")
    draw_stage("coupling", "x.png", placed_stage(unit, "Level coupling"))
    assert {"C6", "R10"} <= set(texts(drawn[0]))
    assert not {"RS", "CS"} & set(texts(drawn[0]))


def test_a_marked_part_has_colour_and_a_dashed_ring(drawn: list[Figure]) -> None:
    draw_stage("noninverting", "x.png")
    draw_stage("noninverting", "x.png", marked=["RG"], said="Marked: RG open")
    for figure, count in zip(drawn, (0, 1), strict=True):
        lines = figure.axes[0].lines
        assert sum(line.get_linestyle() == "--" for line in lines) == count
        assert any(line.get_color() == style.VERMILLION and line.get_linestyle() == "-" for line in lines) is bool(
            count
        )
    assert "Marked: RG open" in texts(drawn[1])


def test_a_suspects_stage_is_drawn_with_its_part_marked(drawn: list[Figure]) -> None:
    suspect = records.verdict().suspects[0]
    unit = records.circuit().unit
    assert suspect_stage(unit, suspect, "x.png") == Path("x.png")
    coloured = [each for each in drawn[0].findobj(Text) if each.get_color() == style.VERMILLION]
    assert {each.get_text() for each in coloured} == {"C101", "1 µF"}
    elsewhere = replace(suspect, fault=replace(suspect.fault, stage="supply"))
    assert suspect_stage(unit, elsewhere, "x.png") is None


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_the_same_bytes_come_out_each_time(suffix: str, tmp_path: Path) -> None:
    one, other = (draw_stage("common-emitter", tmp_path / f"{name}{suffix}") for name in ("a", "b"))
    assert one.read_bytes() == other.read_bytes()


def test_another_suffix_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="jpg"):
        draw_stage("level", tmp_path / "a.jpg")


def test_the_library_is_in_the_dependencies() -> None:
    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text("utf-8"))["project"]
    assert any(each.startswith("schemdraw") for each in project["dependencies"])
