"""What ngspice says of the cleaned netlist: values evaluated, DC, levels, and how hard nodes are driven."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from lostgain.circuit.flat import FlatCircuit
from lostgain.circuit.listing import parse_listing
from lostgain.engine import Pool, Session
from lostgain.netlists.model import Piece, wrong
from lostgain.problems import Where

_PROBE = "ilostgain_probe"


@dataclass(frozen=True)
class Run:
    """One netlist to run.

    Parameters
    ----------
    lines : tuple of str
    frequency : float
        [Hz]
    ask : tuple of str
        Nodes whose impedance is wanted.
    """

    lines: tuple[str, ...]
    frequency: float = 1000.0
    ask: tuple[str, ...] = ()


@dataclass(frozen=True)
class Seen:
    """What ngspice found.

    Parameters
    ----------
    flat : FlatCircuit
    dc : mapping
        Node to volts [V].
    level : mapping
        Node to the small-signal level [V rms, for the sources' ``ac``].
    impedance : mapping
        Node to the magnitude of the impedance against ground [ohm], with all sources silent.
    """

    flat: FlatCircuit
    dc: Mapping[str, float]
    level: Mapping[str, float]
    impedance: Mapping[str, float]


def evaluated(lines: Iterable[str], pool: Pool, netlist: Where) -> FlatCircuit:
    """Return the flat circuit that ngspice makes of a netlist, with its expressions worked out.

    Raises
    ------
    UserError
        If ngspice does not take it.
    """
    flat: FlatCircuit = _asked(pool, _flat, Run(tuple(lines)), netlist)
    return flat


def measured(run: Run, pool: Pool, netlist: Where) -> Seen:
    """Return DC, levels and impedances of a netlist.

    Raises
    ------
    UserError
        If it has no operating point.
    """
    seen: Seen = _asked(pool, _seen, run, netlist)
    return seen


def _asked(pool: Pool, task: Callable[[Session, Run], Any], run: Run, netlist: Where) -> Any:
    outcome = pool.map(task, [run])[0]
    if outcome.error is None:
        return outcome.value
    told = [line for line in outcome.said if any(word in line.lower() for word in ("error", "warning", "singular"))]
    tail = f" ngspice said: {' / '.join(told[:3])}" if told else ""
    raise wrong(f"ngspice does not take this netlist: {outcome.error}.{tail}", netlist)


def _flat(session: Session, run: Run) -> FlatCircuit:
    session.load(run.lines)
    return parse_listing(session.listing())


def _seen(session: Session, run: Run) -> Seen:
    flat = _flat(session, run)
    nodes = [node for node in flat.nodes() if "." not in node]
    dc = session.op(nodes)
    level = abs(session.ac([run.frequency], nodes)[:, 0])
    impedance = {}
    if run.ask:
        silent = silenced(flat)
        for node in run.ask:
            session.load([*silent, f"{_PROBE} 0 {node} dc 0 ac 1"])
            impedance[node] = float(abs(session.ac([run.frequency], [node])[0, 0]))
    return Seen(flat, dict(zip(nodes, map(float, dc), strict=True)), dict(zip(nodes, map(float, level), strict=True)),
                impedance)  # fmt: skip


def silenced(flat: FlatCircuit) -> Sequence[str]:
    """Return the lines of a circuit whose sources have no small signal."""
    lines = []
    for line in flat.lines()[1:-1]:
        words = line.split()
        if words[0][0] in "vi" and "ac" in words:
            words = words[: words.index("ac")]
        lines.append(" ".join(words))
    return lines


def values_of(pieces: Iterable[Piece], flat: FlatCircuit) -> None:
    """Put the values that ngspice evaluated into the R, C and L."""
    for piece in pieces:
        element = flat.elements.get(piece.name.lower())
        if element is not None and piece.letter in "rcl" and element.has_value:
            piece.value = element.value
            first, _, rest = piece.tail.partition(" ")
            if first[:1] in ("{", "'") and "}" in first + " " and not rest.count("}"):
                piece.tail = f"{piece.value:.9g} {rest}".strip()
