"""How a drill ends on the command line: scored, looked back at, kept in the apprentice's progress."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import lostgain
from lostgain.cli.files import written
from lostgain.cli.progress import shown
from lostgain.cli.table import opened
from lostgain.readings.model import OFF
from lostgain.report.text_debrief import debrief_text
from lostgain.report.text_layout import wrapped
from lostgain.teach import keep, progress
from lostgain.teach.debrief import debrief
from lostgain.teach.record import Drill
from lostgain.teach.rig import Rig
from lostgain.teach.score import score_record


def finish(drill: Drill, rig: Rig, path: Path, file: Path | None = None, folder: Path | None = None) -> None:
    """Score a drill, look back at it, and keep both.

    Parameters
    ----------
    drill : Drill
        That has ended.
    rig : Rig
    path : Path
        Where it is kept.
    file : Path or None
        A signature table to use.
    folder : Path or None
        Where pictures go.
    """
    table = opened(rig.unit, file=file)
    rows = [each for each in drill.readings if each.quantity in OFF]
    with shown("Simulating meters with the power off") as line:  # for the policy, too, whatever was read
        table = lostgain.power_off(table, rows, OFF, progress=line)
    with shown("Looking back") as line:
        looked = debrief(drill, rig, table, line)
    print("", debrief_text(looked, rig.unit, sys.stdout.encoding), sep="\n")
    fresh = drill.result is None
    traps = [each.name for each in looked.traps]
    result = {**score_record(looked.score), "traps": traps, "failed": list(looked.labels)}
    keep.write(replace(drill, result=result), path)
    if fresh:
        try:
            progress.keep(looked, rig.unit, datetime.now(UTC).isoformat(timespec="seconds"))
        except lostgain.UserError as error:  # the drill itself is kept
            print(*[f"! {each.message}" for each in error.problems], sep="\n", file=sys.stderr)
    if folder is not None:
        with shown("Drawing"):
            drawn = lostgain.prediction_pictures(looked.prediction, folder, table)
        written(drawn)
    print(*wrapped(f"The drill is in {path}; lostgain progress shows how you get on."), sep="\n", file=sys.stderr)
