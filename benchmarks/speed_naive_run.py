"""The loop that a user would write with PySpice, by itself: ``python -m benchmarks.speed_naive_run FILE``.

FILE is a pickle of circuits: netlist lines by frequency, the frequencies [Hz] and the cycles to follow at each. Prints
the processor time [s] and how many circuits gave no result, as JSON.
"""

from __future__ import annotations

import json
import logging
import os
import pickle
import sys
import time
from pathlib import Path

from PySpice.Spice.Netlist import Circuit
from PySpice.Spice.NgSpice.Shared import NgSpiceShared

from lostgain.engine import library

logging.disable(logging.CRITICAL)


def main() -> None:
    """Simulate every circuit of the file."""
    NgSpiceShared.LIBRARY_PATH = library.find()
    circuits = pickle.loads(Path(sys.argv[1]).read_bytes())
    failed = 0
    sys.stdout = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115, PySpice prints
    begin = time.process_time()
    for by_frequency, frequencies, cycles in circuits:
        for lines, frequency, count in zip(by_frequency, frequencies, cycles, strict=True):
            circuit = Circuit("plain")
            circuit.raw_spice = "\n".join(lines)
            simulator = circuit.simulator(temperature=27, nominal_temperature=27)
            try:
                if frequency == frequencies[0]:
                    simulator.operating_point()
                simulator.ac(variation="lin", number_of_points=1, start_frequency=frequency, stop_frequency=frequency)
                step = 1 / frequency / 64
                simulator.transient(step_time=step, end_time=count / frequency, max_time=step)
            except Exception:  # PySpice raises for harmless lines on stderr
                failed += 1
    print(json.dumps({"seconds": time.process_time() - begin, "failed": failed}), file=sys.__stdout__, flush=True)


if __name__ == "__main__":
    main()
