from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pypdf
import pytest

from lostgain.bench.sheet import sheet
from lostgain.bench.sheet_model import Expected, Range, Sheet
from lostgain.report import sheet_cells as cells
from lostgain.report import sheet_pdf_readings, sheet_pdf_style
from lostgain.report.sheet_html import render_html
from lostgain.report.sheet_pdf import write_pdf
from lostgain.report.sheet_text import render_text
from tests.bench.build import UNITS, healthy_table

HALL = Path(__file__).resolve().parents[1] / "bench" / "units" / "hall"


@pytest.fixture(scope="module", params=[HALL, UNITS / "chain", UNITS / "filter"], ids=lambda path: path.name)
def made(request: pytest.FixtureRequest) -> Sheet:
    return sheet(healthy_table(request.param))


@pytest.fixture(scope="module")
def hall() -> Sheet:
    return sheet(healthy_table(HALL))


class Tags(HTMLParser):
    """Every tag with its attributes, the text, and whether tags close in the order in which they opened."""

    EMPTY = frozenset({"meta", "rect", "path", "polyline"})

    def __init__(self, page: str) -> None:
        super().__init__()
        self.seen: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.append((tag, dict(attrs)))
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag not in self.EMPTY:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_stands_alone(made: Sheet) -> None:
    page = render_html(made)
    tags = Tags(page)
    assert not tags.open
    for tag, attributes in tags.seen:
        assert tag not in {"script", "link", "img", "iframe", "object"}
        assert not attributes.keys() & {"src", "href"}
    assert not re.search(r"https?:|url\(|@import|//", page)


def test_a_title_cannot_put_tags_into_the_page(hall: Sheet) -> None:
    page = render_html(hall)
    assert "&lt;hall&gt; amplifier &amp; more" in page
    assert "<hall>" not in page


def texts(made: Sheet) -> list[str]:
    """All that a rendering has to hold."""
    found = [made.title, *made.channels, *(text for pair in made.setup for text in pair), *made.notes]
    found += [caution.text for caution in made.cautions]
    for step in made.steps:
        found += [step.title, *step.before, *step.after]
        for row in step.rows:
            found += row.names
            for line in cells.lines(row):
                found += [line.healthy, line.healthy_pp, line.range]
    found += [cells.out_of_reach(point) for point in made.out_of_reach]
    return [text for text in found if text and text != "main"]


def plain(text: str) -> str:
    return "".join(text.split())


def test_page_and_text_hold_the_whole_sheet(made: Sheet) -> None:
    page, text = plain(Tags(render_html(made)).text), plain(render_text(made))
    for wanted in texts(made):
        assert plain(wanted) in page, wanted
        assert plain(wanted) in text, wanted


def test_the_text_has_80_columns(made: Sheet) -> None:
    lines = render_text(made).split("\n")
    assert max(map(len, lines)) <= 80
    assert all(line == line.rstrip() for line in lines)


def test_no_columns_run_together_in_the_text(hall: Sheet) -> None:
    """A frequency of eight characters, ``1.59 kHz``, has a blank behind it too."""
    *others, last = hall.steps
    rows = [replace(row, expected=[replace(each, frequency=1590.0) for each in row.expected]) for row in last.rows]
    text = render_text(replace(hall, steps=[*others, replace(last, rows=rows)]))
    assert "1.59 kHz " in text
    assert not re.search(r"Hz\d", text)


def test_there_is_room_for_every_reading(hall: Sheet) -> None:
    wanted = sum(len(row.names) * len(row.expected) for step in hall.steps for row in step.rows)
    assert len(re.findall("__+", render_text(hall))) == wanted
    page = render_html(hall)
    assert page.count('class="reading"') == wanted
    assert page.count("<polyline") == sum(row.picture is not None for row in hall.steps[-1].rows)


def test_the_pdf_holds_the_whole_sheet(made: Sheet, tmp_path: Path) -> None:

    file = tmp_path / "sheet.pdf"
    write_pdf(made, file)
    reader = pypdf.PdfReader(file)
    inside = plain("".join(page.extract_text() for page in reader.pages))
    for wanted in texts(made):
        assert plain(wanted) in inside, wanted


