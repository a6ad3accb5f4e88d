"""What an act of a drill has come to."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lostgain.problems import UserError
from lostgain.teach.hazards import Hazard
from lostgain.teach.hidden import Bench


@dataclass(frozen=True)
class Done:
    """What an act has come to.

    Parameters
    ----------
    bench : Bench
    says : str
    channel : str
    parts : tuple of str
    money : float
    hazard : Hazard or None
        Where the act was unsafe; the drill stops.
    """

    bench: Bench
    says: str
    channel: str = ""
    parts: tuple[str, ...] = ()
    money: float = 0.0
    hazard: Hazard | None = None


def one_of(text: str, known: Mapping[str, bool]) -> bool:
    """Return what a word stands for.

    Raises
    ------
    UserError
        If it is none of those known.
    """
    word = text.strip().casefold()
    if word not in known:
        raise UserError(f"'{text}' is neither {' nor '.join(known)}.")
    return known[word]
