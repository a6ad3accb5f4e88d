"""``lostgain table``: builds or opens a unit's signature table."""

from __future__ import annotations

import argparse
from typing import Any

import lostgain
from lostgain.cli.progress import shown
from lostgain.cli.words import count, unit_argument


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser("table", help="build or open a unit's signature table")
    unit_argument(parser)
    parser.add_argument(
        "--workers", metavar="N", type=count, default=None, help="simulations at once; one a processor if not given"
    )
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Build or open a signature table."""
    unit = lostgain.open_unit(args.unit)
    print(lostgain.table_text(opened(unit, args.workers)))


def opened(unit: lostgain.Unit, workers: int | None = None) -> lostgain.Table:
    """Return a unit's signature table, showing how far it is; a build that is stopped says that it can go on."""
    with lostgain.Pool(workers=workers) as pool:
        with shown("Preparing the unit"):
            circuit = lostgain.build_circuit(unit, pool)
        try:
            with shown("Simulating faults") as line:
                return lostgain.signature_table(circuit, pool, line)
        except KeyboardInterrupt:
            raise KeyboardInterrupt("Stopped. What is done is kept: the same command goes on from there.") from None
