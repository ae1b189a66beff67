"""Open folders: no link leads out of one, and no swap between two looks leads elsewhere."""

import errno
import os
from pathlib import Path

import pytest

from catalogue.errors import CatalogueError, NameTaken, NotFound, Refused, StoreAway
from catalogue.storage import atomic
from catalogue.storage.atomic import NAME_EXISTS, part_folder, write_atomically, write_new
from catalogue.storage.folders import (
    MARKER,
    missing_calls,
    open_below,
    open_entry,
    open_folder,
    open_root,
    read_small,
    still_at,
)
from catalogue.storage.medium import NoRoom


def test_a_linked_folder_is_not_entered(tmp_path: Path) -> None:
    (tmp_path / "scans" / "Ada").mkdir(parents=True)
    (tmp_path / "nas").mkdir()
    (tmp_path / "nas" / "Ada").symlink_to(tmp_path / "scans" / "Ada")
    with open_folder(tmp_path / "nas") as root:
        with pytest.raises(Refused, match="link"), open_below(root, "Ada", create=True):
            pass
        with pytest.raises(Refused, match="link"), open_entry(root, "Ada/a.tif", create=True):
            pass


@pytest.mark.parametrize("path", ["../x", "a/../../x", "/etc/passwd", "a//b", ".", "a/./b", "nul\0"])
def test_a_path_that_leads_out_is_refused(tmp_path: Path, path: str) -> None:
    with open_folder(tmp_path) as root, pytest.raises(Refused), open_entry(root, path, create=True):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_folder_swapped_for_a_link_after_opening_gets_nothing(tmp_path: Path) -> None:
    (tmp_path / "nas").mkdir()
    (tmp_path / "elsewhere").mkdir()
    with open_folder(tmp_path / "nas") as root, open_entry(root, "Ada/a.tif", create=True) as entry:
        (tmp_path / "nas" / "Ada").rename(tmp_path / "moved")
        (tmp_path / "nas" / "Ada").symlink_to(tmp_path / "elsewhere")
        write_new(entry, b"bytes")
        assert not still_at(entry.folder)
    assert list((tmp_path / "elsewhere").iterdir()) == []
    assert (tmp_path / "moved" / "a.tif").read_bytes() == b"bytes"


def test_another_folder_in_the_place_of_a_root_is_noticed(tmp_path: Path) -> None:
    root = tmp_path / "nas"
    root.mkdir()
    (root / MARKER).write_text('{"store": "one"}')
    with open_root(root, "one") as held:
        known = held.id
    root.rename(tmp_path / "pulled")
    with pytest.raises(StoreAway), open_root(root, "one"):
        pass
    root.mkdir()
    with pytest.raises(StoreAway, match="another folder"), open_root(root, "one"):
        pass
    (root / MARKER).write_text('{"store": "one"}')  # a clone of it
    with pytest.raises(StoreAway, match="another folder"), open_root(root, "one", known=known):
        pass


def test_a_missing_folder_is_made_only_when_asked(tmp_path: Path) -> None:
    with open_folder(tmp_path) as root:
        with pytest.raises(NotFound), open_below(root, "a/b"):
            pass
        with open_below(root, "a/b", create=True) as folder:
            assert folder.names() == []
    assert (tmp_path / "a" / "b").is_dir()


def test_small_files_are_read_and_nothing_else(tmp_path: Path) -> None:
    (tmp_path / "plain").write_bytes(b"abc")
    (tmp_path / "link").symlink_to(tmp_path / "plain")
    os.mkfifo(tmp_path / "pipe")
    with open_folder(tmp_path) as root:
        assert read_small(root.entry("plain"), 3) == b"abc"
        assert [read_small(root.entry(n), 3) for n in ("link", "pipe", "gone")] == [None, None, None]
        assert read_small(root.entry("plain"), 2) is None


def test_write_new_leaves_what_stands_there(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises(NameTaken):
        write_new(tmp_path / "a", b"new")
    assert (tmp_path / "a").read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


@pytest.mark.parametrize("call", ["write", "fsync", "replace"])
def test_a_failing_disk_leaves_the_old_file_and_no_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                        call: str) -> None:
    (tmp_path / "a").write_bytes(b"old")

    def failing(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(os, call, failing)
        with pytest.raises(NoRoom):
            write_atomically(tmp_path / "a", b"new")
    assert (tmp_path / "a").read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a"]


def test_what_cannot_even_be_cleared_up_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object, **__: object) -> None:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", failing)
        patch.setattr(os, "unlink", failing)
        with pytest.raises(CatalogueError) as told:
            write_atomically(tmp_path / "a", b"new")
    assert ".catalogue-part-" in told.value.hint
    assert "could not be removed" in told.value.hint


def test_write_new_takes_its_own_earlier_file_for_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that the disk did not confirm left the whole file: the next call confirms it and refuses nothing."""
    def failing(_: int) -> None:
        raise OSError(errno.EIO, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(atomic, "sync", failing)
        with pytest.raises(CatalogueError, match="in its place"):
            write_new(tmp_path / "a", b"bytes")
    write_new(tmp_path / "a", b"bytes")
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("a", b"bytes")]
    with pytest.raises(NameTaken):
        write_new(tmp_path / "a", b"byte")


def test_without_names_looked_up_in_open_folders_no_store_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                                                     ) -> None:
    assert missing_calls() == []
    monkeypatch.setattr(os, "supports_dir_fd", os.supports_dir_fd - {os.unlink})
    assert missing_calls() == ["unlinkat"]
    with pytest.raises(Refused, match="unlinkat"), open_root(tmp_path, None):
        pass


def test_a_new_folder_is_put_over_none_that_came_meanwhile(tmp_path: Path) -> None:
    """rename(2) replaces an empty folder without a word."""
    target = tmp_path / "bag"
    with pytest.raises(Refused, match=NAME_EXISTS), part_folder(target):
        target.mkdir()
        others = target.stat().st_ino
    assert target.stat().st_ino == others
    assert [path.name for path in tmp_path.iterdir()] == ["bag"], "nothing is left of the new one"
