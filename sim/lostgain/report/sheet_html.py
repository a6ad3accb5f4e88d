"""The bench sheet as one HTML file that stands alone and prints on A4."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from lostgain.bench.sheet_model import Sheet
from lostgain.report import sheet_cells
from lostgain.report.pictures import style


def render_html(sheet: Sheet) -> str:
    """Return the bench sheet as an HTML page: styles and pictures inline, nothing fetched from anywhere.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    str
    """
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    return environment.get_template("sheet.html.jinja").render(sheet=sheet, cells=sheet_cells, colours=style)
