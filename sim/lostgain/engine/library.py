"""Where ngspice's shared library is, and what to type where it is missing."""

from __future__ import annotations

import ctypes
import ctypes.util
import functools
import os
import sys
from pathlib import Path

from lostgain.problems import UserError

#: Oldest ngspice whose results this package relies on.
OLDEST = 36

#: What to type where the library is missing, one line a system.
INSTALL = {
    "Debian/Ubuntu": "sudo apt install libngspice0",
    "Fedora": "sudo dnf install libngspice",
    "macOS": "brew install libngspice",
    "Windows": "pyspice-post-installation --install-ngspice-dll",
}

_NAMES = {
    "linux": ("libngspice.so.0", "libngspice.so"),
    "darwin": ("libngspice.0.dylib", "libngspice.dylib"),
    "win32": ("ngspice.dll", "libngspice-0.dll"),
}

_FOLDERS = {
    "linux": ("/usr/lib", "/usr/lib64", "/usr/local/lib", "/usr/local/lib64"),
    "darwin": ("/opt/homebrew/lib", "/usr/local/lib", "/opt/local/lib"),
    "win32": ("C:/Spice64_dll/dll-vs", "C:/Spice64/bin", "C:/Program Files/ngspice/bin"),
}


def install_lines() -> str:
    """Return the line to type for each system, one a line, indented."""
    width = max(len(system) for system in INSTALL) + 1
    return "\n".join(f"  {system + ':':<{width}} {line}" for system, line in INSTALL.items())


def _system() -> str:
    return "linux" if sys.platform.startswith("linux") else sys.platform


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name)
    except OSError:
        return False
    return True


def _candidates() -> list[str]:
    """Return file names worth trying, the likeliest first."""
    system = _system()
    names = _NAMES.get(system, ("libngspice.so",))
    found: list[str] = []
    known = ctypes.util.find_library("ngspice")
    if known:
        found.append(known)
    if system == "win32":  # where PySpice's own installer puts it
        import PySpice

        found.append(str(Path(PySpice.__file__).parent / "Spice/NgSpice/Spice64_dll/dll-vs/ngspice.dll"))
    found += names  # as the system's loader finds them
    folders = [Path(sys.prefix) / "lib", *map(Path, _FOLDERS.get(system, ()))]
    found += [str(folder / name) for folder in folders for name in names if (folder / name).exists()]
    return found


@functools.cache
def find() -> str:
    """Return the name by which ngspice's library can be loaded.

    ``NGSPICE_LIBRARY_PATH``, if set, is taken and nothing else is tried: who sets it means it.

    Returns
    -------
    str
        A path, or a bare name that the system's loader resolves.

    Raises
    ------
    UserError
        With the line to type for each system.
    """
    told = os.environ.get("NGSPICE_LIBRARY_PATH")
    if told:
        if _loads(told):
            return told
        raise UserError(
            f"ngspice's library could not be loaded from {told}, which NGSPICE_LIBRARY_PATH names. "
            f"Unset it, or install the library:\n{install_lines()}"
        )
    for name in _candidates():
        if _loads(name):
            return name
    raise UserError(f"ngspice's library is not installed. Type one line:\n{install_lines()}")


def check_version(version: int) -> None:
    """Raise if this ngspice is too old.

    Parameters
    ----------
    version : int
        ngspice's main version number.

    Raises
    ------
    UserError
        Below `OLDEST`, with the line to type.
    """
    if version < OLDEST:
        raise UserError(
            f"ngspice {version} is installed; lostgain needs version {OLDEST} or newer. Install a newer one:\n"
            f"{install_lines()}"
        )
