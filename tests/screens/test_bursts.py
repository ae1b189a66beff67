"""The program in a pseudo-terminal: random bursts of keys against a slow typist. Many more: scripts/bursts.py."""

import sys
from pathlib import Path

import pytest

from catalogue.settings import Home

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there are no pseudo-terminals")


def test_bursts_end_where_a_slow_typist_ends(shop: Home, tmp_path: Path) -> None:
    from scripts.bursts import compare

    outcome = compare(shop.folder, 30, 11, tmp_path / "programs")
    assert outcome.differing == []
