"""A route as one HTML page that stands alone and prints."""

from __future__ import annotations

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from lostgain.bench import Caution
from lostgain.faults.rates import Rates
from lostgain.report import text_route
from lostgain.report.pictures import style
from lostgain.report.route_steps import numbered
from lostgain.teach.route_model import Leaf, Route
from lostgain.unit.model import Unit


def route_html(route: Route, unit: Unit, cautions: list[Caution], rates: Rates | None = None) -> str:
    """Return a route for the wall: styles inline, nothing fetched from anywhere.

    Parameters
    ----------
    route : Route
    unit : Unit
    cautions : list of Caution
    rates : Rates or None
        The failure rates it was made with; None for the bench set.
    """
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    environment.tests["leaf"] = lambda node: isinstance(node, Leaf)
    page = environment.get_template("route.html.jinja")
    return page.render(
        route=route, steps=numbered(route), unit=unit, cautions=cautions, rates=rates, words=text_route, colours=style
    )
