"""Fonts, type, measures and page of the bench sheet's PDF."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

import matplotlib
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, landscape
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import Paragraph

#: matplotlib brings a font that has Ω, µ, ½ and …; the fonts every PDF reader has do not.
FONT, BOLD = "DejaVuSans", "DejaVuSans-Bold"
MARGIN, INSET = 12 * mm, 6  # reportlab's frame keeps 6 points inside the margin
PICTURE = (30 * mm, 24 * mm)
FAINT = colors.HexColor("#595959")
RULE = colors.HexColor("#b5b5b5")

BODY = ParagraphStyle("body", fontName=FONT, fontSize=8, leading=10.5)
SMALL = ParagraphStyle("small", BODY, fontSize=7, leading=9, textColor=FAINT)
HEAD = ParagraphStyle("head", BODY, fontName=BOLD, fontSize=7)
TITLE = ParagraphStyle("title", BODY, fontName=BOLD, fontSize=15, leading=19)
SECTION = ParagraphStyle("section", BODY, fontName=BOLD, fontSize=10.5, leading=14, spaceBefore=9, keepWithNext=1)

TIGHT: list[Any] = [
    ("TOPPADDING", (0, 0), (-1, -1), 1),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ("LEFTPADDING", (0, 0), (-1, -1), 3),
    ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
]
#: Most channels that fit side by side on an upright page.
UPRIGHT = 3
#: Height of a line to write in, and the least room for a step on what is left of a page.
LINE, LEAST = 6.6 * mm, 60 * mm


def register_fonts() -> None:
    """Make the fonts known to reportlab."""
    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name in (FONT, BOLD):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / f"{name}.ttf")))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)


def page_size(channels: int) -> tuple[float, float]:
    """Return width and height of the page [point]: A4, on its side where many channels stand side by side."""
    width, height = A4 if channels <= UPRIGHT else landscape(A4)
    return float(width), float(height)


def text_width(channels: int) -> float:
    """Return the width of a line of text on that page [point]."""
    return float(page_size(channels)[0] - 2 * (MARGIN + INSET))


def paragraph(words: str, style: ParagraphStyle = BODY) -> Paragraph:
    """Return a paragraph of plain words."""
    return Paragraph(escape(words), style)
