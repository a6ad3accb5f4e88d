"""ngspice: sessions, supervised worker processes, time limits. Knows netlist text, nothing of audio."""

from lostgain.engine.errors import CircuitRefused, EngineError, RunFailed
from lostgain.engine.pool import Outcome, Pool
from lostgain.engine.session import Session

__all__ = ["CircuitRefused", "EngineError", "Outcome", "Pool", "RunFailed", "Session"]
