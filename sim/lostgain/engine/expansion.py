"""How large a netlist becomes once ngspice has put its subcircuits and functions in place, told before ngspice tries.

Ten subcircuits of ten calls each are ten thousand million parts; a hundred characters can fill any memory.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from lostgain.problems import Problem, UserError, Where

#: Most elements of a flat circuit. A channel of an amplifier has some two hundred.
MOST_ELEMENTS = 5000

#: Most subcircuits within each other; ngspice gives up at some twenty.
DEEPEST = 20

#: Longest expression, its functions put in [characters].
LONGEST_EXPRESSION = 4000

_CALL = re.compile(r"([a-z_]\w*)\s*\(|\(|\)|,|([a-z_]\w*)", re.IGNORECASE | re.ASCII)
_FUNCTION = re.compile(r"\.(?:func|param)\s+([a-z_]\w*)\s*\(([^()]*)\)\s*=?\s*(.*)", re.IGNORECASE | re.ASCII)


def refuse_endless(lines: Iterable[tuple[str, Where]]) -> None:
    """Raise for a netlist that calls itself or grows beyond all measure.

    Parameters
    ----------
    lines : iterable of (str, Where)
        Cleaned lines, as `includes.resolve_lines` returns them.

    Raises
    ------
    UserError
        For more than `MOST_ELEMENTS` elements, subcircuits or functions that call themselves, and expressions that
        grow longer than `LONGEST_EXPRESSION`.
    """
    everything = list(lines)
    if (total := _count(_scopes(everything), ())) > MOST_ELEMENTS:
        whole = Where(everything[0][1].file)
        raise _wrong(f"the circuit has {total} elements; at most {MOST_ELEMENTS} are simulated.", whole)
    _functions(everything)


@dataclass(eq=False)
class _Scope:
    """A subcircuit's definition, or the whole netlist."""

    name: str
    parent: _Scope | None = None
    inside: dict[str, _Scope] = field(default_factory=dict)
    elements: int = 0
    calls: list[tuple[str, Where]] = field(default_factory=list)
    total: int | None = None

    def find(self, name: str) -> _Scope | None:
        """Return the definition that a call here means: the innermost, or None for one of the library's."""
        scope: _Scope | None = self
        while scope is not None and name not in scope.inside:
            scope = scope.parent
        return scope.inside[name] if scope is not None else None


def _scopes(lines: Iterable[tuple[str, Where]]) -> _Scope:
    top = here = _Scope("")
    for text, where in lines:
        words = text.lower().partition("params:")[0].split()
        if words[0] == ".subckt" and len(words) > 1:
            found = _Scope(words[1], here)
            here.inside.setdefault(words[1], found)
            here = found
        elif words[0] == ".ends":
            here = here.parent or top
        elif words[0][0] == "x":
            named = [word for word in words if "=" not in word][-1]
            here.calls.append((named, where))
        elif words[0][0] != ".":
            here.elements += 1
    return top


def _count(scope: _Scope, chain: tuple[_Scope, ...]) -> int:
    """Return how many elements a scope has with all it calls."""
    if scope.total is not None:
        return scope.total
    total = scope.elements
    for name, where in scope.calls:
        called = scope.find(name)
        if called is scope or called in chain:
            raise _wrong(f"the subcircuit {name} calls itself.", where)
        if len(chain) >= DEEPEST:
            raise _wrong(f"subcircuits call each other more than {DEEPEST} deep here.", where)
        total += _count(called, (*chain, scope)) if called is not None else 1
        if total > MOST_ELEMENTS:
            raise _wrong(
                f"with its subcircuits put in, the circuit has more than {MOST_ELEMENTS} elements here.", where
            )
    scope.total = total
    return total


@dataclass(frozen=True)
class _Function:
    """A ``.func``: its arguments and its text."""

    arguments: tuple[str, ...]
    body: str


#: Length of a text as a sum: a number of characters under the empty name, and how often each argument stands in it.
_Length = dict[str, int]


def _functions(lines: Sequence[tuple[str, Where]]) -> None:
    known: dict[str, _Function] = {}
    for text, _ in lines:
        if found := _FUNCTION.fullmatch(text.strip()):
            names = tuple(name.strip().lower() for name in found[2].split(","))
            known.setdefault(found[1].lower(), _Function(names, found[3].lower()))
    if not known:
        return
    lengths: dict[str, _Length] = {}
    for text, where in lines:
        if text[0] != "." or text.lower().startswith((".param", ".func")):
            body = found[3] if (found := _FUNCTION.fullmatch(text.strip())) else text
            _length(body.lower(), (), known, lengths, (), where)


def _length(
    text: str, arguments: tuple[str, ...], known: Mapping[str, _Function], lengths: dict[str, _Length],
    chain: tuple[str, ...], where: Where,
) -> _Length:  # fmt: skip
    """Return how long a text becomes with every function in it put in."""
    # Each open bracket has the function before it (empty for none), what its arguments became, and the current one.
    opened: list[tuple[str, list[_Length], _Length]] = [("", [], {"": 0})]
    end = 0
    for match in _CALL.finditer(text):
        current = opened[-1][2]
        current[""] += match.start() - end
        end = match.end()
        if match[0].endswith("("):
            name = match[1] if match[1] in known else ""
            current[""] += 0 if name else len(match[0])
            opened.append((name or "", [], {"": 0}))
        elif match[0] == "," and opened[-1][0]:
            opened[-1] = (opened[-1][0], [*opened[-1][1], current], {"": 0})
        elif match[0] == ")" and len(opened) > 1:
            name, before, last = opened.pop()
            given = [*before, last]
            inside = _put_in(name, given, known, lengths, chain, where) if name else {**last, "": last[""] + 1}
            _add(opened[-1][2], inside, 1)
        elif match[2] in arguments:
            _add(current, {match[2]: 1}, 1)
        else:
            current[""] += len(match[0])
        if opened[-1][2].get("", 0) + sum(opened[-1][2].values()) > 2 * LONGEST_EXPRESSION:
            raise _wrong(f"with its functions put in, this expression is longer than {LONGEST_EXPRESSION} characters.",
                         where)  # fmt: skip
    result: _Length = {"": len(text) - end}
    for _, before, last in opened:
        for each in (*before, last):
            _add(result, each, 1)
    return result


def _put_in(
    name: str, given: Sequence[_Length], known: Mapping[str, _Function], lengths: dict[str, _Length],
    chain: tuple[str, ...], where: Where,
) -> _Length:  # fmt: skip
    """Return the length of a function's text with the arguments given in their places."""
    function = known[name]
    if name in chain:
        raise _wrong(f"the function {name} calls itself.", where)
    if len(chain) >= DEEPEST:
        raise _wrong(f"functions call each other more than {DEEPEST} deep here.", where)
    if name not in lengths:
        lengths[name] = _length(function.body, function.arguments, known, lengths, (*chain, name), where)
    result: _Length = {"": lengths[name].get("", 0)}
    for argument, length in zip(function.arguments, given, strict=False):
        _add(result, length, lengths[name].get(argument, 0))
    return result


def _add(total: _Length, more: _Length, times: int) -> None:
    for key, value in more.items():
        total[key] = total.get(key, 0) + times * value


def _wrong(message: str, where: Where) -> UserError:
    return UserError(Problem(message[0].upper() + message[1:], where))
