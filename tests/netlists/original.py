"""Runs a netlist as it came in ngspice itself: its own reader, its own includes, in one of its compatibility modes.

In a worker process of the pool, as functions at module level: what ngspice is told here no unit may tell it.
"""

from __future__ import annotations

from pathlib import Path

from lostgain.engine import Session


def run(session: Session, item: tuple[str, str, float, tuple[str, ...]]) -> dict[str, tuple[float, float]]:
    """Return DC [V] and small-signal level [V] of nodes of the netlist in a file."""
    path, mode, frequency, nodes = item
    spice = session._spice
    spice.command(f"set ngbehavior={mode}" if mode else "unset ngbehavior")
    if spice.owner is not None:
        spice.command("remcirc")
    spice.owner = session
    session._nodes, session._lines = None, ["* sourced"]
    spice.clear()
    spice.command(f"source {Path(path)}")
    dc = session.op(nodes)
    ac = session.ac([frequency], nodes)[:, 0]
    spice.command("unset ngbehavior")
    return {node: (float(one), float(abs(other))) for node, one, other in zip(nodes, dc, ac, strict=True)}


def lines(session: Session, item: tuple[list[str], str, tuple[str, ...]]) -> list[float] | str:
    """Return DC at nodes of a netlist given as lines, in a compatibility mode; what ngspice said where it fails."""
    text, mode, nodes = item
    session._spice.command(f"set ngbehavior={mode}" if mode else "unset ngbehavior")
    try:
        session.load(text)
        return [float(each) for each in session.op(nodes)]
    except Exception as error:  # the text of the refusal is the result
        return str(error)
    finally:
        if not session.dead:
            session._spice.command("unset ngbehavior")
