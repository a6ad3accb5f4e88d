"""Roles of a library stage filled with parts: ``RF = "R14 22k 1%"``."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from lostgain.problems import nearest
from lostgain.unit import library
from lostgain.unit.draft import Draft
from lostgain.unit.kinds import kinds
from lostgain.unit.library import Role, StageFacts
from lostgain.unit.parttext import PartFault, PartText, read_part
from lostgain.unit.source import Table

#: How a part of each family is written, for messages.
_EXAMPLES = {
    "resistor": "R14 22k 1%", "capacitor": "C9 47u 16V", "inductor": "L1 10mH", "potentiometer": "RV1 10k log",
    "opamp": "U2A opamp-jfet", "npn": "Q3 npn-small", "pnp": "Q4 pnp-small", "contact": "J1", "mute": "K1 mute",
    "photocell": "PC1 photocell-led", "triode": "V1A triode-12ax7", "pentode": "V2 pentode-el84",
    "transformer": "T1 25:1 transformer_output_se", "regulator": "U3 15V regulator_positive",
}  # fmt: skip


def read_roles(table: Table, facts: StageFacts, stage: str, draft: Draft, own_keys: Iterable[str]) -> None:
    """Read the parts of a library stage, and add them to the draft.

    Parameters
    ----------
    table : Table
        The ``[[stage]]``; its own keys must have been taken.
    facts : StageFacts
    stage : str
        Its name.
    draft : Draft
    own_keys : iterable of str
        Keys of a ``[[stage]]`` that are no roles, for the nearest spelling.
    """
    filled: dict[str, str] = {}
    misspelt: set[str] = set()
    for key in table.rest():
        table.taken.add(key)
        role = facts.roles.get(key) or facts.roles.get(key.upper())
        if role is None:
            sort = "role" if key[:1].isupper() else "key or role"
            guess = _guess(key, facts, own_keys)
            table.wrong(key, f"{facts.name} has no {sort} “{key}”.", guess)
            misspelt.update(re.findall(r"\w+", guess) if guess.startswith("Did you mean") else ())
            draft.unread.update(str(table.data[key]).upper().split()[:1])
        elif role.name in filled:
            table.wrong(key, f"the role {role.name} is filled twice, as {filled[role.name]} and {key}.")
        else:
            filled[role.name] = key
            _fill(table, key, role, stage, draft)
    _name_as_on_the_board(stage, draft)
    missing = [role for role in facts.roles.values() if not role.absent and role.name not in filled]
    missing = [role for role in missing if role.name not in misspelt]
    for role in missing:
        family = kinds()[role.kind].family if role.kind in kinds() else role.kind
        example = _EXAMPLES.get(family, "R1")
        does = role.does.split(":")[0].split(";")[0]
        table.wrong(None, f"{facts.name} needs {role.name} ({does}), for example {role.name} = “{example}”.")


def _guess(key: str, facts: StageFacts, own_keys: Iterable[str]) -> str:
    """Return the nearest role, or own key for a word in lower case, or the roles there are."""
    guess = nearest(key, facts.roles if key[:1].isupper() else {*facts.roles, *own_keys})
    return guess or f"Its roles: {', '.join(facts.roles)}."


def _name_as_on_the_board(stage: str, draft: Draft) -> None:
    """Put designators for the roles that what a part does speaks of: “with R1” is the stage's R1, not the board's.

    Roles of one letter stay: a V is a volt too.
    """
    mine = {part.role: name for name, part in draft.parts.items() if part.stage == stage and len(part.role) > 1}
    word = re.compile(rf"(?<![\w.])(?:{'|'.join(map(re.escape, mine))})(?!\w)") if mine else None
    for name in mine.values():
        part = draft.parts[name]
        if word is not None and (does := word.sub(lambda found: mine[found[0]], part.does)) != part.does:
            draft.parts[name] = replace(part, does=does)


def _fill(table: Table, key: str, role: Role, stage: str, draft: Draft) -> None:
    """Read one part, and add it to the draft."""
    example = _EXAMPLES.get(role.kind, "R14 22k 1%")
    text = table.get(key, str, f"a part in quotes, for example {key} = “{example}”")
    if text is None:
        return
    try:
        said = read_part(text, role.kind)
        value, device = _defaults(said, role)
    except PartFault as fault:
        table.wrong(key, f"{key}: {fault.message}", fault.meant)
        draft.unread.update(text.upper().split()[:1])
        return
    pins = library.device(device).pins if device else kinds()[said.kind].pins
    draft.add(draft.make(said, stage, role.name, table.where(key), role.does, value, device, pins))


def _defaults(said: PartText, role: Role) -> tuple[float | None, str | None]:
    """Return value and device class of a part, from the role where its text has none.

    Raises
    ------
    PartFault
        If neither has what its kind needs.
    """
    kind = kinds()[said.kind]
    value, device = said.value, said.device
    if isinstance(role.value, str):
        device = device or role.value
    elif value is None:
        value = role.value
    if kind.unit and value is None:
        raise PartFault(f"{said.designator} needs its value, for example “{_EXAMPLES.get(kind.family, 'R14 22k')}”.")
    if kind.device and device is None:
        fitting = [name for name in library.device_names() if library.device(name).kind == kind.name]
        raise PartFault(
            f"{said.designator} needs its device class, the kind of {kind.name} it is.",
            f"One of: {', '.join(fitting)}." if fitting else "",
        )
    return value, device
