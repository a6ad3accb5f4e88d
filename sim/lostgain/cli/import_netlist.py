"""``lostgain import``: a SPICE netlist from elsewhere as a first unit."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import written
from lostgain.cli.progress import shown


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser("import", help="make a first unit of a SPICE netlist")
    parser.add_argument("netlist", metavar="NETLIST", type=Path, help="a netlist as a schematic editor exports it")
    parser.add_argument("--out", metavar="FOLDER", type=Path,
                        help="where the unit goes; a folder here with the netlist's name, if not said")  # fmt: skip
    parser.add_argument("--input", metavar="NODE", default="", help="the node the generator drives")
    parser.add_argument("--output", metavar="NODE", default="", help="the node the load hangs on")
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Import a netlist."""
    folder = args.out if args.out is not None else Path(args.netlist.stem or "unit")
    lostgain.free_folder(folder)
    with shown("Running the netlist"):
        found = lostgain.import_netlist(args.netlist, args.input, args.output)
    files = lostgain.write_unit(found, folder)
    if args.json:
        print(json.dumps(lostgain.import_record(found, folder), ensure_ascii=False, allow_nan=False))
    else:
        print(lostgain.import_text(found, folder))
    written(files)
