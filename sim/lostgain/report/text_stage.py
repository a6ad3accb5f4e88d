"""A stage of the library in words, for the terminal: by itself, or as a unit uses it."""

from __future__ import annotations

from collections.abc import Iterable

from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.unit.channels import called
from lostgain.unit.facts import Example, Role, Shown, StageFacts
from lostgain.unit.kinds import kinds
from lostgain.unit.library import devices
from lostgain.unit.placed_stage import PlacedStage
from lostgain.unit.summary import tolerance_shown, value_shown

#: What stands in for a part that is not fitted.
_ABSENT = {"short": "may be left out: a wire then", "open": "may be left out"}


def stages_text(stages: Iterable[StageFacts]) -> str:
    """Return the list of the library's stages."""
    rows = [(facts.name, facts.title) for facts in stages]
    return joined([[*section("Stages of the library"), *table(rows)],
                   wrapped("lostgain stage NAME says more about one; --png FILE draws it.")])  # fmt: skip


def stage_text(facts: StageFacts, placed: PlacedStage | None = None) -> str:
    """Return what a stage is for, its parts, its nodes, the parts that fail together, and its worked example.

    Parameters
    ----------
    facts : StageFacts
    placed : PlacedStage or None
        A unit's use of it: then with its designators, values and test points, and without the example.
    """
    return joined(
        [
            _head(facts, placed),
            _ports(facts, placed),
            _roles(facts) if placed is None else _parts(facts, placed),
            _classes(facts) if placed is None else [],
            _nodes(facts, placed),
            _clusters(facts, placed),
            _example(facts.example) if placed is None and facts.example else [],
        ]
    )


def _head(facts: StageFacts, placed: PlacedStage | None) -> list[str]:
    title = f"{facts.title} ({facts.name})"
    lines = []
    if placed is not None:
        which = f", {placed.channel.name}" if len(placed.unit.channels) > 1 else ""
        title = f"{placed.stage.name}{which}: {title}"
        lines = wrapped(placed.unit.title + (", an invented example" if placed.unit.invented else ""))
    gain = wrapped(f"Gain: {facts.gain}", "  ", "") if facts.gain else []
    return [*section(title), *lines, *wrapped(facts.purpose), *gain]


def _ports(facts: StageFacts, placed: PlacedStage | None) -> list[str]:
    said = []
    for port in facts.ports:
        text = f"{port} ({facts.rails[port]} rail)" if port in facts.rails else port
        if placed is not None and port in placed.stage.rails:
            rail = placed.stage.rails[port]
            text = f"{port} on {'ground' if rail == '0' else rail}"
        said.append(text)
    return wrapped(f"Ports, besides ground: {', '.join(said)}", "  ", "")


def _roles(facts: StageFacts) -> list[str]:
    rows = [(role.name, role.kind, _does(role)) for role in facts.roles.values()]
    return [
        *section("Parts, by role"),
        *table(rows, head=["Role", "Kind", "What it does, and what shows when it fails"]),
    ]


def _classes(facts: StageFacts) -> list[str]:
    """Return the device classes there are for the stage's roles, to be written behind the designator."""
    known = devices()
    rows = []
    for asked in dict.fromkeys(role.kind for role in facts.roles.values()):
        fitting = [each for each in known if asked in (each.kind, kinds()[each.kind].family)]
        names = [each.name for each in fitting if kinds()[each.kind].device]
        if names:
            rows.append((asked, ", ".join(names)))
    return [*section("Device classes, written behind the designator"), *table(rows)] if rows else []


def _does(role: Role) -> str:
    return f"{role.does} ({_ABSENT[role.absent]})" if role.absent else role.does


def _parts(facts: StageFacts, placed: PlacedStage) -> list[str]:
    rows = []
    for role in facts.roles.values():
        part = placed.parts.get(role.name)
        if part is None:
            rows.append(("—", role.name, "not fitted", role.does))
            continue
        value = " ".join(each for each in (value_shown(part), tolerance_shown(part)) if each)
        rows.append((placed.channel.called(part.designator), role.name, value or part.kind, role.does))
    head = ["Part", "Role", "Value", "What it does, and what shows when it fails"]
    return [*section("Parts"), *table(rows, head=head)]


def _nodes(facts: StageFacts, placed: PlacedStage | None) -> list[str]:
    if placed is None:
        return [*section("Nodes worth a probe"), *table(list(facts.nodes.items()))]
    rows = []
    for node, about in facts.nodes.items():
        if point := placed.points.get(node):
            away = "" if point.reach else " (out of reach)"
            rows.append((called(placed.channel, point.name) + away, node, about))
    return [*section("Test points"), *table(rows, head=["Test point", "Node", "What is seen there"])] if rows else []


def _clusters(facts: StageFacts, placed: PlacedStage | None) -> list[str]:
    lines = []
    for cluster in facts.clusters:
        members = ", ".join(cluster.members)
        if placed is not None:
            parts = placed.parts
            named = [(*member.split(" ", 1),) for member in cluster.members]
            members = ", ".join(f"{placed.channel.called(parts[role].designator) if role in parts else role} {mode}"
                                for role, mode in named)  # fmt: skip
        lines += wrapped(f"{cluster.name}: {cluster.says} ({members})", "    ", "  ")
    return [*section("Parts that fail together"), *lines] if lines else []


def _example(example: Example) -> list[str]:
    lines = [*section("Worked example"), *wrapped(example.says)]
    parts = [f"{role} = {text}".replace(" ", "\N{NO-BREAK SPACE}") for role, text in example.parts.items()]
    given = [f"{port} {volts}" for port, volts in example.rails.items()]
    given += [f"{key} {_setting(value)}" for key, value in example.setup.items()]
    lines += [line.replace("\N{NO-BREAK SPACE}", " ") for line in wrapped(", ".join(parts), "    ", "  ")]
    lines += wrapped(", ".join(given), "    ", "  ") if given else []
    rows = [(_what(shown), _value(shown), shown.says) for shown in example.shows]
    return [*lines, *table(rows, head=["It shows", "Value", "From"]), *wrapped(f"Source: {example.source}", "  ", "")]


def _setting(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{key} {each}" for key, each in value.items())
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _what(shown: Shown) -> str:
    where = f" at {shown.at}" if shown.at != "out" else ""
    start = f" from {shown.against}" if shown.against != "in" else ""
    return f"{shown.quantity}{start}{where}" + (f", {shown.frequency}" if shown.frequency else "")


def _value(shown: Shown) -> str:
    if shown.value:
        return f"{shown.value} ± {shown.within}"
    bounds = [
        f"at least {shown.at_least}" if shown.at_least else "",
        f"at most {shown.at_most}" if shown.at_most else "",
    ]
    return ", ".join(each for each in bounds if each)
