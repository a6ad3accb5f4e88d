"""Lines of a netlist that start with a dot: which may be run, which are left out, which are refused."""

from __future__ import annotations

import re

from lostgain.problems import nearest

#: Taken as they are.
KEPT = {".subckt", ".ends", ".model", ".param", ".func", ".global", ".ic", ".nodeset", ".options", ".option", ".opt"}

#: Left out: lostgain runs analyses of its own and prints nothing of theirs.
LEFT_OUT = {
    ".end", ".title", ".op", ".ac", ".dc", ".tran", ".noise", ".disto", ".tf", ".sens", ".pz", ".four", ".fourier",
    ".print", ".plot", ".probe", ".save", ".meas", ".measure", ".width", ".backanno", ".pss", ".sp",
}  # fmt: skip

_REFUSED = {
    ".control": "A control block holds commands, which a unit may not run. Delete it from .control to .endc.",
    ".endc": "A control block holds commands, which a unit may not run. Delete it from .control to .endc.",
    ".exec": "A unit may not run commands. Delete the line.",
    ".csparam": "Values for a control block have no use here, and such a block may not run. Delete the line.",
    ".temp": "ngspice loses .temp when it flattens a circuit. Write .options temp=… instead.",
    ".include": "A file cannot be read in from here: only a netlist file of a unit may include another.",
}
_REFUSED |= dict.fromkeys((".inc", ".lib", ".endl"), _REFUSED[".include"])

_MODELS = {
    "r", "res", "c", "cap", "l", "ind", "d", "npn", "pnp", "njf", "pjf", "nmos", "pmos", "nmf", "pmf", "vdmos",
    "sw", "csw", "urc", "ltra", "txl", "cpl",
}  # fmt: skip

#: Options that change how a circuit is solved. Any other may print, write or switch a reader of commands.
_OPTIONS = {
    "abstol", "reltol", "vntol", "chgtol", "trtol", "gmin", "gminsteps", "srcsteps", "itl1", "itl2", "itl3", "itl4",
    "itl5", "itl6", "pivtol", "pivrel", "method", "maxord", "temp", "tnom", "rshunt", "rseries", "cshunt", "scale",
    "defl", "defw", "defad", "defas", "keepopinfo", "noopiter", "noopac", "noinit", "xmu", "ramptime", "gear", "trap",
}  # fmt: skip


def refusal(text: str) -> str:
    """Say why a dot line may not be run; empty if it may.

    Parameters
    ----------
    text : str
        A cleaned line that starts with a dot.
    """
    word = text.split()[0].lower()
    if word in _REFUSED:
        return _REFUSED[word]
    if word == ".model":
        return _model(text)
    if word == ".subckt" and len(text.split()) < 2:
        return "A .subckt line needs a name and its nodes. Example: .subckt receiver in cold out vp vn."
    if word in (".options", ".option", ".opt"):
        names = re.findall(r"([A-Za-z_]\w*)\s*(?:=\s*[\w.+\-]+)?", text[len(word) :])
        strange = [name for name in names if name.lower() not in _OPTIONS]
        if strange:
            return f"The option {strange[0]} is not one that a unit may set. {nearest(strange[0], _OPTIONS)}".strip()
        return ""
    if word in KEPT or word in LEFT_OUT:
        return ""
    return f"{word} is no line that a unit's netlist may hold. {nearest(word, KEPT | LEFT_OUT)}".strip()


def _model(text: str) -> str:
    words = re.split(r"[\s(]+", text)
    if len(words) < 3:
        return "A .model line needs a name and a type."
    if words[2].lower() not in _MODELS:
        return (
            f"{words[2]} is no type of model that a unit may use: code models can read and write files. "
            f"{nearest(words[2], _MODELS)}"
        ).strip()
    return ""
