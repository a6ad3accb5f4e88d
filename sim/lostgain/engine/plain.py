"""POLY and TABLE sources as B sources.

ngspice itself expands them into code-model devices, which the shared library comes without on many systems. As
arbitrary sources they need none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import combinations_with_replacement, count

_POLY = re.compile(r"^([efgh]\S*)\s+(\S+)\s+(\S+)\s+poly\s*\(?\s*(\d+)\s*\)?\s*(.*)$", re.IGNORECASE)
_TABLE = re.compile(r"^([eg]\S*)\s+(\S+)\s+(\S+)\s+table\s*\{(.*?)\}\s*=?\s*(.*)$", re.IGNORECASE)
_BETWEEN = re.compile(r"[(),\s]+")
#: What a source delivers, by its letter.
_DELIVERS = {"e": "v", "h": "v", "g": "i", "f": "i"}


def plain_sources(lines: Sequence[str]) -> list[str]:
    """Return netlist lines in which POLY and TABLE sources are B sources; all others are left as they are.

    Parameters
    ----------
    lines : sequence of str
        Without comments, continuations joined, as `guard.refuse` returns them.

    Notes
    -----
    The terms of a polynomial stand in the order of SPICE2: by degree, and within a degree by the sources in the order
    they are named (``a a``, ``a b``, ``b b``). A single coefficient of a polynomial in one source is its first-degree
    one [1]_.

    References
    ----------
    .. [1] SPICE2 and SPICE3 user's manuals, nonlinear dependent sources; from memory, to be verified. The tests compare
       with closed forms.
    """
    return [_poly(line) or _table(line) or line for line in lines]


def _poly(line: str) -> str | None:
    found = _POLY.match(line.strip())
    if found is None:
        return None
    name, plus, minus, dimensions, rest = found.groups()
    words = [word for word in _BETWEEN.split(rest) if word]
    number = int(dimensions)
    each = 2 if name[0].lower() in "eg" else 1
    if number < 1 or len(words) <= number * each:
        return None  # ngspice says what is missing
    controls = words[: number * each]
    inputs = (
        [f"v({one},{other})" for one, other in zip(controls[::2], controls[1::2], strict=True)]
        if each == 2
        else [f"i({source})" for source in controls]
    )
    factors = words[number * each :]
    if number == 1 and len(factors) == 1:
        factors = ["0", *factors]
    terms = [
        "*".join([f"({factor})", *(inputs[index] for index in term)])
        for factor, term in zip(factors, _terms(number), strict=False)
    ]
    return f"b_{name}_plain {plus} {minus} {_DELIVERS[name[0].lower()]}={'+'.join(terms)}"


def _terms(number: int) -> Iterator[tuple[int, ...]]:
    """Yield the inputs of each term: (), (0,), (1,), (0, 0), (0, 1) and so on."""
    for degree in count():
        yield from combinations_with_replacement(range(number), degree)


def _table(line: str) -> str | None:
    found = _TABLE.match(line.strip())
    if found is None:
        return None
    name, plus, minus, expression, pairs = found.groups()
    numbers = [word for word in _BETWEEN.split(pairs) if word]
    if len(numbers) < 4 or len(numbers) % 2:
        return None
    return f"b_{name}_plain {plus} {minus} {_DELIVERS[name[0].lower()]}=pwl({expression},{','.join(numbers)})"
