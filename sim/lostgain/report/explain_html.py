"""A unit explained as one HTML page that stands alone: drawings and styles inline."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from lostgain.bench import Caution
from lostgain.quantities import show
from lostgain.report import text_explain
from lostgain.report.drawing.draw import draw_stage
from lostgain.report.pictures import style
from lostgain.teach.explain import ExplainedStage
from lostgain.unit.model import Stage, Unit
from lostgain.unit.placed_stage import PlacedStage


def explain_html(
    stages: Sequence[ExplainedStage], unit: Unit, frequencies: Sequence[float], cautions: Sequence[Caution]
) -> str:
    """Return the page.

    Parameters
    ----------
    stages : sequence of ExplainedStage
    unit : Unit
    frequencies : sequence of float
        [Hz]
    cautions : sequence of Caution
    """
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    drawings = {each.name: _drawing(unit, each.stage) for each in stages}
    page = environment.get_template("explain.html.jinja")
    return page.render(stages=stages, unit=unit, frequencies=[show(one, "Hz") for one in frequencies],
                       cautions=cautions, drawings=drawings, words=text_explain, colours=style)  # fmt: skip


def _drawing(unit: Unit, stage: Stage | None) -> Markup:
    """Return a stage's drawing as SVG; nothing for one that is not of the library."""
    if stage is None or stage.source != "library":
        return Markup("")
    with tempfile.TemporaryDirectory() as folder:
        path = draw_stage(stage.library, Path(folder) / "stage.svg", PlacedStage(unit, stage, unit.channels[0]))
        text = path.read_text(encoding="utf-8")
    text = re.sub(r"<metadata>.*?</metadata>", "", text[text.index("<svg") :], flags=re.DOTALL)
    # Names inside are made anew for each drawing, so that several can stand on one page.
    for name in set(re.findall(r'id="([^"]+)"', text)):
        own = re.sub(r"\W", "-", f"{stage.name}-{name}")
        for before, after in (('id="', '"'), ("#", ")"), ('"#', '"')):
            text = text.replace(f"{before}{name}{after}", f"{before}{own}{after}")
    return Markup(text)
