"""Sessions against closed forms, and against what ngspice takes in silence."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.engine import CircuitRefused, RunFailed, Session

RC = ["v1 in 0 dc 1 ac 1 sin(0 1 1k)", "r1 in out 1k", "c1 out 0 100n"]
CORNER = 1 / (2 * math.pi * 1e3 * 100e-9)  # textbook: f = 1 / (2 pi R C)


@pytest.fixture
def session() -> Session:
    return Session()


def test_version_is_one_we_support(session: Session) -> None:
    assert session.version >= 36
    assert not session.dead


@given(st.floats(1e-1, 1e7), st.floats(1e-1, 1e7))
def test_divider(top: float, bottom: float) -> None:
    session = Session()
    session.load(["v1 in 0 1", f"r1 in c {top!r}", f"r2 c 0 {bottom!r}"])
    assert session.op(["c"])[0] == pytest.approx(bottom / (top + bottom), rel=1e-6)  # textbook: Ohm's law


@given(st.lists(st.floats(1.0, 1e6), min_size=1, max_size=7))
def test_ac_is_a_first_order_low_pass_at_any_frequencies_in_their_order(frequencies: list[float]) -> None:
    session = Session()
    session.load(RC)
    got = session.ac(frequencies, ["out", "0", "in"])
    assert got.shape == (3, len(frequencies))
    wanted = 1 / (1 + 1j * np.array(frequencies) / CORNER)  # textbook: first-order low-pass
    np.testing.assert_allclose(got[0], wanted, rtol=1e-6)
    assert not got[1].any()
    np.testing.assert_allclose(got[2], 1)


def test_evenly_spaced_and_repeated_frequencies(session: Session) -> None:
    session.load(RC)
    frequencies = [1000.0, 500.0, 1500.0, 2000.0, 500.0]
    np.testing.assert_allclose(
        session.ac(frequencies, ["out"])[0], 1 / (1 + 1j * np.array(frequencies) / CORNER), rtol=1e-6
    )


def test_sweep_covers_the_band(session: Session) -> None:
    session.load(RC)
    frequencies, values = session.sweep(10, 1e5, 10, ["out"])
    assert frequencies[0] == pytest.approx(10)
    assert frequencies[-1] == pytest.approx(1e5)
    assert len(frequencies) == 41
    np.testing.assert_allclose(values[0], 1 / (1 + 1j * frequencies / CORNER), rtol=1e-6)


def test_transient_charges_as_an_exponential(session: Session) -> None:
    session.load(["v1 in 0 pulse(0 1 0 1n 1n 1)", "r1 in out 1k", "c1 out 0 1u"])
    time, values = session.tran(5e-3, 1e-5, ["out", "0"])
    assert time[-1] == pytest.approx(5e-3)
    np.testing.assert_allclose(values[0], 1 - np.exp(-time / 1e-3), atol=2e-4)  # textbook: RC charging
    assert not values[1].any()


def test_transient_kept_from_a_start(session: Session) -> None:
    session.load(RC)
    time, values = session.tran(4e-3, 1e-5, ["out"], start=3e-3)
    assert time[0] >= 3e-3 - 1e-9
    amplitude = 1 / math.hypot(1, 1e3 / CORNER)
    assert np.ptp(values[0]) / 2 == pytest.approx(amplitude, rel=0.01)


def test_a_node_called_c_is_not_the_speed_of_light(session: Session) -> None:
    session.load(["v1 in 0 1", "r1 in c 1k", "r2 c 0 1k"])
    assert session.op(["c"])[0] == pytest.approx(0.5)
    session.load(["v1 in 0 1", "r1 in 0 1k"])
    for constant in ("c", "e", "pi", "all"):
        with pytest.raises(CircuitRefused, match=f"no node '{constant}'"):
            session.op([constant])


def test_a_result_is_never_that_of_the_circuit_before(session: Session) -> None:
    session.load(["v1 in 0 1", "r1 in 0 1k"])
    assert session.op(["in"])[0] == pytest.approx(1)
    session.load(["v1 in 0 1", "v2 in 0 2"])
    with pytest.raises(RunFailed) as failure:
        session.op(["in"])
    assert any("singular" in line or "failed" in line for line in failure.value.said)
    with pytest.raises(RunFailed):
        session.ac([1e3], ["in"])
    session.load(["v1 in 0 3", "r1 in 0 1k"])
    assert session.op(["in"])[0] == pytest.approx(3)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("r3 out", "lacks a node"),
        ("r3 out 1k", "lacks a node"),
        ("x1 in 0 nowhere", "unknown subckt"),
        ("q1 in in 0 nomodel", "nomodel|can't find model"),
        ("r1 in 0 1k", "already exists|refused"),
    ],
)
def test_what_ngspice_takes_in_silence_is_refused(session: Session, line: str, says: str) -> None:
    with pytest.raises(CircuitRefused, match=says):
        _voltage(session, ["v1 in 0 1", "r1 in 0 1k", line])
    session.load(["v1 in 0 1", "r1 in 0 1k"])
    assert session.op(["in"])[0] == pytest.approx(1)


def _voltage(session: Session, lines: list[str]) -> float:
    session.load(lines)
    return float(session.op(["in"])[0])


def test_unknown_node_names_it_and_the_nearest(session: Session) -> None:
    session.load(RC)
    with pytest.raises(CircuitRefused, match=r"'outt'.*out"):
        session.op(["outt"])
    session.op(["out"])
    with pytest.raises(CircuitRefused, match=r"'outt'.*out"):
        session.ac([1e3], ["out", "outt"])


def test_node_names_with_signs_and_digits(session: Session) -> None:
    names = ["in+", "7", "5v", "a/b", "q:w", "u2a.7-", "x_1"]
    lines = ["v1 top 0 dc 8 ac 8", f"r0 top {names[0]} 1k"]
    lines += [f"r{n} {a} {b} 1k" for n, (a, b) in enumerate(zip(names, [*names[1:], "0"], strict=True), start=1)]
    session.load(lines)
    expected = [7.0, 6.0, 5.0, 4.0, 3.0, 2.0, 1.0]
    assert session.op(names) == pytest.approx(expected)
    assert np.abs(session.ac([1e3], names)[:, 0]) == pytest.approx(expected)
    assert session.op([name.upper() for name in names]) == pytest.approx(expected)
    assert sorted(session.nodes()) == sorted([*names, "top"])


def test_listing_is_flat_and_can_be_loaded_again(session: Session) -> None:
    lines = [".subckt half a b params: r=1k", "r1 a b {2*r}", "r2 b 0 {2*r}", ".ends"]
    session.load([*lines, "v1 in 0 1", "x1 in out half r=2k"])
    flat = session.listing()
    assert any(line.startswith("r.x1.r1 in out") for line in flat)
    assert not any(line.startswith((".subckt", "x1")) for line in flat)
    session.load(flat)
    assert session.op(["out"])[0] == pytest.approx(0.5)


def test_two_sessions_do_not_mix(session: Session) -> None:
    other = Session()
    session.load(["v1 in 0 1", "r1 in 0 1k"])
    other.load(["v1 in 0 2", "r1 in 0 1k"])
    assert session.op(["in"])[0] == pytest.approx(1)
    assert other.op(["in"])[0] == pytest.approx(2)


def test_every_line_counts_there_is_no_title(session: Session) -> None:
    session.load(["r1 in 0 1k", "i1 0 in 1m", ".end"])
    assert session.op(["in"])[0] == pytest.approx(1)


@pytest.mark.parametrize(
    "line",
    [
        ".control",
        "  .exec x",
        ".include /etc/passwd",
        ".lib x y",
        "*#shell ls",
        "*ng_script",
        "r`ls` a 0 1",
        "r1 a 0 1\n.control",
    ],
)
def test_second_lock(session: Session, line: str) -> None:
    with pytest.raises(CircuitRefused, match="run or read"):
        session.load(["v1 in 0 1", line])


def test_wrong_requests(session: Session) -> None:
    with pytest.raises(RunFailed, match="no circuit"):
        session.op(["a"])
    session.load(RC)
    for wrong in ([], [0.0], [-1.0], [math.nan]):
        with pytest.raises(ValueError, match="frequencies"):
            session.ac(wrong, ["out"])
    with pytest.raises(ValueError, match="sweep"):
        session.sweep(10, 1, 3, ["out"])
    with pytest.raises(ValueError, match="transient"):
        session.tran(1.0, 2.0, ["out"])


def test_transient_that_does_not_arrive_is_a_failure(session: Session) -> None:
    # A conductance that grows without bound once the voltage has come far enough: the step shrinks to nothing.
    session.load(
        ["v1 in 0 pwl(0 0 1 1)", "r1 in out 1", "b1 out 0 i=v(out) > 0.5 ? 1e30*sqrt(v(out)-0.5)*sin(1e9*time) : 0"]
    )
    with pytest.raises(RunFailed):
        session.tran(1.0, 1e-2, ["out"])


def test_voltages_kept_for_one_run_do_not_narrow_the_next(session: Session) -> None:
    session.load(RC)
    assert session.op(["in"])[0] == pytest.approx(1)
    session.ac([1e3], ["out"])
    assert session.op(["in"])[0] == pytest.approx(1)
    session.tran(1e-4, 1e-5, ["out"])
    assert abs(session.ac([1e3], ["in"])[0, 0]) == pytest.approx(1)
    assert len(session.nodes()) == 2
