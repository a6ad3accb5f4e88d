"""What commands need of a table's power-off part, opened or simulated with progress shown."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

import lostgain
from lostgain.cli.progress import shown
from lostgain.readings.model import OFF, Reading


def off_argument(parser: argparse.ArgumentParser, text: str) -> None:
    """Add the option that asks for readings with the power off."""
    parser.add_argument("--power-off", action="store_true", help=text)


def stay_off_argument(parser: argparse.ArgumentParser) -> None:
    """Add the option for a unit that must not be switched on."""
    parser.add_argument("--stay-off", action="store_true",
                        help="it must not be switched on: only what is read and done with the power off")  # fmt: skip


def with_off(table: lostgain.Table, readings: Iterable[Reading] = (), usual: bool | None = False) -> lostgain.Table:
    """Return a table with the power-off parts that are needed; a build that is stopped says that it can go on.

    Parameters
    ----------
    table : Table
    readings : iterable of Reading
        What these need is simulated where it is not there.
    usual : bool or None
        True for what the usual instruments show at their usual places, too; None for as much of that as is there.
    """
    asked = [each for each in readings if each.quantity in OFF]
    if usual is None:
        table = lostgain.power_off(table, quantities=OFF, build=False)
    if not asked and not usual:
        return table
    try:
        with lostgain.Pool() as pool, shown("Simulating meters with the power off") as line:
            return lostgain.power_off(table, asked, OFF if usual else (), pool, line)
    except KeyboardInterrupt:
        raise KeyboardInterrupt("Stopped. What is done is kept: the same command goes on from there.") from None
