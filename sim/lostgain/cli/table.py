"""``lostgain table``: builds or opens a unit's signature table."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import file_to_read, file_to_write, writing
from lostgain.cli.off import off_argument, with_off
from lostgain.cli.progress import shown
from lostgain.cli.words import count, unit_argument
from lostgain.cli.words import scheduler as address
from lostgain.report.text_layout import wrapped

KEPT = "What is done is kept: the same command goes on from there."
ABOUT = (
    "Builds or opens a unit's signature table. It is simulated once: later commands open it, and a change of the unit "
    "file simulates only what it changes. Tables are kept in the system's folder for caches, or in the one that "
    "LOSTGAIN_CACHE names."
)


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "table", help="build or open a unit's signature table", description=ABOUT
    )
    unit_argument(parser)
    parser.add_argument(
        "--workers", metavar="N", type=count, default=None, help="simulations at once; one a processor if not given"
    )
    parser.add_argument("--scheduler", metavar="HOST:PORT", type=address,
                        help="simulate on the computers of a Dask scheduler instead of this one")  # fmt: skip
    parser.add_argument("--out", metavar="FILE", type=Path,
                        help="write the table to this file too (netCDF-4), for --table elsewhere")  # fmt: skip
    off_argument(parser, "what meters show with the power off as well")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Build or open a signature table."""
    unit = lostgain.open_unit(args.unit)
    if args.scheduler and args.workers:
        raise lostgain.UserError("--workers is for this computer; with --scheduler, its own workers count.")
    if args.out is not None:
        file_to_write(args.out)
    table = with_off(opened(unit, args.workers, scheduler=args.scheduler), usual=args.power_off)
    if args.out is not None:
        with writing(args.out):
            lostgain.write_table(table, args.out)
    print(lostgain.table_text(table))


def opened(
    unit: lostgain.Unit, workers: int | None = None, file: Path | None = None, scheduler: str | None = None
) -> lostgain.Table:
    """Return a unit's signature table, showing how far it is; a build that is stopped says that it can go on.

    Parameters
    ----------
    unit : Unit
    workers : int or None
        Simulations at once.
    file : Path or None
        A file to open it from instead.
    scheduler : str or None
        Address of a Dask scheduler whose workers simulate.
    """
    if file is not None:
        file_to_read(file)
    with lostgain.Pool(workers=workers) as pool:
        with shown("Preparing the unit"):
            circuit = lostgain.build_circuit(unit, pool)
        if file is not None:
            table = lostgain.table_from(file, circuit)
            for remark in table.remarks:
                print(*wrapped(f"! {file}: {remark}"), sep="\n", file=sys.stderr)
            return table
        try:
            with _simulating(pool, scheduler) as by, shown("Simulating faults") as line:
                return lostgain.signature_table(circuit, by, line)
        except lostgain.WorkersGone as gone:
            raise lostgain.UserError(f"{gone.problems[0].message} {KEPT}") from gone
        except KeyboardInterrupt:
            raise KeyboardInterrupt(f"Stopped. {KEPT}") from None


@contextmanager
def _simulating(pool: lostgain.Pool, scheduler: str | None) -> Iterator[lostgain.Pool | Executor]:
    if scheduler is None:
        yield pool
        return
    with ExitStack() as stack:
        with shown("Reaching the scheduler"):
            executor = stack.enter_context(lostgain.cluster(scheduler))
        yield executor
