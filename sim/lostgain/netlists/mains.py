"""A supply from the mains in a netlist: its transformer, rectifier and reservoirs become supply stages of the unit.

What feeds the rest of the netlist is then a DC source at each reservoir, at the voltage it settles to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from lostgain.engine import Pool, Session
from lostgain.netlists.model import DOUBTFUL, GROUND, LIKELY, SURE, Notes, Piece, wrong
from lostgain.netlists.sources import Source
from lostgain.problems import Where
from lostgain.quantities import show

#: A sine at the frequency of the mains, from this peak voltage on, is no test signal.
FREQUENCIES, PEAK = (45.0, 66.0), 5.0
#: Smallest capacitor that is a reservoir [F], and largest resistor that is a fuse or a winding's own [ohm].
_RESERVOIR, _WINDING = 1e-6, 1e3
#: Cycles of the mains followed, and how far the last two may be apart to be settled, as a share.
_CYCLES, _SETTLED = 40, 0.01
#: What a netlist whose source stands for a secondary leaves open [V]; rectifiers for high tension are from here on [V].
_MAINS, _HIGH = 230.0, 100.0


@dataclass
class FromMains:
    """A supply as found.

    Parameters
    ----------
    volts, frequency : float
        Of the mains [V rms], [Hz].
    stage : str
        The library's stage that it is; empty where there is none like it.
    roles : dict
        Role to the part's text.
    rails : dict
        Port of the stage to the node it delivers.
    """

    volts: float
    frequency: float
    stage: str = ""
    roles: dict[str, str] = field(default_factory=dict)
    rails: dict[str, str] = field(default_factory=dict)

    def text(self, names: Mapping[str, str]) -> list[str]:
        """Return its lines of the unit file, with the rails' names by node."""
        if not self.stage:
            return []
        ports = ", ".join(f'{port} = "{names[node]}"' for port, node in self.rails.items())
        return [
            "[mains]", f'volts = "{self.volts:.6g} V"', f'frequency = "{self.frequency:.6g} Hz"', "",
            "[[supply]]", 'name = "Mains supply"', f'use = "{self.stage}"',
            *(f'{role} = "{text}"' for role, text in self.roles.items()), f"rails = {{ {ports} }}", "",
        ]  # fmt: skip


def is_mains(source: Source) -> bool:
    """Tell whether a source is the mains, or a secondary's."""
    return FREQUENCIES[0] <= source.frequency <= FREQUENCIES[1] and source.peak >= PEAK


def rectified(
    pieces: list[Piece], sources: Iterable[Source], lines: list[str], pool: Pool, here: Where, notes: Notes
) -> tuple[list[Piece], FromMains | None]:
    """Return a netlist's elements with DC sources in place of what rectifies the mains, and what that was.

    Parameters
    ----------
    pieces : list of Piece
    sources : iterable of Source
    lines : list of str
        Models and subcircuits.
    pool : Pool
    here : Where
        The netlist.
    notes : Notes

    Raises
    ------
    UserError
        Where a source at the mains' frequency leads to no rectifier with a reservoir.
    """
    feeds = [each for each in sources if is_mains(each)]
    if not feeds:
        return pieces, None
    ac, taken = _ac_side(pieces, [each.piece for each in feeds])
    diodes = [piece for piece in pieces if piece.letter == "d" and set(piece.nodes) & ac]
    ends = {node for piece in diodes for node in piece.nodes} - ac - {GROUND}
    held = {node: [piece for piece in pieces if _is_reservoir(piece, node)] for node in sorted(ends)}
    held = {node: caps for node, caps in held.items() if caps}
    if not held:
        first = feeds[0]
        what = f"{show(first.frequency, 'Hz')} at {show(first.peak, 'V')} peak"
        message = (
            f"{first.piece.name} feeds {what}: the mains, as it seems, and no rectifier with a reservoir takes it."
        )
        raise wrong(message, first.piece.where, "Put DC sources at the rails in place of transformer and rectifier.")
    volts = _settled(pieces, lines, list(held), sorted(ac), feeds[0].frequency, pool, here, notes)
    supply = _described(feeds, taken, diodes, held, volts, pieces)
    gone = [*taken, *diodes, *(piece for caps in held.values() for piece in caps)]
    _say(supply, gone, volts, notes)
    fed = [
        Piece(f"VFED{number}", [node, GROUND], f"{volts[node]:.6g}", diodes[0].where, board=f"VFED{number}")
        for number, node in enumerate(held, 1)
    ]
    return [piece for piece in pieces if piece not in gone] + fed, supply


