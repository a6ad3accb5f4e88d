"""``.model`` lines as editors and makers write them: aliases, ratings among the parameters, other kinds of switch."""

from __future__ import annotations

import re
from collections.abc import Mapping

from lostgain.netlists.deck import model_name
from lostgain.netlists.expressions import expression
from lostgain.netlists.model import LIKELY, Card, Notes, wrong
from lostgain.problems import nearest

#: Ratings and names that makers put among a model's parameters; ngspice stumbles over those that are words.
_RATINGS = {
    "mfg", "type", "vpk", "iave", "irms", "ipk", "vceo", "vcbo", "vebo", "icrating", "vds", "ron_rating", "qg", "vrev",
    "diss", "pd", "dtype", "package", "vcr", "maxvoltage", "vds_max",
}  # fmt: skip
_IDEAL = {"ron", "roff", "vfwd"}
_PARAMETER = re.compile(r"([A-Za-z_]\w*)\s*=\s*(\{[^{}]*\}|'[^']*'|\"[^\"]*\"|[^\s,(){}'\"]+)")
_ALIAS = re.compile(r"ako\s*:\s*(\S+?)(?=[\s(]|$)", re.IGNORECASE)


def plain_model(card: Card, known: Mapping[str, Card], notes: Notes, chain: tuple[str, ...] = ()) -> str:
    """Return a ``.model`` line that ngspice takes.

    Parameters
    ----------
    card : Card
    known : mapping
        All models by name, lower case, for aliases (``ako:``).
    notes : Notes
    chain : tuple of str
        Aliases on the way here.

    Raises
    ------
    UserError
        For an alias of nothing or of itself, and for a kind of model that ngspice does not have.
    """
    name = model_name(card)
    sort, params = _sort_and_params(card, known, chain)
    if sort == "d" and _IDEAL & params.keys() and "is" not in params:
        message = f"{name} is an ideal diode (Ron, Roff, Vfwd), which ngspice would take for its standard one."
        raise wrong(message, card.where, "Give it a diode's parameters, for example D(Is=1e-14 N=1).")
    if sort in ("vswitch", "iswitch"):
        return _switch(name, sort, params, card, notes)
    flags = "".join(f" {flag}" for flag in ("nchan", "pchan") if sort == "vdmos" and flag in params)
    shown = " ".join(f"{key}={expression(value)}" for key, value in params.items() if key not in _RATINGS and value)
    return f".model {name} {sort}({flags.strip()} {shown})".replace("( ", "(")


def _sort_and_params(card: Card, known: Mapping[str, Card], chain: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    """Return a model's type and parameters, lower case; of an alias what it stands for, with its own instead."""
    name = model_name(card)
    text = card.text.split(maxsplit=2)[2]
    params: dict[str, str] = {}
    sort = ""
    if alias := _ALIAS.match(text):
        base = alias[1].lower()
        if base in chain or base == name:
            raise wrong(f"The model {name} stands for itself (ako:{base}).", card.where)
        if base not in known:
            raise wrong(f"{name} stands for the model {base} (ako:), which is missing.", card.where,
                        nearest(base, known))  # fmt: skip
        sort, params = _sort_and_params(known[base], known, (*chain, name))
        params = dict(params)
        text = text[alias.end() :].strip() or sort
    own = re.match(r"[A-Za-z_]\w*(?!\w*\s*=)", text)
    sort = own[0].lower() if own else sort
    rest = text[own.end() :] if own else text
    for flag in re.findall(r"\b(nchan|pchan)\b(?!\s*=)", rest, re.IGNORECASE):
        params[flag.lower()] = ""
    params.update((key.lower(), value) for key, value in _PARAMETER.findall(rest))
    return sort, params


def _switch(name: str, sort: str, params: Mapping[str, str], card: Card, notes: Notes) -> str:
    """Return a switch with a threshold in place of one that slides between two: on and off are the same."""
    kind, unit = ("sw", "v") if sort == "vswitch" else ("csw", "i")
    on, off = params.get(f"{unit}on", "1"), params.get(f"{unit}off", "0")
    if any(not re.fullmatch(r"[-+.\w]+", each) for each in (on, off)):
        raise wrong(f"{name}: {unit}on and {unit}off must be numbers.", card.where)
    text = "its switch slides from off to on in the program it was made for; here it turns over half-way."
    notes.say(name, text, LIKELY, card.where)
    rest = " ".join(f"{key}={params[key]}" for key in ("ron", "roff") if key in params)
    return f".model {name} {kind}({unit}t={{({on}+{off})/2}} {unit}h=0 {rest})"
