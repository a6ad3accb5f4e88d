"""Fuzzing of drills: what is typed into one, and a drill's file whose record is nearly right."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import tempfile
import zlib
from pathlib import Path

from hypothesis import given

from lostgain.problems import UserError
from lostgain.teach import keep
from lostgain.teach.actions import acts
from lostgain.teach.drill import do
from lostgain.teach.fits import check_fits
from lostgain.teach.mark import mark
from lostgain.teach.record import drill_record
from lostgain.teach.rig import Rig
from tests.fuzz.cases import file_near, fuzzed, text_near
from tests.teach.drilled import drilled, megaphone, pool, rigged

LINES = [
    "U1 pin 7", "U101 pin 1, 40 Hz", "R4, resistance", "C3, esr", "VP, current", "VP, dc", "U1 pin 7 to U1 pin 1, dc",
    "generator 50 mV rms", "frequency 1 kHz", "control R4 half", "load 8R", "limiter in", "instrument dmm",
    "power off", "discharge", "lift R4", "resolder R4", "replace U1", "replace C3 with 47u", "swap R6", "bridge C3",
    "unbridge C3", "warm R4", "cool", "tap R4", "earth lift", "sign off", "read U1 pin 2",
]  # fmt: skip
PIECES = [*acts(), "U1", "R4", "C3", "Port", ",", " to ", " with ", "lifted", "Hz", "V", "resistance", "hum", "OL"]
RECORD = json.dumps(drill_record(drilled("C3 open")), indent=0)
WRONG = ["null", "true", '""', "[]", "{}", "-1", "1e400", "NaN", '"R99"', '"Port"', "[[1, 2]]", '"x=1)\\n.control"']


@fuzzed(0.4)
@given(text_near(LINES, PIECES))
def test_what_is_typed(text: str) -> None:
    """Each line does something, or is refused; with the power on and with it off."""
    drill = drilled("C3 open")
    with rigged(drill) as rig:
        for before in ((), ("power off",)):
            now = drill
            for line in before:
                now = do(now, rig, line).drill
            with contextlib.suppress(UserError):
                answer = do(now, rig, text)
                assert len(answer.drill.steps) == len(now.steps) + 1


@fuzzed()
@given(
    file_near(RECORD, WRONG, [f'"{key}": {value},' for key in ("level", "value", "load", "part") for value in WRONG])
)
def test_a_record(text: str) -> None:
    """A record that is nearly right is refused, or is a drill that goes on."""
    plain = text.encode("utf-8", "surrogatepass")
    digest, body = hashlib.sha256(plain).hexdigest(), base64.b64encode(zlib.compress(plain)).decode()
    unit, circuit = megaphone()
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "a.txt"
        file.write_text(f"{keep.HEAD}\nsha256: {digest}\n\n{body}\n")
        with contextlib.suppress(UserError):
            mark(file)
        with contextlib.suppress(UserError):
            drill = keep.read(file)
            check_fits(drill, circuit, file)
            rig = Rig(unit, drill.hidden, pool())
            rig.keep(circuit)
            for line in ("U1 pin 7", "power off", "C3, esr"):
                drill = do(drill, rig, line).drill
            keep.write(drill, file)