def _ac_side(pieces: list[Piece], feeds: list[Piece]) -> tuple[set[str], list[Piece]]:
    """Return the nodes that are at the mains' AC, and the elements on that side of the rectifier."""
    ac = {node for piece in feeds for node in piece.nodes} - {GROUND}
    coils = {piece.name: piece for piece in pieces if piece.letter == "l"}
    pairs = [{word.upper() for word in piece.tail.split()[:-1]} for piece in pieces if piece.letter == "k"]
    taken = list(feeds)
    going = True
    while going:
        going = False
        for piece in pieces:
            if piece in taken or not _belongs(piece, ac, [each.name for each in taken], pairs):
                continue
            taken.append(piece)
            ac |= set(piece.nodes) - {GROUND} if piece.letter != "k" else set()
            going = True
    couplings = [piece for piece in pieces if piece.letter == "k"
                 and any(coils.get(word.upper()) in taken for word in piece.tail.split()[:-1])]  # fmt: skip
    return ac, [*taken, *(piece for piece in couplings if piece not in taken)]


def _belongs(piece: Piece, ac: set[str], names: list[str], pairs: list[set[str]]) -> bool:
    """Tell whether an element lies on the AC side: a coil, what is coupled to one, a fuse, a capacitor across it."""
    there = set(piece.nodes) & ac
    if piece.letter == "l":
        return bool(there) or any(piece.name in pair and pair & set(names) for pair in pairs)
    if piece.letter == "r":
        return bool(there) and (GROUND not in piece.nodes) and (piece.value or _WINDING) < _WINDING
    return piece.letter in "rc" and set(piece.nodes) <= ac | {GROUND} and bool(there)


def _is_reservoir(piece: Piece, node: str) -> bool:
    return piece.letter == "c" and set(piece.nodes) == {node, GROUND} and (piece.value or 0.0) >= _RESERVOIR


def _settled(
    pieces: list[Piece], lines: list[str], nodes: list[str], floating: list[str], frequency: float, pool: Pool,
    here: Where, notes: Notes,
) -> dict[str, float]:  # fmt: skip
    """Return the voltage that each reservoir settles to [V]."""
    outcome = pool.map(_follow, [([*(piece.line for piece in pieces), *lines], nodes, frequency, floating)])[0]
    if outcome.error is not None:
        raise wrong(f"the supply could not be followed on the mains: {outcome.error}.", here)
    last, before = outcome.value
    if np.any(np.abs(last - before) > _SETTLED * np.abs(last)):
        notes.say(
            "rails", f"the reservoirs have not settled after {_CYCLES} cycles of the mains.", DOUBTFUL, key="head"
        )
    return dict(zip(nodes, map(float, last), strict=True))


def _follow(session: Session, item: tuple[list[str], list[str], float, list[str]]) -> tuple[np.ndarray, np.ndarray]:
    """Return the means of the last two cycles at some nodes [V]."""
    lines, nodes, frequency, floating = item
    # A secondary that hangs on its diodes only has no potential while none of them conducts.
    loose = [f"rlostgain_{number} {node} 0 10meg" for number, node in enumerate(floating)]
    session.load([*lines, *loose, ".options method=gear reltol=2e-3 vntol=1e-4"])
    stop = _CYCLES / frequency
    time, values = session.tran(stop, 1 / frequency / 200, nodes, start=stop - 2 / frequency)
    grids = [stop - (2 - cycle) / frequency + np.arange(400) / 400 / frequency for cycle in (0, 1)]
    before, last = (np.array([np.interp(grid, time, row).mean() for row in values]) for grid in grids)
    return last, before


