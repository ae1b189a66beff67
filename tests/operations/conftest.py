"""Archives to try an operation on, one for the command line and one for the screens."""

from pathlib import Path

import pytest

from tests.copies import copy_shop
from tests.operations.shops import Archive


@pytest.fixture(autouse=True)
def no_processes(read_in_threads: None) -> None:
    """That an index run has some is for ``tests/commands/test_spine.py`` to show."""


@pytest.fixture(scope="session")
def archive_built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("archive")
    Archive(folder).prepare()
    return folder


@pytest.fixture
def twins(archive_built: Path, tmp_path: Path) -> tuple[Archive, Archive]:
    """Two archives that differ in nothing but the folder they are in."""
    both = Archive(tmp_path / "one"), Archive(tmp_path / "two")
    for archive in both:
        copy_shop(archive_built, archive.folder, archive.home)
    return both
