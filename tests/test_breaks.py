"""The table of deliberate breaks fits the tree, and the program that tries them cannot be content with anything."""

import re
from pathlib import Path

import pytest

from scripts.mutate import MUST, TABLES, Break, broken, judged, read_breaks, stale

ROOT = Path(__file__).parents[1]


def test_every_break_still_fits_the_code() -> None:
    """A text that is gone or stands twice: say in scripts/breaks/ what breaks the same thing now."""
    assert stale([*read_breaks(), *read_breaks(TABLES / "model")]) == []


def test_there_are_breaks_of_everything_that_must_not_be_lost() -> None:
    breaks = read_breaks()
    assert len(breaks) >= 150
    assert {one.topic for one in breaks} >= set(MUST)


def test_every_broken_module_is_still_python() -> None:
    """A break that no interpreter takes would be caught by any test."""
    for one in read_breaks():
        if one.file.endswith(".py"):
            whole = (ROOT / one.file).read_text(encoding="utf-8")
            compile(whole.replace(one.old, one.new), f"{one.file}: {one.words}", "exec", dont_inherit=True)


def test_a_break_is_applied_and_taken_back(tmp_path: Path) -> None:
    (tmp_path / "sums.py").write_text("def both(a, b):\n    return a + b\n")
    before = (tmp_path / "sums.py").stat().st_mtime_ns
    one = Break("room", "sums are differences", "topic", "sums.py", "a + b", "a - b", ())
    with broken(tmp_path, one):
        assert (tmp_path / "sums.py").read_text() == "def both(a, b):\n    return a - b\n"
        assert (tmp_path / "sums.py").stat().st_mtime_ns != before
    assert (tmp_path / "sums.py").read_text() == "def both(a, b):\n    return a + b\n"
    assert (tmp_path / "sums.py").stat().st_mtime_ns == before


def test_what_does_not_fit_is_told(tmp_path: Path) -> None:
    (tmp_path / "sums.py").write_text("a + b\na + b\n")
    found = stale([Break("room", "twice", "topic", "sums.py", "a + b", "", ("tests/test_gone.py",)),
                   Break("room", "gone", "topic", "lost.py", "a + b", "", ())], tmp_path)
    assert [re.sub("^room.toml: ", "", words) for words in found] == [
        "twice: its text occurs 2 times in sums.py", "twice: there is no tests/test_gone.py",
        "gone: its text occurs 0 times in lost.py"]


@pytest.mark.parametrize(("code", "first", "state"), [
    (0, "", "survived"), (1, "tests/a.py::test_b", "caught"), (2, "tests/a.py", "caught"), (None, "", "caught"),
    (-11, "", "caught"), (2, "", "unusable"), (4, "", "unusable"), (5, "", "unusable"), (70, "", "unusable")])
def test_only_a_test_that_failed_or_hung_has_caught_anything(code: int | None, first: str, state: str) -> None:
    assert judged(code, first, "")[0] == state
