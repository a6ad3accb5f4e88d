"""PySpice's binding to ngspice's shared library, made quiet, and started where no initialisation file can run."""

from __future__ import annotations

import contextlib
import functools
import logging
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from lostgain.engine import library
from lostgain.problems import UserError

logging.getLogger("PySpice").setLevel(logging.CRITICAL + 1)  # it calls every ngspice after 34 unsupported

from PySpice.Spice.NgSpice import Shared as _pyspice  # noqa: E402

ffi: Any = _pyspice.ffi

#: Lines kept of what ngspice prints, the newest; a circuit that never converges prints without end.
MOST_LINES = 2000

#: ngspice keeps every command; twice as slow after some 2,500. Its memory is released this often.
COMMANDS_KEPT = 300

#: Variables by which ngspice finds a user's initialisation file.
_HOMES = ("HOME", "USERPROFILE", "SPICE_USERINIT_DIR")


class Binding(_pyspice.NgSpiceShared):  # type: ignore[misc]
    """The one ngspice of this process.

    Attributes
    ----------
    printed : list of str
        What ngspice printed since it was last cleared, without the prefix that names the stream.
    complained : bool
        Whether any of it went to stderr. A hint to look closer, never a verdict.
    finished : bool
        True once ngspice said that it cannot recover: this process can simulate no more.
    """

    def __init__(self) -> None:
        self.printed: list[str] = []
        self.complained = False
        self.finished = False
        self.interrupted = False
        self._commands = 0
        self.owner: object | None = None
        super().__init__()

    @staticmethod
    def _send_char(message: Any, _id: int, user: Any) -> int:
        self = ffi.from_handle(user)
        try:
            stream, _, text = ffi.string(message).decode("utf-8", "replace").partition(" ")
            self._stdout.append(text)
            if stream == "stderr":
                self.complained = True
            if "cannot recover" in text:
                self.finished = True
            self.printed.append(text)
            if len(self.printed) > MOST_LINES:
                del self.printed[: MOST_LINES // 2]
        except KeyboardInterrupt:  # an exception cannot cross C; `command` raises it again
            self.interrupted = True
        return 0

    @staticmethod
    def _send_stat(_message: Any, _id: int, _user: Any) -> int:
        return 0

    @staticmethod
    def _exit(_status: int, _unload: bool, _quits: bool, _id: int, user: Any) -> int:
        ffi.from_handle(user).finished = True
        return 0

    def clear(self) -> None:
        """Forget what ngspice printed."""
        self.printed.clear()
        self._stdout.clear()
        self.complained = False

    def command(self, text: str) -> None:
        """Give ngspice one command. The caller has checked every word of it.

        Raises
        ------
        KeyboardInterrupt
            If Ctrl-C was pressed while ngspice ran; PySpice would have swallowed it.
        """
        self._commands += 1
        if self._commands >= COMMANDS_KEPT:
            self._commands = 0
            self._ngspice_shared.ngSpice_Command(ffi.NULL)
        self._stdout.clear()  # PySpice's own list, which `version` and `listing` read
        self._ngspice_shared.ngSpice_Command(text.encode("utf-8"))
        if self.interrupted:
            self.interrupted = False
            raise KeyboardInterrupt

    def circuit(self, lines: list[str]) -> None:
        """Hand a circuit over; whether ngspice took it shows only afterwards."""
        text = [ffi.new("char[]", line.encode("utf-8")) for line in lines]
        self._ngspice_shared.ngSpice_Circ(ffi.new("char *[]", [*text, ffi.NULL]))

    def newest(self) -> str:
        """Return the name of the newest plot: ``op3``, or ``const`` where there is none."""
        return str(ffi.string(self._ngspice_shared.ngSpice_CurPlot()).decode("utf-8", "replace"))

    def vectors(self, plot: str) -> list[str]:
        """Return the names of all vectors of a plot."""
        names = self._ngspice_shared.ngSpice_AllVecs(plot.encode("utf-8"))
        found: list[str] = []
        while names[len(found)] != ffi.NULL:
            found.append(ffi.string(names[len(found)]).decode("utf-8", "replace"))
        return found

    def vector(self, name: bytes) -> Any:
        """Return ngspice's record of one vector, or NULL."""
        return self._ngspice_shared.ngGet_Vec_Info(name)


@contextlib.contextmanager
def _without_init_file() -> Iterator[None]:
    """Stand in an empty folder of our own that holds an empty ``.spiceinit``.

    ngspice runs the first initialisation file it finds, looking in the working folder before the home that the
    user database names. An empty one in the first place is the only way to keep it from any other; 39 has no call to
    switch it off.
    """
    before = Path.cwd()
    homes = {name: os.environ.get(name) for name in _HOMES}
    with tempfile.TemporaryDirectory(prefix="lostgain-") as folder:
        for name in (".spiceinit", "spice.rc"):
            (Path(folder) / name).write_text("* empty on purpose\n")
        os.environ.update(dict.fromkeys(_HOMES, folder))
        os.chdir(folder)
        try:
            yield
        finally:
            os.chdir(before)
            for name, value in homes.items():
                if value is None:
                    del os.environ[name]
                else:
                    os.environ[name] = value


@functools.cache
def binding() -> Binding:
    """Return the ngspice of this process, started at the first call.

    Raises
    ------
    UserError
        If the library is missing or too old.
    """
    path = library.find()
    _pyspice.NgSpiceShared.LIBRARY_PATH = path.replace("{", "{{").replace("}", "}}")
    os.environ.setdefault("SPICE_LIB_DIR", str(Path(path).resolve().parent.parent / "share" / "ngspice"))
    with _without_init_file():
        started = Binding()
    if started.ngspice_version is None:
        raise UserError(
            f"{path} does not say which version of ngspice it is. Install one of:\n{library.install_lines()}"
        )
    library.check_version(started.ngspice_version)
    return started
