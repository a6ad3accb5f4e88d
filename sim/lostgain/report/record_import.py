"""An imported netlist as one JSON object."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lostgain.netlists.model import Imported


def import_record(imported: Imported, folder: Path) -> dict[str, Any]:
    """Return what was made of a netlist, and every guess with how sure it is.

    Parameters
    ----------
    imported : Imported
    folder : Path
        Where it was written.

    Returns
    -------
    dict
        ``title``, ``netlist``, ``folder``, ``input``, ``output``, ``setup``, ``rails`` [V], ``parts``, ``stages``,
        ``points``, ``left_out``, ``guesses`` (``about``, ``text``, ``sure``, ``file``, ``line``, ``key``), and the
        comparison with the netlist: ``nodes`` compared, and the largest difference as a fraction, ``worst``.
    """
    return {
        "title": imported.title,
        "netlist": str(imported.source),
        "folder": str(folder),
        "input": imported.input,
        "output": imported.output,
        "setup": imported.setup,
        "rails": imported.rails,
        "parts": [
            {"designator": piece.board, "element": piece.name, "kind": piece.kind, "value": piece.value,
             "pins": dict(zip(piece.pins, piece.nodes, strict=False)), "line": piece.where.line}
            for piece in imported.parts
        ],
        "stages": [
            {"name": stage.name, "output": stage.output, "parts": [piece.board for piece in stage.parts],
             "sure": stage.sure, "why": stage.why}
            for stage in imported.stages
        ],
        "points": [{"name": spot.name, "node": spot.node, "stage": spot.stage} for spot in imported.points],
        "left_out": list(imported.left_out),
        "guesses": [
            {"about": each.about, "text": each.text, "sure": each.sure, "file": str(each.where.file or ""),
             "line": each.where.line, "key": each.key}
            for each in imported.guesses
        ],
        "nodes": imported.nodes,
        "worst": imported.worst,
    }  # fmt: skip
