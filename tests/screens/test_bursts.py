"""The short form of ``scripts/bursts.py``: random bursts in a pseudo-terminal end as a slow typist's do.

Only what comes of them is compared, once both programs say that nobody works; how long that takes does not matter.
"""

from pathlib import Path

from catalogue.settings import Home
from scripts.bursts import compare

BURSTS = 12


def test_bursts_of_keys_end_as_they_do_for_a_slow_typist(shop: Home, tmp_path: Path) -> None:
    outcome = compare(shop.folder, BURSTS, 5, tmp_path)
    assert outcome.bursts == BURSTS
    assert outcome.differing == []
