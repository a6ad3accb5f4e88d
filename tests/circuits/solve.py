"""Stages by simple text substitution, straight into ngspice: the data is tested without the package's composer."""

from __future__ import annotations

import contextlib
import functools
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from lostgain.engine.binding import binding

CIRCUITS = Path(__file__).parents[2] / "circuits"


@functools.cache
def facts(folder: str, name: str) -> dict[str, Any]:
    """Return the facts of a stage (folder ``stages``) or a device class (``models``)."""
    return tomllib.loads((CIRCUITS / folder / f"{name}.toml").read_text())


def model(name: str) -> list[str]:
    """Return the text of a device class, line by line."""
    return (CIRCUITS / "models" / f"{name}.lib").read_text().splitlines()


def body(name: str) -> list[str]:
    """Return a stage's elements, line by line, without its ``.subckt`` and ``.ends`` lines and comments."""
    lines = (CIRCUITS / "stages" / f"{name}.cir").read_text().splitlines()
    return [line for line in lines if line and line[0] not in ".+*"]


def stage(name: str, parts: dict[str, float | str]) -> list[str]:
    """Return one stage's subcircuit and the device classes it needs.

    Parameters
    ----------
    name : str
        A stage in ``circuits/stages``.
    parts : dict
        Role to value (SI), or to the name of a device class, with its parameters if it has any. An optional role
        that is missing is a wire of 1 mohm or left out, as its facts say.
    """
    ports = " ".join(facts("stages", name)["ports"])
    lines = [f".subckt {name} {ports}", *body(name), ".ends"]
    classes = set()
    for role, about in facts("stages", name)["roles"].items():
        value = parts.get(role, about.get("value"))
        if isinstance(value, str):
            lines = [
                line.replace(f"m_{role.lower()}", value) if line.endswith(f"m_{role.lower()}") else line
                for line in lines
            ]
            classes.add(value.split()[0])
        elif value is not None:
            lines = [line.replace("{" + role + "}", f"{value:.9g}") for line in lines]
        elif about.get("absent") == "short":
            lines = [
                f"Rwire{line.split()[0]} {' '.join(line.split()[1:3])} 1m" if _is_of(role, line) else line
                for line in lines
            ]
        elif about.get("absent") == "open":
            lines = [line for line in lines if not _is_of(role, line)]
        else:
            raise KeyError(f"{name} needs a part for {role}")
    return lines + [line for name in sorted(classes) for line in model(name)]


def _is_of(role: str, line: str) -> bool:
    """Tell whether an element line is a role's."""
    return line.split()[-1] in ("{" + role + "}", f"m_{role.lower()}")


def _ngspice() -> Any:
    """Return the one ngspice there can be in a process: the package's, whose sessions then load anew."""
    ng = binding()
    ng.owner = None
    return ng


def run(lines: list[str], *commands: str, said: list[str] | None = None) -> dict[str, np.ndarray]:
    """Load a circuit, run the commands (``op``, ``ac …``, ``tran …``) and return the last one's vectors by name.

    What ngspice printed meanwhile is added to `said`, if given.

    Raises
    ------
    RuntimeError
        If the analysis gave no result of its own.
    """
    from PySpice.Spice.NgSpice.Shared import NgSpiceCommandError

    ng = _ngspice()
    ng.destroy("all")
    ng.load_circuit("\n".join(["test", *lines, ".end"]))
    try:
        for command in commands:
            with contextlib.suppress(NgSpiceCommandError):  # raised for harmless remarks too: judged by the result
                ng.exec_command(command)
            if said is not None:
                said += [*ng._stdout, *ng._stderr]
        plots = [plot for plot in ng.plot_names if plot != "const"]
        if not plots:
            raise RuntimeError(f"no result from {commands[-1]}")
        return {name: vector._data for name, vector in ng.plot(None, plots[0]).items()}
    finally:
        ng.destroy("all")
        ng.remove_circuit()


def powered(
    name: str,
    parts: dict[str, float | str],
    source: str,
    load: float = 10e3,
    volts: float | Mapping[str, float] = 15.0,
) -> list[str]:
    """Return a stage between a source (``dc 0 ac 1`` or such) and a load [ohm], on rails of ± volts or their own."""
    known = facts("stages", name)
    each = volts if isinstance(volts, Mapping) else {"vp": volts, "vn": -volts}
    return [
        *stage(name, parts),
        f"Vin in 0 {source}",
        f"Rload out {known.get('cold', '0')} {load:g}",
        *(f"V{port.removeprefix('v')} {port} 0 {value:g}" for port, value in each.items()),
        *(f"Rground{port} {port} 0 1" for port in known.get("inputs", {})),
        f"Xs {' '.join(known['ports'])} {name}",
    ]
