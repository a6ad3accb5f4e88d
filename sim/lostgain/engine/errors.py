"""What can go wrong when ngspice is asked for something."""

from __future__ import annotations


class EngineError(Exception):
    """Base of `RunFailed` and `CircuitRefused`.

    Parameters
    ----------
    reason : str
        One sentence for the technician.
    said : sequence of str
        What ngspice printed since the circuit was loaded.
    """

    def __init__(self, reason: str, said: list[str] | tuple[str, ...] = ()) -> None:
        super().__init__(reason, tuple(said))
        self.reason = reason
        self.said = tuple(said)

    def __str__(self) -> str:
        return self.reason


class RunFailed(EngineError):
    """An analysis gave no result that can be used: no convergence, or numbers that are not finite."""


class CircuitRefused(EngineError):
    """ngspice does not take this circuit, or took something else than what was meant."""
