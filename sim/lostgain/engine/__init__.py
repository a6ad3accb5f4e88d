"""ngspice: sessions, supervised worker processes, time limits. Knows netlist text, nothing of audio."""

from lostgain.engine.errors import CircuitRefused, EngineError, RunFailed
from lostgain.engine.guard import refuse, resolve_includes, safe_name, safe_number
from lostgain.engine.pool import Pool, WorkersGone
from lostgain.engine.session import Session
from lostgain.engine.supervise import Outcome

__all__ = [
    "CircuitRefused",
    "EngineError",
    "Outcome",
    "Pool",
    "RunFailed",
    "Session",
    "WorkersGone",
    "refuse",
    "resolve_includes",
    "safe_name",
    "safe_number",
]
