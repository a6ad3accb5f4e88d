"""A small unit of two channels with one transistor each, for tests: its unit file's text. Invented."""

from __future__ import annotations


def common_emitter(title: str, rail: str, setup: str, parts: str, points: str) -> str:
    """Return the text of a unit.

    Parameters
    ----------
    title : str
    rail : str
        What VP is, as TOML: ``"+15 V"`` in its quotes, or a table.
    setup, parts, points : str
        Lines of ``[setup]``, of the stage's roles and of its test points.
    """
    return (
        f'[unit]\ntitle = "{title}"\ninvented = true\n'
        '[[channel]]\nname = "Left"\n[[channel]]\nname = "Right"\nadd = 100\n'
        f"[rails]\nVP = {rail}\n[setup]\n{setup}"
        f'[[stage]]\nname = "Gain"\nuse = "common-emitter"\n{parts}[stage.points]\n{points}'
    )
