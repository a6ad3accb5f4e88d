"""Every case of the corpus through every public way in: refused with file and line or harmless, and nothing done."""

from __future__ import annotations

import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import lostgain
from lostgain.cli.main import main
from lostgain.engine import Pool
from lostgain.problems import UserError
from tests.hostile.case import CANARY, Case, cases, lay_out
from tests.hostile.watch import Watch, picture

#: Longest time a case may take through all ways in [s], and most that it may add to this process's memory [MB].
LONGEST = 20.0
MOST_MEMORY = 300.0

#: Time limit of a simulation here [s].
LIMIT = 3.0

ALL = cases()

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="the proof is Linux's")


@pytest.fixture(scope="module")
def pool() -> Iterator[Pool]:
    with Pool(workers=1, time_limit=LIMIT) as made:
        yield made


class Ground:
    """A case laid out, and the proof that nothing was done around it."""

    def __init__(self, case: Case, place: Path) -> None:
        self.place = place
        self.unit = lay_out(case, place)
        self.before = picture(place)
        self.watch = Watch([place / "secret.txt", place / "home" / "secret.txt"])
        self.begun, self.memory = time.monotonic(), _peak()

    def prove(self, said: str, longest: float = LONGEST) -> None:
        """Nothing was run, read or written, nothing of the secret said, and it took neither time nor memory."""
        seconds, memory = time.monotonic() - self.begun, _peak() - self.memory
        opened = self.watch.seen()
        self.watch.close()
        assert not (self.place / "mark").exists()
        assert opened == 0
        assert picture(self.place) == self.before
        assert "424242" not in said
        assert "canary" not in said
        assert seconds < longest
        assert memory < MOST_MEMORY


def _peak() -> float:
    """Return the largest memory this process has had [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


@pytest.fixture
def ground(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ground:
    made = Ground(request.param, tmp_path / "case")
    monkeypatch.setenv("HOME", str(made.place / "home"))
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "cache"))
    monkeypatch.chdir(made.unit)
    return made


each = pytest.mark.parametrize(("ground", "case"), [(case, case) for case in ALL], indirect=["ground"],
                               ids=[case.name for case in ALL])  # fmt: skip


@each
def test_from_python(ground: Ground, case: Case, pool: Pool) -> None:
    said = ""
    try:
        unit = lostgain.open_unit(ground.unit)
        if (ground.unit / "readings.csv").exists():
            lostgain.read_readings(ground.unit / "readings.csv", unit)
        lostgain.prove_running(lostgain.build_circuit(unit, pool), pool)
        ended = "harmless"
    except UserError as error:
        said, ended = str(error), "refused"
        named = [(str(each.where.file), each.where.line) for each in error.problems]
        file, _, line = case.at.partition(":")
        assert any(name.endswith(file) and (not line or number == int(line)) for name, number in named), said
        assert case.says in said
        assert max(map(len, said.splitlines())) < 1000
    ground.prove(said)
    assert ended == case.ends, said


@each
def test_from_the_command_line(ground: Ground, case: Case, capsys: pytest.CaptureFixture[str]) -> None:
    if case.slow:
        pytest.skip("the command's time limit is a minute")
    readings = ground.unit / "readings.csv"
    words = [["match", str(ground.unit), str(readings)]] if case.ends == "refused" else []
    if not readings.exists():  # which is only read where the unit is good
        words.append(["check", str(ground.unit)])
    for command in words:
        code = main(command)
        captured = capsys.readouterr()
        said = captured.out + captured.err
        assert code == (2 if case.ends == "refused" else 0), said
        assert "Traceback" not in said
        assert all(sign.isprintable() or sign == "\n" for sign in said)
        assert case.ends == "harmless" or captured.out == ""
    ground.prove(said)


@pytest.mark.parametrize("ground", [case for case in ALL if case.name == "smuggle-markup"], indirect=True)
def test_markup_of_a_unit_is_no_markup_of_a_page(ground: Ground, capsys: pytest.CaptureFixture[str]) -> None:
    page, paper = ground.place.parent / "sheet.html", ground.place.parent / "sheet.pdf"
    assert main(["sheet", str(ground.unit), "--html", str(page), "--pdf", str(paper)]) == 0
    said = page.read_text("utf-8")
    assert "<script>1" not in said
    assert "<img" not in said
    assert "48635957" not in said
    ground.prove(said + capsys.readouterr().out, longest=200.0)  # a signature table is built


def test_the_proof_can_fail(tmp_path: Path) -> None:
    ground = Ground(Case("none", "", "harmless", files={"board.cir": "Board\n"}), tmp_path / "case")
    ground.prove("nothing")
    ground.watch = Watch([ground.place / "secret.txt"])
    assert (ground.place / "secret.txt").read_text() == CANARY
    with pytest.raises(AssertionError):
        ground.prove("nothing")
    for spoil in ("unit/new", "mark", "unit/board.cir"):
        ground.watch = Watch([ground.place / "secret.txt"])
        (ground.place / spoil).write_text("x")
        with pytest.raises(AssertionError):
            ground.prove("nothing")


def test_the_corpus_says_what_it_tries() -> None:
    assert len(ALL) > 100
    assert all(case.tries and case.ends in ("refused", "harmless") for case in ALL)
    assert len({case.tries for case in ALL}) == len(ALL)
