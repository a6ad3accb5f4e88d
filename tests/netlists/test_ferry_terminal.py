"""Boundaries found on the ferry-terminal's flattened circuit, against the stages it was described in.

Of its ten stages four end at a node that is driven hard and that only the next stage hangs on: receiver, gain stage,
second stage, and the output behind the relay. The mute ends at an op-amp's input, which does not load it. The others
end in the middle of coupling networks and controls, where nothing tells one stage from the next.
"""

from __future__ import annotations

import pytest

from lostgain.netlists import Imported, import_netlist
from tests.netlists.ferry import ferry_netlist

DRIVE_ON_ALONE = ("Receiver", "Gain stage", "Second stage", "Loudspeaker relay")


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> tuple[Imported, dict[str, str]]:
    text, ends = ferry_netlist()
    file = tmp_path_factory.mktemp("ferry") / "ferry.cir"
    file.write_text(text, encoding="utf-8")
    return import_netlist(file), ends


def test_every_stage_that_drives_on_alone_is_found_and_nothing_else_is_called_certain(imported) -> None:
    found, ends = imported
    stages = [stage for stage in found.stages if stage.name != "Supply and reference"]
    certain = [stage.output for stage in stages if stage.sure == "sure"]
    assert certain == [ends[name] for name in DRIVE_ON_ALONE]


def test_every_boundary_is_the_end_of_a_stage(imported) -> None:
    found, ends = imported
    outputs = [stage.output for stage in found.stages if stage.name != "Supply and reference"]
    assert outputs == [ends[name] for name in ("Receiver", "Mute", "Gain stage", "Second stage", "Loudspeaker relay")]


def test_all_parts_are_found_with_their_values(imported) -> None:
    found, _ = imported
    assert found.worst < 0.01
    kinds = [piece.kind for piece in found.parts]
    assert {kind: kinds.count(kind) for kind in ("opamp", "npn", "pnp", "potentiometer")} == {
        "opamp": 3, "npn": 4, "pnp": 4, "potentiometer": 1,
    }  # fmt: skip
    pot = next(piece for piece in found.parts if piece.kind == "potentiometer")
    assert pot.value == pytest.approx(10e3)
    assert found.setup == {"generator": "200 mV rms", "source": "50 Ω", "load": "8 Ω"}


def test_feedback_and_its_parts_stay_in_one_stage(imported) -> None:
    found, _ = imported
    output = next(stage for stage in found.stages if any(piece.board == "QN2" for piece in stage.parts))
    assert {"QD1", "QV", "CB", "RE1", "RZ", "LO"} <= {piece.board for piece in output.parts}
