"""``lostgain explain``: a unit stage by stage, for learning."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import PAGES, file_to_write, writing
from lostgain.cli.progress import shown
from lostgain.cli.table import opened
from lostgain.cli.words import table_argument, unit_argument


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "explain", help="what each stage and part of a unit does, and what changes when it fails"
    )
    unit_argument(parser)
    parser.add_argument("--html", metavar="FILE", type=Path, help="write it as a page that stands alone, with drawings")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    table_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Explain a unit."""
    unit = lostgain.open_unit(args.unit)
    if args.html is not None:
        file_to_write(args.html, *PAGES)
    table = opened(unit, file=args.table)
    with shown("Working out what tells"):
        stages = lostgain.explain(table, lostgain.rates("bench"))
    if args.html is not None:
        with writing(args.html), shown("Drawing the stages"):
            page = lostgain.explain_html(stages, unit, table.frequencies, lostgain.cautions(unit))
            args.html.write_text(page, encoding="utf-8")
    if args.json:
        print(json.dumps(lostgain.explain_record(stages, table.frequencies), ensure_ascii=False, allow_nan=False))
    elif args.html is None:
        print(lostgain.explain_text(stages, unit, table.frequencies))
