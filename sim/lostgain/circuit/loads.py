"""What hangs on an output, as elements of a netlist."""

from __future__ import annotations

from lostgain.unit.load import Load

#: What stands for an open output: a node needs a way to ground [ohm].
OPEN_OHMS = 1e9


def load_lines(name: str, load: Load, hot: str, cold: str) -> list[str]:
    """Return the elements of a load between two nodes.

    Parameters
    ----------
    name : str
        Of its resistor, ``rbench_load``; the others are called alike, with the letter of what they are.
    load : Load
    hot, cold : str
        Nodes.

    Notes
    -----
    A loudspeaker is its voice coil in series with the parallel resonant circuit of its mechanics; see
    `lostgain.unit.load.Loudspeaker`.
    """
    stem = name[1:]
    speaker = load.speaker
    if speaker is not None:
        return [
            f"{name} {hot} {stem}_coil {speaker.re:.12g}",
            f"l{stem} {stem}_coil {stem}_motion {speaker.le:.12g}",
            f"r{stem}_motion {stem}_motion {cold} {speaker.res:.12g}",
            f"c{stem}_motion {stem}_motion {cold} {speaker.cmes:.12g}",
            f"l{stem}_motion {stem}_motion {cold} {speaker.lces:.12g}",
        ]
    lines = [f"{name} {hot} {cold} {load.ohms or OPEN_OHMS:.12g}"]
    if load.farads:
        lines.append(f"c{stem} {hot} {cold} {load.farads:.12g}")
    return lines
