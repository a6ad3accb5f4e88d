"""``lostgain check``: reads a unit, proves that its circuit runs, and says what it holds."""

from __future__ import annotations

import argparse
from typing import Any

import lostgain
from lostgain.cli.progress import shown
from lostgain.cli.words import unit_argument


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "check", help="read a unit, and say what it holds and every mistake"
    )
    unit_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Check a unit."""
    unit = lostgain.open_unit(args.unit)
    with shown("Running the healthy unit") as line:
        found = lostgain.check(unit, progress=line)
    print(lostgain.check_text(found))
