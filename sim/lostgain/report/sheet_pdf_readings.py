"""The table of one step of the bench sheet's PDF: places, room for the readings, and pictures."""

from __future__ import annotations

from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics.shapes import Drawing, Line, PolyLine, Rect, String
from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Paragraph, Table, TableStyle

from lostgain.bench.sheet_model import Picture, Row, Sheet, Step
from lostgain.report import sheet_cells as cells
from lostgain.report.pictures import style as colour_names
from lostgain.report.sheet_pdf_style import BODY, FONT, HEAD, LINE, PICTURE, RULE, SMALL, TIGHT, paragraph, text_width


def readings(step: Step, sheet: Sheet) -> Table:
    """The table of a step: its headings come again on every page, and a place is never torn apart."""
    widths = column_widths(step, len(sheet.channels))
    checks = cells.only_checks(step)
    rows = [[paragraph(text, HEAD) for text in _headings(step, sheet)]]
    heights: list[float | None] = [None]
    style: list[Any] = [
        *TIGHT,
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black),
    ]
    for row in step.rows:
        place = _place(row, step, sheet)
        style += _place_style(row, step, sheet, len(rows), len(rows) + len(place) - 1)
        rows += place
        heights += [None] * len(place) if checks else _heights(row, place, widths)
    if checks:  # texts that may need two lines, so no fixed height, but room all the same
        style += [("TOPPADDING", (0, 1), (-1, -1), 2.5), ("BOTTOMPADDING", (0, 1), (-1, -1), 3)]
    table = Table(rows, colWidths=widths, rowHeights=heights, repeatRows=1)
    table.setStyle(TableStyle(style))
    return table


def _heights(row: Row, place: list[list[Any]], widths: list[float]) -> list[float | None]:
    """Heights of the lines of a place: room for its names, to write, and for the picture beside all of them."""
    line = max(float(LINE), (PICTURE[1] + 2 * mm) / len(place)) if row.picture else float(LINE)
    first = next(index for index, cell in enumerate(place[0]) if index and cell != "")
    room = [sum(widths[:first]), *widths[1:]]
    named = [(cell, wide) for cell, wide in zip(place[0], room, strict=True) if isinstance(cell, Paragraph)]
    tallest = max(cell.wrap(wide - 6, 1000.0)[1] + 4 for cell, wide in named)
    return [max(line, float(tallest)), *[line] * (len(place) - 1)]


def column_widths(step: Step, channels: int) -> list[float]:
    """Widths of the columns: what, healthy, peak to peak, range, one a channel, picture."""
    picture: list[float] = []
    width = text_width(channels)
    if cells.only_checks(step):
        fixed = [width - min(channels * 32 * mm, width / 2)]
    elif cells.has_levels(step):
        fixed, picture = [14 * mm, 24 * mm, 21 * mm, 36 * mm], [PICTURE[0] + 3 * mm]
    else:
        fixed = [14 * mm, 24 * mm, 45 * mm]
    rest = width - sum(fixed) - sum(picture)
    return [*fixed, *[rest / channels] * channels, *picture]


def _headings(step: Step, sheet: Sheet) -> list[str]:
    channels = cells.columns(sheet)
    if cells.only_checks(step):
        return ["healthy", *channels]
    if cells.has_levels(step):
        return ["", "healthy", "Vpp", "nine in ten", *channels, "picture"]
    return ["", "healthy", "nine in ten", *channels]


def _place(row: Row, step: Step, sheet: Sheet) -> list[list[Any]]:
    """One place: its names over the readings, its lines, and the picture beside them."""
    channels, levels, checks = len(sheet.channels), cells.has_levels(step), cells.only_checks(step)
    note = f"<font size=7 color='#595959'>{escape(cells.row_note(row))}</font>"
    name = Paragraph(f"<b>{escape(row.names[0])}</b>  {note}", BODY)
    called = [cells.shared(sheet)] + [""] * (channels - 1) if len(row.names) < channels else list(row.names)
    drawn = [_drawing(row.picture) if row.picture else paragraph(cells.no_picture(row), SMALL)] if levels else []
    blank = [""] * ((1 if checks else 4 if levels else 3) - 1)
    rows: list[list[Any]] = [[name, *blank, *(paragraph(text, HEAD) for text in called), *drawn]]
    for line in cells.lines(row):
        texts = [line.what, line.healthy, *([line.healthy_pp] if levels else []), line.range]
        texts = [line.healthy] if checks else texts
        rows.append([*(paragraph(text) for text in texts), *[""] * channels, *([""] if levels else [])])
    return rows


def _place_style(row: Row, step: Step, sheet: Sheet, top: int, bottom: int) -> list[Any]:
    """Lines and spans of one place, in the rows from `top` to `bottom` of the table."""
    levels = cells.has_levels(step)
    first = 1 if cells.only_checks(step) else 4 if levels else 3
    last = first + len(sheet.channels) - 1
    style: list[Any] = [
        ("NOSPLIT", (0, top), (0, bottom)),
        ("SPAN", (0, top), (first - 1, top)),
        ("BOX", (first, top), (last, bottom), 0.4, RULE),
        ("LINEABOVE", (first, top + 1), (last, bottom), 0.4, RULE),
        ("LINEBELOW", (0, bottom), (-1, bottom), 0.6, colors.black),
    ]
    if len(row.names) < len(sheet.channels):
        style += [("SPAN", (first, line), (last, line)) for line in range(top, bottom + 1)]
    elif last > first:
        style.append(("LINEAFTER", (first, top), (last - 1, bottom), 0.4, RULE))
    if levels:
        style += [
            ("SPAN", (last + 1, top), (last + 1, bottom)),
            ("ALIGN", (last + 1, top), (last + 1, bottom), "RIGHT"),
        ]
    return style


def _drawing(picture: Picture) -> Drawing:
    """The screen of an oscilloscope, with its settings below."""
    width, height = PICTURE
    screen = Drawing(width, height)
    foot = 2.8 * mm
    across, up = width / 10, (height - foot) / 8
    screen.add(Rect(0, foot, width, height - foot, strokeWidth=0.6, strokeColor=colors.black, fillColor=None))
    for number in range(1, 10):
        screen.add(Line(number * across, foot, number * across, height, **_grid(number == 5)))
    for number in range(1, 8):
        screen.add(Line(0, foot + number * up, width, foot + number * up, **_grid(number == 4)))
    places = [value for x, y in picture.trace for value in (x * across, foot + (y + 4) * up)]
    screen.add(PolyLine(places, strokeColor=colors.HexColor(colour_names.BLUE), strokeWidth=1.2, strokeLineJoin=1))
    screen.add(String(width / 2, 0, cells.picture_scale(picture), fontName=FONT, fontSize=5.5, textAnchor="middle"))
    return screen


def _grid(middle: bool) -> dict[str, Any]:
    return {"strokeWidth": 0.45 if middle else 0.25, "strokeColor": colors.HexColor("#8c8c8c" if middle else "#cfcfcf")}
