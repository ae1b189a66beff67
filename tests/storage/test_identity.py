"""Identity of places: device and inode as stat(2) gives them; mounts as mount(8) makes them, where that is allowed."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from catalogue.storage.identity import filesystem_id, identity, inside, overlapping, same_file


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    (tmp_path / "scans" / "Ada" / "Harbour").mkdir(parents=True)
    (tmp_path / "scans" / "Ada" / "Harbour" / "a.tif").write_bytes(b"a")
    (tmp_path / "other").mkdir()
    return tmp_path


@pytest.fixture
def bind(tmp_path: Path) -> Iterator[Path]:
    """A folder on which a bind mount shows ``scans/Ada``."""
    place = tmp_path / "bound"
    place.mkdir()
    (tmp_path / "scans" / "Ada").mkdir(parents=True, exist_ok=True)
    done = subprocess.run(["mount", "--bind", str(tmp_path / "scans" / "Ada"), str(place)], capture_output=True,
                          check=False) if os.geteuid() == 0 else None
    if done is None or done.returncode:
        pytest.skip("bind mounts need the rights of root")
    yield place
    subprocess.run(["umount", str(place)], check=True)


def test_one_file_under_a_link_a_hard_link_and_another_spelling(archive: Path) -> None:
    master = archive / "scans" / "Ada" / "Harbour" / "a.tif"
    os.link(master, archive / "other" / "hard.tif")
    (archive / "other" / "soft.tif").symlink_to(master)
    for path in (archive / "other" / "hard.tif", archive / "other" / "soft.tif",
                 archive / "other" / ".." / "scans" / "Ada" / "Harbour" / "a.tif"):
        assert same_file(path, master)
    assert not same_file(archive / "gone", archive / "gone too")
    assert identity("no\0name") is None


@pytest.mark.parametrize("path", ["scans", "scans/Ada", "link/Ada", "other/../scans/new/folder", "scans/not yet/x.tif"])
def test_inside_is_seen_through_links_and_spellings(archive: Path, path: str) -> None:
    (archive / "link").symlink_to(archive / "scans")
    assert inside(archive / path, archive / "scans")
    assert inside(archive / path, archive / "link")


def test_inside_is_seen_without_a_table_of_mounts(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Device and inode of the folders above tell it, where the system does not say what is mounted where."""
    monkeypatch.setattr("catalogue.storage.identity._within_filesystem", lambda _: None)
    (archive / "link").symlink_to(archive / "scans")
    assert inside(archive / "link" / "Ada", archive / "scans")
    assert inside(archive / "scans" / "Ada", archive / "link")
    assert not inside(archive / "other", archive / "scans")


def test_beside_is_not_inside(archive: Path) -> None:
    (archive / "scans 2").mkdir()
    assert not inside(archive / "scans 2" / "x", archive / "scans")
    assert not overlapping(archive / "other", archive / "scans")
    assert overlapping(archive, archive / "scans")


def test_a_bind_mount_of_a_folder_deeper_down_is_inside(archive: Path, bind: Path) -> None:
    """Its parents are those of the mount point: only the system's table of mounts tells where it comes from."""
    assert inside(bind, archive / "scans")
    assert inside(bind / "Harbour" / "new.tif", archive / "scans")
    assert same_file(bind / "Harbour" / "a.tif", archive / "scans" / "Ada" / "Harbour" / "a.tif")
    assert not inside(bind, archive / "other")
    assert filesystem_id(bind) == filesystem_id(archive)


def test_two_file_systems_have_two_ids(archive: Path) -> None:
    other = Path("/dev/shm")
    if not other.is_dir() or other.stat().st_dev == archive.stat().st_dev:
        pytest.skip("no second file system to compare with")
    assert filesystem_id(archive)
    assert filesystem_id(other) != filesystem_id(archive)
    assert filesystem_id(archive / "gone") == ""
