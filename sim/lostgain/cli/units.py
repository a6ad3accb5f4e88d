"""``lostgain units``: the units that could be opened."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

import lostgain


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "units", help="list the units shipped and those in this folder"
    )
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """List the units."""
    print(lostgain.units_text(lostgain.find_units(Path.cwd())))
