"""``lostgain sheet``: the bench sheet of a unit, in the terminal or for print."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import PAGES, file_to_write, writing
from lostgain.cli.off import off_argument, with_off
from lostgain.cli.progress import shown
from lostgain.cli.table import opened
from lostgain.cli.words import table_argument, unit_argument


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "sheet", help="print the bench sheet: what to read, in which order, and what a healthy unit shows"
    )
    unit_argument(parser)
    parser.add_argument("--html", metavar="FILE", type=Path, help="write it as a page that stands alone")
    parser.add_argument("--pdf", metavar="FILE", type=Path, help="write it as a PDF")
    table_argument(parser)
    off_argument(parser, "list what meters show across the parts with the power off as well")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Show a bench sheet, or write it to the files named."""
    unit = lostgain.open_unit(args.unit)
    if args.html is not None:
        file_to_write(args.html, *PAGES)
    if args.pdf is not None:
        file_to_write(args.pdf, ".pdf")
    sheet = lostgain.sheet(with_off(opened(unit, file=args.table), usual=args.power_off))
    if args.html is None and args.pdf is None:
        print(lostgain.sheet_text(sheet), end="")
        return
    if args.html is not None:
        with writing(args.html):
            args.html.write_text(lostgain.sheet_html(sheet), encoding="utf-8")
    if args.pdf is not None:
        with writing(args.pdf), shown("Setting the PDF"):
            lostgain.write_sheet_pdf(sheet, args.pdf)
