"""The short form of ``scripts/bursts.py``: random bursts in a pseudo-terminal end as a slow typist's do.

Only what comes of them is compared, once both programs say that nobody works; how long that takes does not matter.
"""

from collections.abc import Iterator
from itertools import count
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from catalogue.settings import Home
from scripts.bursts import Program, compare

BURSTS = 12


def test_bursts_of_keys_end_as_they_do_for_a_slow_typist(shop: Home, tmp_path: Path) -> None:
    outcome = compare(shop.folder, BURSTS, 5, tmp_path)
    assert outcome.bursts == BURSTS
    assert outcome.differing == []


class Scripted(Program):
    """A program of which only the answers are known."""

    def __init__(self, answers: Iterator[dict[str, Any]], sent: int) -> None:
        self._answers, self.sent = answers, sent

    def tell(self) -> dict[str, Any]:
        return next(self._answers)

    def close(self) -> None:
        """There is none to end."""


def answered(came: int, waits: list[str], spent: float) -> dict[str, Any]:
    return {"came": came, "waits": waits, "state": {} if waits else {"mode": "browse"}, "spent": spent}


def test_a_program_that_gets_little_of_the_processor_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """However long that takes by the clock: only what it has spent itself counts."""
    hours = count(step=3600.0)
    monkeypatch.setattr("scripts.bursts.time", SimpleNamespace(sleep=lambda _: None, monotonic=lambda: next(hours)))
    slow = [answered(2, ["keys"], 0.01 * n) for n in range(500)]
    assert Scripted(iter([*slow, answered(3, [], 5.0), answered(3, [], 5.0)]), 3).state() == {"mode": "browse"}


@pytest.mark.parametrize(("waits", "said"), [(["messages of Toast()"], "2 keys were sent, 1 came.*Toast"),
                                             ([], "no end to: changes")])
def test_a_hang_is_told_with_what_was_under_way(monkeypatch: pytest.MonkeyPatch, waits: list[str], said: str) -> None:
    monkeypatch.setattr("scripts.bursts.time", SimpleNamespace(sleep=lambda _: None))
    with pytest.raises(TimeoutError, match=said):
        Scripted((answered(1, waits, float(n)) for n in count()), 2).state()
