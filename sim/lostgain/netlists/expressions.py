"""Expressions and values as other SPICE programs write them, in the words of ngspice.

ngspice has compatibility modes for some of this. None is set: see DEVELOPERS.md for what they were measured to do.
"""

from __future__ import annotations

import re

from lostgain.engine.values import misread

#: Functions that ngspice lacks, or has under another name and takes in silence for something else.
FUNCTIONS = {
    "limit": ".func limit(x,a,b) {min(max(x,min(a,b)),max(a,b))}",
    "pwrs": ".func pwrs(x,y) {sgn(x)*pow(abs(x),y)}",
    "uplim": ".func uplim(x,p,z) {min(x,p-z)+(1-pow(min(max(0,x-p+z),2*z)/2/z-1,2))*z}",
    "dnlim": ".func dnlim(x,n,z) {max(x,n+z)-(1-pow(min(max(0,n+z-x),2*z)/2/z-1,2))*z}",
    "stp": ".func stp(x) {u(x)}",
    "buf": ".func buf(x) {u(x-0.5)}",
    "inv": ".func inv(x) {1-u(x-0.5)}",
}
_NAMES = {"if": "ternary_fcn", "table": "pwl", "tbl": "pwl", "arctan": "atan"}
_CALL = re.compile(r"\b([A-Za-z_]\w*)\s*\(")
_TEMP = re.compile(r"\btemp\b(?!\s*=)", re.IGNORECASE)
_ONE_AND = re.compile(r"(?<!&)&(?!&)")
_ONE_OR = re.compile(r"(?<!\|)\|(?!\|)")
_IN_TEXT = re.compile(r"(?<![\w.])(\d+(?:meg|[rkmunpfgt])\d+)(?![\w.])", re.IGNORECASE)


def expression(text: str) -> str:
    """Return an expression in ngspice's words; braces or quotes around it stay."""
    text = _CALL.sub(lambda found: f"{_NAMES.get(found[1].lower(), found[1])}(", text)
    text = _ONE_AND.sub("&&", _ONE_OR.sub("||", text))
    text = _TEMP.sub("temper", text)
    return _IN_TEXT.sub(lambda found: value(found[1])[0], text)


def functions_of(text: str) -> set[str]:
    """Return the functions that a text calls and that `FUNCTIONS` defines."""
    return {name.lower() for name in _CALL.findall(text)} & FUNCTIONS.keys()


def value(word: str, letter: str = "") -> tuple[str, str]:
    """Return a value as ngspice reads it, and what it would have read instead; that is empty where both are the same.

    Parameters
    ----------
    word : str
        ``4k7``, ``2R2``, ``1M``, ``4.7u``.
    letter : str
        Lower case: the element it belongs to.
    """
    found = misread(word, letter) if letter in ("r", "c", "l", "") else None
    if found is None:
        return word, ""
    reads, meant = found
    return meant, reads
