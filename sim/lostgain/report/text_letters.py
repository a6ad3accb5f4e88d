"""What pictures in a terminal are made of: block characters, or plain ASCII where the terminal has no others."""

from __future__ import annotations

from dataclasses import dataclass

#: What is written instead of a letter that ASCII lacks.
_SPELT = str.maketrans({"µ": "u", "μ": "u", "Ω": "ohm", "−": "-", "–": "-", "—": "-", "×": "x", "∞": "inf", "°": "deg"})


@dataclass(frozen=True)
class Letters:
    """The characters of a picture.

    Parameters
    ----------
    both, upper, lower : str
        A cell filled, or its upper or lower half.
    bar, mark : str
        A bar, and a mark on or beside it.
    ascii : bool
        Whether the text around must be ASCII too.
    """

    both: str
    upper: str
    lower: str
    bar: str
    mark: str
    ascii: bool

    def spelt(self, text: str) -> str:
        """Return a text in letters the terminal has; what ASCII cannot say becomes a question mark."""
        return text.translate(_SPELT).encode("ascii", "replace").decode() if self.ascii else text


BLOCKS = Letters("█", "▀", "▄", "▒", "┃", False)
ASCII = Letters(":", "'", ".", "=", "|", True)


def letters_for(encoding: str | None) -> Letters:
    """Return the characters for an output's encoding (``sys.stdout.encoding``)."""
    try:
        "█▀▄▒┃µΩ−".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return ASCII
    return BLOCKS
