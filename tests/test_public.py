"""The public API: every name is there, and the example of the README runs."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import pytest

import lostgain


def test_what_is_promised_to_type_checkers_is_what_there_is() -> None:
    tree = ast.parse(Path(lostgain.__file__).read_text(encoding="utf-8"))
    names = {each.asname or each.name: (node.module, each.name) for node in ast.walk(tree)
             if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("lostgain.")
             for each in node.names}  # fmt: skip
    places = {name: (f"lostgain.{module}", theirs) for name, (module, theirs) in lostgain._PLACES.items()}
    assert names == places
    assert sorted(lostgain.__all__) == lostgain.__all__ == sorted(places)


@pytest.mark.parametrize("name", lostgain.__all__)
def test_each_name_is_there_and_says_what_it_is(name: str) -> None:
    thing = getattr(lostgain, name)
    assert inspect.getdoc(thing)
    assert name in dir(lostgain)


def test_a_name_that_is_not_there() -> None:
    with pytest.raises(AttributeError, match="mach"):
        lostgain.mach  # noqa: B018


def test_the_example_of_the_readme_runs(repository: Path, monkeypatch, capsys) -> None:
    text = (repository / "README.md").read_text(encoding="utf-8")
    example = re.search(r"```python\n(.*?)```", text, re.DOTALL)
    assert example
    lines = [line for line in example[1].splitlines() if line.strip()]
    assert len(lines) <= 10
    # the README speaks of the example unit, whose table takes minutes; the same lines run on a small one here
    code = example[1].replace("ferry-terminal", str(repository / "tests" / "units" / "chain"))
    code = re.sub(r'"[^"]*\.csv"', repr(str(repository / "tests" / "cli" / "weak.csv")), code)
    code = re.sub(r'"C8 open"', '"C2 open"', code)
    monkeypatch.chdir(repository)
    exec(compile(code, "README.md", "exec"), {})
    assert capsys.readouterr().out


def test_a_drill_can_be_done_from_python(repository: Path) -> None:
    unit = lostgain.open_unit(repository / "tests" / "units" / "chain")
    with lostgain.Pool(workers=1) as pool:
        drill = lostgain.begin_drill(unit, lostgain.build_circuit(unit), 2, 1, pool)
        assert "Work order" in lostgain.order_text(drill, unit)
        answer = lostgain.do_in_drill(drill, lostgain.DrillBench(unit, drill.hidden, pool), unit.points[-1].name)
    assert answer.step.reading is not None
    assert answer.step.reading.point in lostgain.answer_text(answer.drill, answer.step, unit)


def test_the_files_shown_in_the_readme_are_taken(repository: Path, tmp_path: Path) -> None:
    text = (repository / "README.md").read_text(encoding="utf-8")
    for name, kind in (("unit.toml", "toml"), ("mine.csv", "csv")):
        shown = re.search(rf"```{kind}\n(.*?)```", text, re.DOTALL)
        assert shown
        (tmp_path / name).write_text(shown[1], encoding="utf-8")
    assert len(lostgain.open_unit(tmp_path).stages) == 2
    found = lostgain.read_readings(tmp_path / "mine.csv", lostgain.open_unit("ferry-terminal"))
    assert len(found.rows) == 5
    assert found.good == "Zone A"
