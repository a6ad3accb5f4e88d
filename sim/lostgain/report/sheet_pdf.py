"""The bench sheet as a PDF for A4: the same cells as the page's, set with reportlab."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from reportlab.graphics.shapes import Drawing, Line, PolyLine, Rect, String
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import CondPageBreak, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from lostgain.bench.sheet_model import Picture, Row, Sheet, Step
from lostgain.report import sheet_cells as cells
from lostgain.report.pictures import style as colour_names

#: matplotlib brings a font that has Ω, µ, ½ and …; the fonts every PDF reader has do not.
_FONT, _BOLD = "DejaVuSans", "DejaVuSans-Bold"
_MARGIN, _INSET = 12 * mm, 6  # reportlab's frame keeps 6 points inside the margin
_WIDTH = A4[0] - 2 * (_MARGIN + _INSET)
_PICTURE = (30 * mm, 24 * mm)
_FAINT = colors.HexColor("#595959")
_RULE = colors.HexColor("#b5b5b5")

_BODY = ParagraphStyle("body", fontName=_FONT, fontSize=8, leading=10.5)
_SMALL = ParagraphStyle("small", _BODY, fontSize=7, leading=9, textColor=_FAINT)
_HEAD = ParagraphStyle("head", _BODY, fontName=_BOLD, fontSize=7)
_TITLE = ParagraphStyle("title", _BODY, fontName=_BOLD, fontSize=15, leading=19)
_SECTION = ParagraphStyle("section", _BODY, fontName=_BOLD, fontSize=10.5, leading=14, spaceBefore=9, keepWithNext=1)

_TIGHT: list[Any] = [
    ("TOPPADDING", (0, 0), (-1, -1), 1),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ("LEFTPADDING", (0, 0), (-1, -1), 3),
    ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
]
#: Height of a line to write in, and the least room for a step on what is left of a page.
_LINE, _LEAST = 6.6 * mm, 60 * mm


def write_pdf(sheet: Sheet, path: Path) -> None:
    """Write the bench sheet as a PDF.

    Parameters
    ----------
    sheet : Sheet
    path : Path

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    _register_fonts()
    story: list[Any] = [*_top(sheet), *_cautions(sheet)]
    for number, step in enumerate(sheet.steps, 1):
        story += _step(number, step, sheet)
    story += _end(sheet)
    page = partial(_footer, sheet=sheet)
    document = SimpleDocTemplate(
        str(path), pagesize=A4, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=_MARGIN, bottomMargin=17 * mm,
        title=cells.heading(sheet), author="", subject=cells.closing(sheet),
    )  # fmt: skip
    document.build(story, onFirstPage=page, onLaterPages=page)


def _register_fonts() -> None:
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (_FONT, _BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(_FONT, normal=_FONT, bold=_BOLD, italic=_FONT, boldItalic=_BOLD)


def _footer(canvas: Any, document: Any, sheet: Sheet) -> None:
    canvas.saveState()
    canvas.setFont(_FONT, 6.5)
    canvas.setFillColor(_FAINT)
    canvas.drawString(_MARGIN + _INSET, 9 * mm, f"{cells.heading(sheet)[:90]}   {cells.closing(sheet)}")
    canvas.drawRightString(A4[0] - _MARGIN - _INSET, 9 * mm, f"page {document.page}")
    canvas.restoreState()


def _text(text: str, style: ParagraphStyle = _BODY) -> Paragraph:
    return Paragraph(escape(text), style)


def _top(sheet: Sheet) -> list[Any]:
    blanks = Table([[_text(field, _SMALL) for field in cells.BY_HAND]], colWidths=[_WIDTH / len(cells.BY_HAND)] * 4)
    line = [("LINEBELOW", (0, 0), (-1, -1), 0.6, colors.black), ("TOPPADDING", (0, 0), (-1, -1), 8)]
    blanks.setStyle(TableStyle(line))
    rows = [[Paragraph(f"<b>{escape(name)}</b>", _BODY), _text(text)] for name, text in sheet.setup]
    setup = Table(rows, colWidths=[26 * mm, _WIDTH - 26 * mm])
    setup.setStyle(TableStyle([*_TIGHT, ("LEFTPADDING", (0, 0), (0, -1), 0)]))
    return [
        _text(cells.heading(sheet), _TITLE), _text(cells.subtitle(sheet), _SMALL), blanks, Spacer(0, 3 * mm), setup,
    ]  # fmt: skip


#: Colour, width and dashes of the bar beside a caution.
_BARS = {
    "danger": (colors.HexColor(colour_names.VERMILLION), 4, None),
    "damage": (colors.HexColor(colour_names.ORANGE), 2.5, (4, 2)),
    "note": (_RULE, 1.5, (1, 2)),
}


def _cautions(sheet: Sheet) -> list[Any]:
    rows: list[Any] = []
    style: list[Any] = [*_TIGHT, ("LEFTPADDING", (0, 0), (-1, -1), 7), ("BOTTOMPADDING", (0, 0), (-1, -1), 3)]
    for number, caution in enumerate(sheet.cautions):
        lead = escape(cells.caution_lead(caution))
        rows.append([Paragraph(f"<b>{lead}</b> {escape(caution.text)}", _BODY)])
        colour, width, dashes = _BARS[caution.severity]
        style.append(("LINEBEFORE", (0, number), (0, number), width, colour, "butt", dashes))
    table = Table(rows, colWidths=[_WIDTH])
    table.setStyle(TableStyle(style))
    return [_text("Cautions", _SECTION), table]


def _step(number: int, step: Step, sheet: Sheet) -> list[Any]:
    title = escape(cells.step_title(number, step))
    effort = f"<font size=7 color='#595959'>&nbsp;&nbsp;&nbsp;{escape(cells.effort(step))}</font>"
    head = [Paragraph(title + effort, _SECTION), *(_text(text) for text in step.before), Spacer(0, 1 * mm)]
    after = [Spacer(0, 1 * mm), *(_text(text) for text in step.after)]
    return [CondPageBreak(_LEAST), *head, _readings(step, sheet), KeepTogether(after)]


def _readings(step: Step, sheet: Sheet) -> Table:
    """The table of a step: its headings come again on every page, and a place is never torn apart."""
    widths = _widths(step, len(sheet.channels))
    checks = cells.only_checks(step)
    rows = [[_text(text, _HEAD) for text in _headings(step, sheet)]]
    heights: list[float | None] = [None]
    style: list[Any] = [
        *_TIGHT,
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.black),
    ]
    for row in step.rows:
        place = _place(row, step, sheet)
        style += _place_style(row, step, sheet, len(rows), len(rows) + len(place) - 1)
        rows += place
        heights += [None if checks else _height(row, len(place))] * len(place)
    if checks:  # texts that may need two lines, so no fixed height, but room all the same
        style += [("TOPPADDING", (0, 1), (-1, -1), 2.5), ("BOTTOMPADDING", (0, 1), (-1, -1), 3)]
    table = Table(rows, colWidths=widths, rowHeights=heights, repeatRows=1)
    table.setStyle(TableStyle(style))
    return table