def _described(
    feeds: list[Source], taken: list[Piece], diodes: list[Piece], held: Mapping[str, list[Piece]],
    volts: Mapping[str, float], pieces: list[Piece],
) -> FromMains:  # fmt: skip
    """Return the supply as a stage of the library, where one is like it."""
    mains, secondary = _volts(feeds, taken, diodes)
    found = FromMains(mains, feeds[0].frequency)
    up = [node for node in held if volts[node] > 0]
    down = [node for node in held if volts[node] < 0]
    ups = [piece for piece in diodes if piece.nodes[1] in up]
    downs = [piece for piece in diodes if piece.nodes[0] in (down or [GROUND])]
    ends = {node for piece in (*ups, *downs) for node in piece.nodes} - set(held) - {GROUND}
    one_each = all(len(caps) == 1 for caps in held.values())
    if not one_each or len(ups) + len(downs) != len(diodes):
        return found
    if (len(ups), len(downs), len(ends)) == (2, 2, 2) and len(up) == 1 and len(down) <= 1:
        found.stage = "supply-split" if down else "supply-bridge"
        rectifiers = {f"D{number}": piece for number, piece in enumerate((*_paired(ups, downs),), 1)}
    elif (len(up), len(down), len(diodes)) == (0, 1, 1):
        found.stage, rectifiers = "supply-half-wave-negative", {"D": diodes[0]}
    else:
        return found
    boards = {piece.board or piece.name for piece in pieces}
    device = "transformer_mains_tapped" if found.stage == "supply-split" else "transformer_mains"
    diode = "diode-rectifier-ht" if max(map(abs, volts.values())) > _HIGH else "diode-rectifier"
    found.roles = {"F": f"{_free('F', boards)} fuse", "T": f"{_free('T', boards)} {mains:.4g}:{secondary:.4g} {device}"}
    found.roles |= {role: f"{piece.board or piece.name} {diode}" for role, piece in rectifiers.items()}
    found.rails = dict(zip(("out", "outn") if up else ("out",), (*up, *down), strict=False))
    for role, node in zip(("C1", "C2") if down and up else ("C",), found.rails.values(), strict=True):
        piece = held[node][0]
        found.roles[role] = f"{piece.board or piece.name} {show(piece.value or 0.0, 'farad', 6)} electrolytic"
    return found


def _paired(ups: list[Piece], downs: list[Piece]) -> list[Piece]:
    """Return a bridge's diodes in the stage's order: both of a winding's end at the same place."""
    return [*ups, *(next(piece for piece in downs if piece.nodes[1] == each.nodes[0]) for each in ups)]


def _free(letter: str, boards: set[str]) -> str:
    return next(name for number in range(1, 1000) if (name := f"{letter}{number}") not in boards)


def _volts(feeds: list[Source], taken: list[Piece], diodes: list[Piece]) -> tuple[float, float]:
    """Return the mains and the whole secondary, off load [V rms]."""
    rms = feeds[0].peak / 2**0.5
    coils = [piece for piece in taken if piece.letter == "l" and piece.value]
    if not coils:
        return _MAINS, sum(each.peak for each in feeds) / 2**0.5
    at_feed = {node for each in feeds for node in each.piece.nodes} - {GROUND}
    near = at_feed | {
        node for piece in taken if piece.letter == "r" and set(piece.nodes) & at_feed for node in piece.nodes
    }
    first = next((coil for coil in coils if set(coil.nodes) & near), coils[0])
    others = [coil for coil in coils if coil is not first]
    return rms, sum(rms * ((coil.value or 0.0) / (first.value or 1.0)) ** 0.5 for coil in others)


def _say(supply: FromMains, gone: list[Piece], volts: Mapping[str, float], notes: Notes) -> None:
    """Say what became of the supply."""
    names = ", ".join(piece.board or piece.name for piece in gone)
    found = ", ".join(f"{node} at {show(each, 'V')}" for node, each in volts.items())
    where = gone[0].where
    if not supply.stage:
        text = f"no stage of the library is like this one; its rails are sources ({found}), and {names} left out."
        notes.say("supply", text, DOUBTFUL, where, "head")
        return
    text = f"{names} became the supply stage {supply.stage}; it charges {found} in the netlist."
    notes.say("supply", text, LIKELY, where, "head")
    text = "transformer class, fuse and rectifier class are not in the netlist; compare rails, turns and ratings."
    notes.say("supply", text, DOUBTFUL, where, "head")
    if supply.volts == _MAINS:
        notes.say(
            "mains", f"the netlist has a secondary only; a mains of {_MAINS:g} V was taken.", DOUBTFUL, where, "head"
        )
    else:
        notes.say("mains", f"{supply.volts:.4g} V, as the source says.", SURE, where, "head")
