"""``lostgain route``: a troubleshooting tree for the wall."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import PAGES, file_to_write, writing
from lostgain.cli.progress import shown
from lostgain.cli.table import opened
from lostgain.cli.words import known_arguments, known_of, table_argument, unit_argument, unit_to_compare


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "route", help="the best order of readings from the symptom to the part, as a chart for the wall"
    )
    unit_argument(parser)
    parser.add_argument("--html", metavar="FILE", type=Path, help="write it as a page that stands alone and prints")
    parser.add_argument("--rates", metavar="SET", default="bench",
                        help="failure rates to start from: bench (if not given) or handbook")  # fmt: skip
    known_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    table_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Work out a route and show it."""
    unit = unit_to_compare(args)
    rates = lostgain.rates(args.rates)
    known = known_of(args, unit)
    if args.html is not None:
        file_to_write(args.html, *PAGES)
    table = opened(unit, file=args.table)
    with shown("Trying orders") as line:
        route = lostgain.route(lostgain.outlook(table, rates, known), line)
    if args.html is not None:
        with writing(args.html):
            args.html.write_text(lostgain.route_html(route, unit, lostgain.cautions(unit), rates), encoding="utf-8")
    if args.json:
        print(json.dumps(lostgain.route_record(route), ensure_ascii=False, allow_nan=False))
    elif args.html is None:
        print(lostgain.route_text(route, unit, rates))
