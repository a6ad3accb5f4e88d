"""A unit explained as one HTML page that stands alone: drawings and styles inline."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

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

#: As drawings are written: the names of SVG, and of its links.
NAMESPACES = {"": "http://www.w3.org/2000/svg", "xlink": "http://www.w3.org/1999/xlink"}


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
    return Markup(own_names(text, re.sub(r"\W", "-", stage.name)))


def own_names(text: str, prefix: str) -> str:
    """Return a drawing whose names begin with a prefix, so that several can stand on one page.

    Parameters
    ----------
    text : str
        SVG.
    prefix : str
    """
    for short, long in NAMESPACES.items():
        ElementTree.register_namespace(short, long)
    root = ElementTree.fromstring(text)
    for each in root.findall(f"{{{NAMESPACES['']}}}metadata"):
        root.remove(each)
    names = {each.attrib["id"] for each in root.iter() if "id" in each.attrib}

    def own(found: re.Match[str]) -> str:
        return f"{prefix}-{found[0]}" if found[0] in names else found[0]

    for element in root.iter():
        for key, value in element.attrib.items():
            if key == "id":
                element.set(key, f"{prefix}-{value}")
            elif key.rpartition("}")[2] == "href":
                element.set(key, re.sub(r"(?<=^#).+", own, value))
            else:
                element.set(key, re.sub(r"(?<=url\(#)[^)]+", own, value))
    return ElementTree.tostring(root, encoding="unicode")