def test_the_pdf_has_the_right_pages(hall: Sheet, tmp_path: Path) -> None:
    file = tmp_path / "sheet.pdf"
    write_pdf(hall, file)
    data = file.read_bytes()
    assert data.startswith(b"%PDF-")
    assert data.rstrip().endswith(b"%%EOF")
    # counted by eye: cautions, then the steps on two pages
    assert len(re.findall(rb"/Type /Page\b(?!s)", data)) == 3
    assert b"DejaVuSans" in data


@pytest.mark.parametrize(
    ("expected", "healthy", "span"),
    [
        (Expected("dc", volts=Range(0.004, -0.01, 0.015), floor=0.02), "0 V", "within ±20 mV"),
        (Expected("dc", volts=Range(0.004, -0.01, 0.035), floor=0.02), "0 V", "-10 … +35 mV"),
        (Expected("dc", volts=Range(14.62, 13.71, 15.4), floor=0.02), "+14.6 V", "+13.7 … +15.4 V"),
        (Expected("dc", volts=Range(-28.0, -29.4, -26.6), floor=0.02), "-28 V", "-29.4 … -26.6 V"),
        (Expected("level", 500.0, Range(0.548, 0.532, 0.563), floor=0.002), "548 mV rms", "532 … 563 mV rms"),
        (Expected("level", 500.0, Range(0.98, 0.95, 1.01), floor=0.002), "980 mV rms", "950 mV rms … 1.01 V rms"),
        (Expected("level", 500.0, Range(0.001, 0.0005, 0.0011), floor=0.002), "< 2 mV rms", ""),
        (Expected("level", 500.0, Range(0.001, 0.0005, 0.003), floor=0.002), "< 2 mV rms", "up to 3 mV rms"),
        (Expected("dc", volts=Range(float("nan"), float("nan"), float("nan"))), "not computed", ""),
    ],
)
def test_a_cell(hall: Sheet, expected: Expected, healthy: str, span: str) -> None:
    row = hall.steps[-1].rows[0]
    line = cells.lines(type(row)(row.names, row.stage, (expected,)))[0]
    assert (line.healthy, line.range) == (healthy, span)


def test_short_names_tell_channels_apart() -> None:
    assert cells.short_names(("Zone A", "Zone B")) == ("A", "B")
    assert cells.short_names(("Up line", "Down line")) == ("Up", "Down")
    assert cells.short_names(("Hall", "Hall 2")) == ("1", "2")


@pytest.mark.parametrize(("minutes", "said"), [(0.5, "1 min"), (59.2, "1 h"), (87, "1 h 27 min")])
def test_minutes(minutes: float, said: str) -> None:
    assert cells.minutes(minutes) == said


def test_a_wave_is_drawn_in_the_terminal(hall: Sheet) -> None:
    drawn = [line for line in render_text(hall).split("\n") if line.startswith("  picture ")]
    assert len(drawn) == sum(row.picture is not None for row in hall.steps[-1].rows)
    for line in drawn:
        assert line.count("█") >= 3, "two and a half cycles have three peaks"
        assert line.endswith("500 µs/div")


@pytest.mark.parametrize("lines", [2, 4])
def test_a_picture_has_its_room_beside_few_lines(hall: Sheet, lines: int) -> None:
    """With one frequency a place has two lines, which are lower than the picture unless they are made higher."""
    row = next(row for row in hall.steps[-1].rows if row.picture)
    sheet_pdf_style.register_fonts()
    place = sheet_pdf_readings._place(row, hall.steps[-1], hall)[:lines]
    heights = sheet_pdf_readings._heights(row, place, sheet_pdf_readings.column_widths(hall.steps[-1], 2))
    assert len(heights) == lines
    assert sum(height or 0 for height in heights) > sheet_pdf_style.PICTURE[1]


def test_many_channels_get_a_page_on_its_side(hall: Sheet, tmp_path: Path) -> None:
    names = tuple(f"Zone {number}" for number in range(5))
    steps = tuple(
        replace(step, rows=tuple(replace(row, names=names if len(row.names) > 1 else row.names) for row in step.rows))
        for step in hall.steps
    )
    many = replace(hall, channels=names, steps=steps)
    write_pdf(many, tmp_path / "many.pdf")
    first = pypdf.PdfReader(tmp_path / "many.pdf").pages[0].mediabox
    assert first.width > first.height
    assert max(map(len, render_text(many).split("\n"))) <= 80
    for step in many.steps:
        assert min(sheet_pdf_readings.column_widths(step, 5)) > 10 * 2.83, "at least a centimetre to write in"