def _height(row: Row, lines: int) -> float:
    """Height of each line of a place: room to write, and for the picture beside all of them."""
    return float(max(_LINE, (_PICTURE[1] + 2 * mm) / lines)) if row.picture else float(_LINE)


def _widths(step: Step, channels: int) -> list[float]:
    """Widths of the columns: what, healthy, peak to peak, range, one a channel, picture."""
    picture: list[float] = []
    if cells.only_checks(step):
        fixed = [_WIDTH - min(channels * 32 * mm, _WIDTH / 2)]
    elif cells.has_levels(step):
        fixed, picture = [14 * mm, 24 * mm, 21 * mm, 36 * mm], [_PICTURE[0] + 3 * mm]
    else:
        fixed = [14 * mm, 24 * mm, 45 * mm]
    rest = _WIDTH - sum(fixed) - sum(picture)
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
    name = Paragraph(f"<b>{escape(row.names[0])}</b>  {note}", _BODY)
    called = [cells.shared(sheet)] + [""] * (channels - 1) if len(row.names) < channels else list(row.names)
    drawn = [_drawing(row.picture) if row.picture else _text(cells.no_picture(row), _SMALL)] if levels else []
    blank = [""] * ((1 if checks else 4 if levels else 3) - 1)
    rows: list[list[Any]] = [[name, *blank, *(_text(text, _HEAD) for text in called), *drawn]]
    for line in cells.lines(row):
        texts = [line.what, line.healthy, *([line.healthy_pp] if levels else []), line.range]
        texts = [line.healthy] if checks else texts
        rows.append([*(_text(text) for text in texts), *[""] * channels, *([""] if levels else [])])
    return rows


def _place_style(row: Row, step: Step, sheet: Sheet, top: int, bottom: int) -> list[Any]:
    """Lines and spans of one place, in the rows from `top` to `bottom` of the table."""
    levels = cells.has_levels(step)
    first = 1 if cells.only_checks(step) else 4 if levels else 3
    last = first + len(sheet.channels) - 1
    style: list[Any] = [
        ("NOSPLIT", (0, top), (0, bottom)),
        ("SPAN", (0, top), (first - 1, top)),
        ("BOX", (first, top), (last, bottom), 0.4, _RULE),
        ("LINEABOVE", (first, top + 1), (last, bottom), 0.4, _RULE),
        ("LINEBELOW", (0, bottom), (-1, bottom), 0.6, colors.black),
    ]
    if len(row.names) < len(sheet.channels):
        style += [("SPAN", (first, line), (last, line)) for line in range(top, bottom + 1)]
    elif last > first:
        style.append(("LINEAFTER", (first, top), (last - 1, bottom), 0.4, _RULE))
    if levels:
        style += [
            ("SPAN", (last + 1, top), (last + 1, bottom)),
            ("ALIGN", (last + 1, top), (last + 1, bottom), "RIGHT"),
        ]
    return style


def _drawing(picture: Picture) -> Drawing:
    """The screen of an oscilloscope, with its settings below."""
    width, height = _PICTURE
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
    screen.add(String(width / 2, 0, cells.picture_scale(picture), fontName=_FONT, fontSize=5.5, textAnchor="middle"))
    return screen


def _grid(middle: bool) -> dict[str, Any]:
    return {"strokeWidth": 0.45 if middle else 0.25, "strokeColor": colors.HexColor("#8c8c8c" if middle else "#cfcfcf")}


def _end(sheet: Sheet) -> list[Any]:
    out: list[Any] = []
    if sheet.out_of_reach:
        out.append(_text("Out of reach", _SECTION))
        out += [_text(cells.out_of_reach(point)) for point in sheet.out_of_reach]
    notes = [_text(note, _SMALL) for note in (*sheet.notes, f"All steps: about {cells.minutes(sheet.minutes)}.")]
    return [*out, KeepTogether([_text("What the numbers mean", _SECTION), *notes])]
