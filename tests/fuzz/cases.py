"""What the fuzzing of parsers has in common: how many cases, and text that is nearly right.

``LOSTGAIN_CASES=100000`` runs so many cases of each parser, drawn anew each time; ``--hypothesis-seed=N`` repeats them.
Without it there are some hundreds of each, the same every time.
"""

from __future__ import annotations

import os
from collections.abc import Sequence

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

#: Cases of each parser, on demand; 0 where nobody asked.
ON_DEMAND = int(os.environ.get("LOSTGAIN_CASES", "0"))

#: Signs that mean something to one parser or another, or that look like one that does.
SIGNS = " \t\n\r\0,;:.'\"`#=+-−–*/\\()[]{}<>≤≥~%±×²µμΩΩ$@!?&|^_~°\u00a0\u202f\u200b\ufeff\x1b\x85\u2028éЖ中٣１🎛"
LETTERS = "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"

#: Numbers at the edges of what there is.
EDGES = ("0", "-0", "1e308", "1e-320", "9" * 400, "nan", "inf", "-inf", "1e999", "0x10", "1_000", "00", ".5", "5.",
         "1,5", "1,000", "1 000", "+-1", "1e", "e5", "١٢", "²")  # fmt: skip


def fuzzed(share: float = 1.0) -> settings:
    """Return how many cases of a parser are run: fewer in everyday tests of one that is slow."""
    few = max(20, round(300 * share))
    return settings(
        max_examples=ON_DEMAND or few,
        derandomize=not ON_DEMAND,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )


def text_near(valid: Sequence[str], pieces: Sequence[str] = ()) -> st.SearchStrategy[str]:
    """Return text made of valid examples with something put in, cut out, doubled or exchanged, and text of any sort."""
    any_sign = st.text(st.sampled_from(SIGNS + LETTERS), max_size=6)
    piece = st.one_of(any_sign, st.sampled_from([*pieces, *EDGES]), st.text(max_size=4))

    def changed(base: str, edits: list[tuple[int, int, str]]) -> str:
        for place, length, new in edits:
            start = place % (len(base) + 1)
            base = base[:start] + new + base[start + length :]
        return base

    edit = st.tuples(st.integers(0, 10_000), st.sampled_from([0, 0, 1, 1, 2, 5, 20]), piece)
    nearly = st.builds(changed, st.sampled_from(list(valid)), st.lists(edit, max_size=4))
    joined = st.lists(st.sampled_from([*pieces, *valid, *EDGES, " ", ""]), max_size=5).map("".join)
    return st.one_of(nearly, nearly, joined, st.text(max_size=30), any_sign)


def file_near(text: str, pieces: Sequence[str] = (), lines: Sequence[str] = ()) -> st.SearchStrategy[str]:
    """Return a file's text with lines left out, doubled, exchanged, changed, or of another file."""
    own = text.splitlines()
    one = text_near([line for line in own if line.strip()] or [""], pieces)
    new = st.one_of(st.sampled_from([*own, *lines, ""]), one)

    def changed(edits: list[tuple[int, int, list[str]]], end: str) -> str:
        result = list(own)
        for place, length, more in edits:
            start = place % (len(result) + 1)
            result[start : start + length] = more
        return end.join(result) + end

    edit = st.tuples(st.integers(0, 10_000), st.sampled_from([0, 1, 1, 1, 2, 6]), st.lists(new, max_size=2))
    ends = st.sampled_from(["\n", "\n", "\n", "\r\n", "\r"])
    return st.builds(changed, st.lists(edit, min_size=1, max_size=4), ends)
