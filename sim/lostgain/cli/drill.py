"""``lostgain drill``: an exercise with a hidden fault."""

from __future__ import annotations

import argparse
import secrets
import sys
from itertools import count
from pathlib import Path
from typing import Any

import lostgain
from lostgain.cli.files import file_to_write, folder_to_write, written
from lostgain.cli.progress import shown
from lostgain.cli.words import table_argument, whole
from lostgain.problems import nearest
from lostgain.report.text_layout import clean, wrapped

ABOUT = (
    "Hides a fault in a unit and lets you find it: take readings, set the bench, lift and replace parts, and sign off. "
    "Levels: 1 the stage is told; 2 a good channel beside; 3 none; 4 power off only; 5 intermittent; 6 two faults; "
    "7 hum, distortion or DC."
)


def add(commands: Any) -> argparse.ArgumentParser:
    """Add the command to the command line."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "drill", help="an exercise with a hidden fault, scored and looked back at", description=ABOUT
    )
    parser.add_argument("what", metavar="UNIT|FILE", nargs="?",
                        help="a unit to hide a fault in, or a drill that somebody saved")  # fmt: skip
    parser.add_argument("--level", metavar="N", type=whole, default=None, help="1 to 7; 1 if not given")
    parser.add_argument(
        "--seed", metavar="S", type=whole, help="the same seed hides the same fault; drawn if not given"
    )
    parser.add_argument("--fault", metavar='"C7 open"', action="append", default=[], dest="faults",
                        help="for the teacher, with --save: hide this fault; repeatable")  # fmt: skip
    parser.add_argument("--channel", metavar="NAME", default="", help="… in this channel")
    parser.add_argument("--condition", metavar="WORD", default="",
                        help="… which shows under a condition: warm, level or vibration (level 5)")  # fmt: skip
    parser.add_argument("--save", metavar="FILE", type=Path, help="write the drill to be shared, and end")
    parser.add_argument("--resume", metavar="FILE", type=Path, help="go on with a drill that was paused")
    parser.add_argument("--work", metavar="FILE", type=Path,
                        help="keep what is done in this file; UNIT-drill.txt if not given")  # fmt: skip
    parser.add_argument("--unit", metavar="UNIT", help="where the unit of a saved drill is, if it is no shipped one")
    parser.add_argument("--png", metavar="FOLDER", type=Path,
                        help="draw the oscilloscope's pictures and those of the debrief into this folder")  # fmt: skip
    parser.add_argument("--no-debrief", action="store_true", help="end without score and debrief")
    table_argument(parser)
    parser.set_defaults(run=run)
    return parser


def run(args: argparse.Namespace) -> None:
    """Hold a drill."""
    from lostgain.cli.drill_end import finish  # these load what only simulations need
    from lostgain.cli.drill_talk import DrillTalk
    from lostgain.report.text_drill import order_text
    from lostgain.teach import keep
    from lostgain.teach.fits import check_fits
    from lostgain.teach.rig import Rig

    if (args.faults or args.channel or args.condition) and not (args.faults and args.save):
        raise lostgain.UserError("--channel and --condition go with --fault, and --fault with --save FILE.")
    unit, drill, path = _meant(args)
    if args.png is not None:
        folder_to_write(args.png)
    if args.save is not None:
        file_to_write(args.save)
    with lostgain.Pool(workers=1) as pool:
        with shown("Preparing the unit"):
            circuit = lostgain.build_circuit(unit, pool)
        if drill is None:
            drill = _drawn(args, unit, circuit, pool)
        elif warning := check_fits(drill, circuit, args.resume or Path(args.what)):
            print(*wrapped(f"! {warning}"), sep="\n", file=sys.stderr)
        if args.save is not None:
            keep.write(drill, args.save)
            written([args.save])
            return
        if sys.stdin is None:
            raise lostgain.UserError("a drill asks what to do, and there is no input that answers could come from.")
        path = path or _free(unit, args.work)
        if not drill.ended:
            keep.write(drill, path)  # a place that can't be written is told before anything was done
            print(order_text(drill, unit), end="\n\n")
            print("Type a test point, an act, or help.")
        talk = DrillTalk(drill, Rig(unit, drill.hidden, pool), path, args.png)
        again = f"lostgain drill --resume {clean(str(path))}{f' --unit {args.unit}' if args.unit else ''}"
        try:
            talk.go_on()
            if talk.drill.ended and not args.no_debrief:
                finish(talk.drill, talk.rig, path, args.table, args.png)
        except KeyboardInterrupt:
            raise KeyboardInterrupt(f"\nStopped; nothing is lost. Go on with: {again}") from None
    if not talk.drill.ended:
        print(*wrapped(f"Paused. Go on with: {again}"), sep="\n", file=sys.stderr)


def _meant(args: argparse.Namespace) -> tuple[lostgain.Unit, Any, Path | None]:
    """Return the unit, the drill where there is one already, and the file it is kept in where it goes on."""
    from lostgain.teach import keep

    if args.resume is not None and args.what is not None:
        raise lostgain.UserError("--resume goes on with the drill in its file; leave the other word out.")
    saved = args.resume or (Path(args.what) if args.what and keep.is_drill(Path(args.what)) else None)
    if saved is None:
        if args.what is None:
            raise lostgain.UserError("a unit, or a saved drill, is wanted: lostgain drill ferry-terminal --level 1")
        return lostgain.open_unit(args.what), None, None
    if args.level is not None or args.seed is not None:
        raise lostgain.UserError("a saved drill has its level and its seed; leave --level and --seed out.")
    drill = keep.read(saved)
    return lostgain.open_unit(args.unit or drill.hidden.unit), drill, args.resume


def _drawn(args: argparse.Namespace, unit: lostgain.Unit, circuit: lostgain.Circuit, pool: lostgain.Pool) -> Any:
    from lostgain.teach.drill import begin, begun

    number = args.level if args.level is not None else 1
    seed = args.seed if args.seed is not None else secrets.randbelow(1_000_000)
    if seed < 0:
        raise lostgain.UserError("--seed is a whole number from 0 on.")
    with shown("Hiding a fault") as line:
        if args.faults:
            return begun(unit, _chosen(args, unit, circuit, number, seed, pool), pool)
        return begin(unit, circuit, number, seed, pool, line)


def _chosen(
    args: argparse.Namespace,
    unit: lostgain.Unit,
    circuit: lostgain.Circuit,
    number: int,
    seed: int,
    pool: lostgain.Pool,
) -> Any:
    """Return what a drill hides whose fault the teacher chose."""
    from lostgain.teach.draw import hide
    from lostgain.teach.hidden import CONDITIONS

    faults = tuple(lostgain.parse_fault(text, circuit) for text in args.faults)
    names = [channel.name for channel in unit.channels]
    channel = next((name for name in names if name.casefold() == args.channel.casefold()), "")
    if args.channel and not channel:
        raise lostgain.UserError(f"there is no channel '{args.channel}'. {nearest(args.channel, names)}".strip())
    if (number == 5) != bool(args.condition) or (args.condition and args.condition not in CONDITIONS):
        raise lostgain.UserError(f"--condition, one of {', '.join(CONDITIONS)}, belongs to --level 5 and to no other.")
    if len(faults) > 1 and number != 6:
        raise lostgain.UserError("more than one --fault belongs to --level 6.")
    return hide(unit, circuit, number, seed, pool, faults, channel, args.condition)


def _free(unit: lostgain.Unit, named: Path | None) -> Path:
    """Return the file that a drill is kept in: the one named, or the first name that is free."""
    if named is not None:
        file_to_write(named)
        if named.exists():
            raise lostgain.UserError(f"{named} is there already: go on with --resume {named}, or name another file.")
        return named
    tails = ("" if number == 1 else f"-{number}" for number in count(1))
    return next(path for tail in tails if not (path := Path(f"{unit.name}-drill{tail}.txt")).exists())
