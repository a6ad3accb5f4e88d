"""The bench sheet as a PDF for A4: the same cells as the page's, set with reportlab."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, KeepTogether, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

from lostgain.bench.sheet_model import Sheet, Step
from lostgain.report import sheet_cells as cells
from lostgain.report.pictures import style as colour_names
from lostgain.report.sheet_pdf_readings import readings
from lostgain.report.sheet_pdf_style import (
    BODY,
    FAINT,
    FONT,
    INSET,
    LEAST,
    MARGIN,
    RULE,
    SECTION,
    SMALL,
    TIGHT,
    TITLE,
    page_size,
    paragraph,
    register_fonts,
    text_width,
)


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
    register_fonts()
    story: list[Any] = [*_top(sheet), *_cautions(sheet)]
    for number, step in enumerate(sheet.steps, 1):
        story += _step(number, step, sheet)
    story += _end(sheet)
    page = partial(_footer, sheet=sheet)
    document = SimpleDocTemplate(
        str(path),
        pagesize=page_size(len(sheet.channels)),
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=17 * mm,
        title=cells.heading(sheet),
        author="",
        subject=cells.closing(sheet),
    )
    document.build(story, onFirstPage=page, onLaterPages=page)


def _footer(canvas: Any, document: Any, sheet: Sheet) -> None:
    canvas.saveState()
    canvas.setFont(FONT, 6.5)
    canvas.setFillColor(FAINT)
    canvas.drawString(MARGIN + INSET, 9 * mm, f"{cells.heading(sheet)[:90]}   {cells.closing(sheet)}")
    canvas.drawRightString(page_size(len(sheet.channels))[0] - MARGIN - INSET, 9 * mm, f"page {document.page}")
    canvas.restoreState()


def _top(sheet: Sheet) -> list[Any]:
    width = text_width(len(sheet.channels))
    fields = [paragraph(field, SMALL) for field in cells.BY_HAND]
    blanks = Table([fields], colWidths=[width / len(fields)] * len(fields))
    line = [("LINEBELOW", (0, 0), (-1, -1), 0.6, colors.black), ("TOPPADDING", (0, 0), (-1, -1), 8)]
    blanks.setStyle(TableStyle(line))
    rows = [[Paragraph(f"<b>{escape(name)}</b>", BODY), paragraph(text)] for name, text in sheet.setup]
    setup = Table(rows, colWidths=[26 * mm, width - 26 * mm])
    setup.setStyle(TableStyle([*TIGHT, ("LEFTPADDING", (0, 0), (0, -1), 0)]))
    titles = [paragraph(cells.heading(sheet), TITLE), paragraph(cells.subtitle(sheet), SMALL)]
    return [*titles, blanks, Spacer(0, 3 * mm), setup]


#: Colour, width and dashes of the bar beside a caution.
_BARS = {
    "danger": (colors.HexColor(colour_names.VERMILLION), 4, None),
    "damage": (colors.HexColor(colour_names.ORANGE), 2.5, (4, 2)),
    "note": (RULE, 1.5, (1, 2)),
}


def _cautions(sheet: Sheet) -> list[Any]:
    rows: list[Any] = []
    style: list[Any] = [*TIGHT, ("LEFTPADDING", (0, 0), (-1, -1), 7), ("BOTTOMPADDING", (0, 0), (-1, -1), 3)]
    for number, caution in enumerate(sheet.cautions):
        lead = escape(cells.caution_lead(caution))
        rows.append([Paragraph(f"<b>{lead}</b> {escape(caution.text)}", BODY)])
        colour, width, dashes = _BARS[caution.severity]
        style.append(("LINEBEFORE", (0, number), (0, number), width, colour, "butt", dashes))
    table = Table(rows, colWidths=[text_width(len(sheet.channels))])
    table.setStyle(TableStyle(style))
    return [paragraph("Cautions", SECTION), table]


def _step(number: int, step: Step, sheet: Sheet) -> list[Any]:
    title = escape(cells.step_title(number, step))
    effort = f"<font size=7 color='#595959'>&nbsp;&nbsp;&nbsp;{escape(cells.effort(step))}</font>"
    head = [Paragraph(title + effort, SECTION), *(paragraph(text) for text in step.before), Spacer(0, 1 * mm)]
    after = [Spacer(0, 1 * mm), *(paragraph(text) for text in step.after)]
    return [CondPageBreak(LEAST), *head, readings(step, sheet), KeepTogether(after)]


def _end(sheet: Sheet) -> list[Any]:
    out: list[Any] = []
    if sheet.out_of_reach:
        out.append(paragraph("Out of reach", SECTION))
        out += [paragraph(cells.out_of_reach(point)) for point in sheet.out_of_reach]
    notes = [paragraph(note, SMALL) for note in (*sheet.notes, f"All steps: about {cells.minutes(sheet.minutes)}.")]
    return [*out, KeepTogether([paragraph("What the numbers mean", SECTION), *notes])]
