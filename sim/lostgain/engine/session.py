"""A session: one circuit in ngspice, and its analyses."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lostgain.engine.binding import Binding, binding, ffi
from lostgain.engine.errors import CircuitRefused, RunFailed
from lostgain.engine.values import safe_number
from lostgain.engine.vectors import copied, even_runs, why
from lostgain.problems import nearest

_VOLTAGE, _CURRENT = (
    3,
    4,
)  # ngspice's SV_VOLTAGE and SV_CURRENT; the constants, among which a missing name is looked up too, have 0
_LISTED = re.compile(r"\s*\d+ : (.*)")
_LIKE_A_VALUE = re.compile(r"\d+(\.\d*)?(e[+-]?\d+|meg|[tgkmunpf])\w*", re.ASCII)
_COMMANDS = re.compile(r"[`\r\n\0]|^\s*\.(control|exec|inc|lib)|^\s*\*(#|ng_script)", re.IGNORECASE)
_GROUND = {"0", "gnd"}
#: What a current through an inductor or a source is called, where nodes are asked for: ``l1#branch``.
BRANCH = "#branch"
_ALL = {"all", "allv", "alli", "ally"}  # ngspice takes these for many vectors
_PLAIN = re.compile(r"[a-z0-9_.+\-#:/]+", re.ASCII)
_ALTERED = re.compile(r"@?[a-z][a-z0-9_.:#]*(\[[a-z]+\])?", re.ASCII | re.IGNORECASE)
_WRITTEN = re.compile(r"v\((.*)\)", re.IGNORECASE)

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]


class Session:
    """One circuit in the ngspice of this process.

    ngspice's library holds one state for the whole process. Several sessions may exist; each loads its circuit again
    when another was at work in between.

    Attributes
    ----------
    said : list of str
        What ngspice printed since the last `load`.
    version : int
        ngspice's main version number.
    """

    def __init__(self) -> None:
        self._spice: Binding = binding()
        self._lines: list[str] = []
        self._nodes: list[str] | None = None
        self._branches: list[str] = []

    @property
    def version(self) -> int:
        """Main version number."""
        return int(self._spice.ngspice_version)

    @property
    def said(self) -> list[str]:
        """What ngspice printed since the last `load`."""
        return list(self._spice.printed)

    @property
    def dead(self) -> bool:
        """True once ngspice cannot recover; only another process can go on."""
        return self._spice.finished

    def load(self, lines: Sequence[str]) -> None:
        """Load a circuit in place of the one before.

        Parameters
        ----------
        lines : sequence of str
            Netlist text that `guard.refuse` has let through. All of it counts: there is no title line, and ``.end``
            is added where it is missing.

        Raises
        ------
        CircuitRefused
            If ngspice does not take it.
        """
        spice = self._spice
        self._alive()
        for line in lines:  # a second lock behind `guard`: text reaches this place by many ways
            if _COMMANDS.search(line):
                raise CircuitRefused(f"a line could make ngspice run or read something: {line[:60]!r}")
        if spice.owner is not None:
            spice.command("remcirc")
        spice.owner = self
        self._nodes = None
        self._lines = [line for line in lines if line.strip() and line.strip().lower() != ".end"]
        spice.clear()
        spice.circuit(["* lostgain", *self._lines, ".end", ""])
        if spice.finished:
            raise CircuitRefused(why(spice.printed, "ngspice refused the circuit"), spice.printed)
        if spice.complained and not self._listed():
            spice.owner = None
            raise CircuitRefused(why(spice.printed, "ngspice refused the circuit"), spice.printed)

    def change(self, values: Mapping[str, float], parameters: Mapping[tuple[str, str], float]) -> None:
        """Change numbers of the circuit that is loaded, which takes a tenth of the time of loading it anew.

        Parameters
        ----------
        values : mapping
            Element name to value (SI): ohms, farads, henries, or the DC volts of a source; or a parameter of an
            element, ``@vgen[acmag]``.
        parameters : mapping
            ``(model, parameter)`` to value.

        Raises
        ------
        ValueError
            If a name has signs in it that a command would take for arithmetic, or a value is no finite number.
        """
        self._own()
        for name in (*values, *(word for pair in parameters for word in pair)):
            if not _ALTERED.fullmatch(name):
                raise ValueError(f"{name!r} cannot be named in a command")
        self._lines = []  # another session's circuit in between would undo this one's changes
        for name, value in values.items():
            self._spice.command(f"alter {name} = {safe_number(value)}")
        for (model, parameter), value in parameters.items():
            self._spice.command(f"altermod {model} {parameter} = {safe_number(value)}")

    def listing(self) -> list[str]:
        """Return the flat circuit as ngspice prints it: subcircuits expanded, parameters evaluated.

        Returns
        -------
        list of str
            Element and model lines and dot lines, without the title and ``.end``, in lower case, with hierarchical
            names (``r.xa.rfb outa xa.fb 22k``).

        Raises
        ------
        CircuitRefused
            If a line reached 4,095 characters, where ngspice cuts in silence.
        """
        self._own()
        lines = self._listed()
        for line in lines:
            if len(line) >= 4095:
                raise CircuitRefused(
                    f"a line of the circuit is too long for ngspice to print: {line[:60]} …", self.said
                )
        return lines

    def nodes(self) -> list[str]:
        """Return the names of all nodes of the flat circuit but ground, in lower case.

        Raises
        ------
        CircuitRefused
            If a node's name is empty or looks like a value: an element lacks a node.
        """
        self._own()
        if self._nodes is None:
            self._run("op")
            self._finish()
        assert self._nodes is not None
        return list(self._nodes)

    def op(self, nodes: Sequence[str]) -> Values:
        """Find the operating point.

        Parameters
        ----------
        nodes : sequence of str
            Node ``0``, or ``gnd``, reads 0. ``l1#branch`` is the current through an inductor or a source [A].

        Returns
        -------
        array, (node,) [V]

        Raises
        ------
        RunFailed
            If there is none, or it is not finite.
        CircuitRefused
            If there is no such node.
        """
        plot = self._run("op")
        try:
            return self._fetch(plot, nodes, 1)[:, 0]
        finally:
            self._finish()

    def ac(self, frequencies: Sequence[float], nodes: Sequence[str]) -> Complex:
        """Find the small-signal response at given frequencies.

        Parameters
        ----------
        frequencies : sequence of float
            [Hz], in any order.
        nodes : sequence of str

        Returns
        -------
        complex array, (node, frequency) [V for the circuit's ``ac`` sources]

        Raises
        ------
        RunFailed, CircuitRefused
            As for `op`.
        """
        wanted = np.asarray(frequencies, dtype=float)
        if wanted.ndim != 1 or not wanted.size or not np.all(np.isfinite(wanted)) or np.any(wanted <= 0):
            raise ValueError("frequencies must be positive numbers, one or more")
        result = np.empty((len(nodes), wanted.size), dtype=complex)
        for run in even_runs(wanted):
            first, last = float(wanted[run[0]]), float(wanted[run[-1]])
            points, each = (3, 2) if len(run) == 2 else (len(run), 1)  # ngspice runs only the first of two points
            plot = self._run(f"ac lin {points} {first!r} {last!r}", "ac", nodes)
            try:
                ran = self._scale(plot, "frequency").real[::each]
                if ran.size != len(run) or not np.allclose(ran, wanted[run], rtol=1e-9, atol=0):
                    raise RunFailed("ngspice did not run at the frequencies asked for", self.said)
                result[:, run] = self._fetch(plot, nodes, points, dtype=complex)[:, ::each]
            finally:
                self._finish()
        return result

    def sweep(self, start: float, stop: float, per_decade: int, nodes: Sequence[str]) -> tuple[Values, Complex]:
        """Find the small-signal response over a band, evenly spaced in decades.

        Parameters
        ----------
        start, stop : float
            [Hz]
        per_decade : int
            Points per decade.
        nodes : sequence of str

        Returns
        -------
        frequencies : array, (frequency,) [Hz]
        values : complex array, (node, frequency) [V]

        Raises
        ------
        RunFailed, CircuitRefused
            As for `op`.
        """
        if not 0 < start < stop or not math.isfinite(stop) or per_decade < 1:
            raise ValueError("a sweep needs 0 < start < stop and at least one point per decade")
        plot = self._run(f"ac dec {int(per_decade)} {float(start)!r} {float(stop)!r}", "ac", nodes)
        try:
            frequencies = np.ascontiguousarray(self._scale(plot, "frequency").real)
            if not frequencies.size or frequencies[-1] < stop / 10 ** (1.001 / per_decade):
                raise RunFailed("the response stops short of the last frequency", self.said)
            return frequencies, self._fetch(plot, nodes, frequencies.size, dtype=complex)
        finally:
            self._finish()

    def tran(
        self,
        stop: float,
        max_step: float,
        nodes: Sequence[str],
        start: float = 0.0,
        *,
        from_initial: bool = False,
        most_points: int = 0,
    ) -> tuple[Values, Values]:
        """Follow the circuit in time, from its operating point at 0.

        Parameters
        ----------
        stop : float
            [s]
        max_step : float
            Longest step the solver may take [s].
        nodes : sequence of str
        start : float
            Values before are computed and not kept [s].
        from_initial : bool
            Start from the voltages of the circuit's ``.ic`` lines instead.
        most_points : int
            Give up after so many steps: a circuit that oscillates takes millions. 0 for no end.

        Returns
        -------
        time : array, (n,) [s]
            Not evenly spaced.
        values : array, (node, n) [V]

        Raises
        ------
        RunFailed
            If it did not reach `stop`, or a value is not finite.
        CircuitRefused
            If there is no such node.
        """
        if not 0 <= start < stop or not math.isfinite(stop) or not 0 < max_step <= stop:
            raise ValueError("a transient needs 0 <= start < stop and 0 < max_step <= stop")
        command = f"tran {float(max_step)!r} {float(stop)!r} {float(start)!r} {float(max_step)!r}"
        plot = self._run(f"{command} uic" if from_initial else command, "tran", nodes, most_points)
        try:
            time = self._scale(plot, "time")
            reached = float(time[-1]) if time.size else 0.0
            if reached < stop * (1 - 1e-9):
                raise RunFailed(why(self.said, f"the transient stopped at {reached:.4g} s of {stop:.4g} s"), self.said)
            return time, self._fetch(plot, nodes, time.size)
        finally:
            self._finish()

    # What follows is common to all analyses.

    def _alive(self) -> None:
        if self._spice.finished:
            raise RunFailed("this ngspice process is finished; another must go on", self.said)

    def _own(self) -> None:
        """Make sure that ngspice holds this session's circuit."""
        self._alive()
        if self._spice.owner is not self:
            if not self._lines:
                raise RunFailed("no circuit is loaded", [])
            self.load(self._lines)

    def _listed(self) -> list[str]:
        spice = self._spice
        kept = list(spice.printed)
        spice.command("listing expand")
        found = [match[1] for line in spice._stdout if (match := _LISTED.match(line))]
        spice.printed[:] = kept  # the listing is an answer, not something said about the circuit
        return [line for line in found if line != ".end"]

    def _run(self, command: str, kind: str = "op", wanted: Sequence[str] = (), most_points: int = 0) -> str:
        """Run an analysis and return the name of its plot, which is certain to be new."""
        self._own()
        spice = self._spice
        saves = self._save(wanted) if self._nodes is not None else False
        if most_points:
            saves = True
            spice.command(f"stop after {int(most_points)}")
        spice.command(command)
        if saves and not spice.finished:
            spice.command("delete all")
        plot = spice.newest()
        if spice.finished or not plot.startswith(kind):
            self._finish()
            raise RunFailed(why(spice.printed, f"ngspice gave no result for {kind}"), spice.printed)
        if self._nodes is None:
            self._know_nodes(plot)
        return plot

    def _save(self, wanted: Sequence[str]) -> bool:
        """Have ngspice keep the wanted voltages only: a response then takes a quarter of the time.

        Which circuit has which nodes is known from its first run, which keeps all of them. A name that is not among
        them, or that ngspice would take for more than a name, makes it keep all again, and `_fetch` sorts it out.
        """
        names = {node.lower() for node in wanted} - _GROUND
        if not names or not names.issubset({*(self._nodes or []), *self._branches}):
            return False
        if not all(_PLAIN.fullmatch(name) for name in names) or names & _ALL:
            return False
        line = ""
        for name in sorted(names):
            if len(line) > 400:
                self._spice.command(f"save{line}")
                line = ""
            line += f" {name}"
        self._spice.command(f"save{line}")
        return True

    def _know_nodes(self, plot: str) -> None:
        """Take the nodes' names from the first plot, and refuse what ngspice took in silence."""
        found = []
        self._branches = []
        for name in self._spice.vectors(plot):
            if name.endswith(BRANCH):
                self._branches.append(name.lower())
            written = _WRITTEN.fullmatch(name)  # a name that starts with a digit comes as V(1)
            node = (written[1] if written else name).lower()
            if "#" in name or "@" in name or name in ("frequency", "time"):
                continue
            if not node or _LIKE_A_VALUE.fullmatch(node):
                self._finish()
                raise CircuitRefused(f"an element lacks a node: ngspice took {node or 'nothing'!r} for one", self.said)
            found.append(node)
        self._nodes = found

    def _finish(self) -> None:
        """Throw results away; they pile up and slow every later command down."""
        if not self._spice.finished:
            self._spice.command("destroy all")

    def _scale(self, plot: str, name: str) -> NDArray[Any]:
        record = self._spice.vector(f"{plot}.{name}".encode())
        if record == ffi.NULL or record.v_length <= 0:
            return np.empty(0)
        return copied(record)

    def _fetch(self, plot: str, nodes: Sequence[str], length: int, dtype: type = float) -> NDArray[Any]:
        """Copy the wanted voltages out of a plot: array, (node, length)."""
        result: NDArray[Any] = np.zeros((len(nodes), length), dtype=dtype)
        for row, node in enumerate(nodes):
            if node.lower() in _GROUND:
                continue
            record = self._record(plot, node.lower())
            if record is None:
                raise CircuitRefused(
                    f"the circuit has no node {node!r}. {nearest(node, self._nodes or [])}".rstrip(), self.said
                )
            if record.v_length != length:
                raise RunFailed(why(self.said, "ngspice found no solution"), self.said)
            result[row] = copied(record)
        if not np.all(np.isfinite(result)):
            bad = nodes[int(np.argmax(~np.isfinite(result).all(axis=1)))]
            raise RunFailed(f"the result at node {bad!r} is not a finite number", self.said)
        return result

    def _record(self, plot: str, node: str) -> Any:
        """Return the record of a node's voltage in this very plot, or None.

        ngspice looks a missing name up among its constants (``c``, ``e``, ``pi``) and takes ``all`` for a list, so
        the record's own name and type are checked.
        """
        for name in (node, f"V({node})"):
            record = self._spice.vector(f"{plot}.{name}".encode())
            if record == ffi.NULL or record.v_type != (_CURRENT if node.endswith(BRANCH) else _VOLTAGE):
                continue
            if ffi.string(record.v_name).decode("utf-8", "replace").lower() == name.lower():
                return record
        return None
