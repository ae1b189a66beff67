"""Archives to try an operation on, one for the command line and one for the screens."""

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.operations.shops import Archive


@pytest.fixture
def twins(scan: Callable[..., Path], tmp_path: Path) -> tuple[Archive, Archive]:
    """Two archives that differ in nothing but the folder they are in."""
    both = Archive(tmp_path / "one"), Archive(tmp_path / "two")
    for archive in both:
        archive.prepare(scan)
    return both
