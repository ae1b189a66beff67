"""Disks that behave otherwise: folding case and accents, shared by two programs at once."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unicodedata import normalize

import pytest
from fixity_shop import Shop

from catalogue.errors import Ambiguous, NameTaken
from catalogue.fixity.copies import copy_to
from catalogue.fixity.copying import copy_verified
from catalogue.fixity.restore import find_file
from catalogue.progress import ignore_progress, never_cancelled
from catalogue.records import events
from catalogue.records.fixity import wanted_by
from tests import recorded
from tests.waiting import HANG_SECONDS

Scan = Callable[..., Path]


def same(name: str) -> str:
    """A name as a disk compares it that folds case and composes accents."""
    return normalize("NFC", normalize("NFC", name).casefold())


@pytest.fixture
def folding(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder below which every look-up takes a name for any that differs in case or accents alone."""
    root = tmp_path / "nas"

    def found(path: Any) -> Any:
        try:
            parts = Path(os.fsdecode(path)).relative_to(root).parts
        except (TypeError, ValueError):
            return path
        place = str(root)
        for part in parts:
            names = {same(n): n for n in listed(place)}
            place = f"{place}/{names.get(same(part), part)}"
        return place

    def listed(place: str) -> list[str]:
        try:
            return real_listdir(place)
        except (FileNotFoundError, NotADirectoryError):
            return []

    real_listdir = os.listdir
    for name in ("open", "stat", "lstat", "unlink", "mkdir", "utime", "scandir"):
        monkeypatch.setattr(os, name, _on_first(getattr(os, name), found))
    for name in ("link", "rename", "replace"):
        monkeypatch.setattr(os, name, _on_both(getattr(os, name), found))
    monkeypatch.setattr(os.path, "lexists", _on_first(os.path.lexists, found))
    return root


def _whole(path: Any, folder: int | None) -> Any:
    """A name in an open folder as a path, for the stand-in to look up."""
    return path if folder is None else os.path.join(os.readlink(f"/proc/self/fd/{folder}"), os.fsdecode(path))


def _on_first(real: Callable[..., Any], found: Callable[[Any], Any]) -> Callable[..., Any]:
    def call(path: Any, *rest: Any, dir_fd: int | None = None, **more: Any) -> Any:
        return real(found(_whole(path, dir_fd)), *rest, **more)

    return call


def _on_both(real: Callable[..., Any], found: Callable[[Any], Any]) -> Callable[..., Any]:
    def call(source: Any, target: Any, *rest: Any, src_dir_fd: int | None = None, dst_dir_fd: int | None = None,
             **more: Any) -> Any:
        return real(found(_whole(source, src_dir_fd)), found(_whole(target, dst_dir_fd)), *rest, **more)

    return call


@pytest.mark.parametrize(("there", "new"), [("Harbour.TIF", "harbour.tif"), ("Cafe\u0301.tif", "Caf\u00e9.tif")])
def test_a_name_the_disk_takes_for_another_is_not_written_over(folding: Path, tmp_path: Path, there: str,
                                                               new: str) -> None:
    folding.mkdir()
    (folding / there).write_bytes(b"the only master")
    (tmp_path / "in.tif").write_bytes(b"new")
    with pytest.raises(NameTaken):
        copy_verified(tmp_path / "in.tif", folding / new, sha256=None, report=ignore_progress,
                      cancelled=never_cancelled)
    assert (folding / there).read_bytes() == b"the only master"


def test_a_store_on_such_a_disk_gets_every_scan(shop: Shop, scan: Scan, folding: Path) -> None:
    """Three pictures whose names are three here and one there."""
    for n, name in enumerate(("Caf\u00e9.tif", "Cafe\u0301.tif", "CAF\u00c9.tif")):
        scan(f"main/Ada Quill/Harbour/{name}", seed=n)
    shop.index()
    nas = shop.add("nas", "copy")
    done = copy_to(shop.db, shop.home, nas, wanted_by(shop.db, nas))
    assert (done.copied, done.renamed, done.not_copied) == (3, 2, [])
    assert len(list((folding / "Ada Quill" / "Harbour").iterdir())) == 3
    assert wanted_by(shop.db, nas) == []
    assert shop.audit("nas").intact == 3


@pytest.mark.usefixtures("folding")
def test_an_audit_finds_a_file_whose_name_the_disk_respelled(shop: Shop, scan: Scan) -> None:
    shop.add("nas", "copy")
    scan("nas/Ada Quill/Caf\u00e9.tif")
    shop.index("nas")
    held = shop.folder / "nas" / "Ada Quill"
    (held / "Caf\u00e9.tif").rename(shop.folder / "aside.tif")
    (shop.folder / "aside.tif").rename(held / "Cafe\u0301.tif")
    assert shop.audit("nas").findings == {}


def test_a_name_is_found_in_whichever_form_its_accents_are_typed(shop: Shop, scan: Scan) -> None:
    for name in ("Caf\u00e9.tif", "Re\u0301ve.tif"):
        scan(f"main/Ada/{name}", seed=len(name))
    shop.index()
    for words in ("Cafe\u0301.tif", "main:Ada/Cafe\u0301.tif", "R\u00e9ve.tif", "main:Ada/R\u00e9ve.tif"):
        assert find_file(shop.db, words).store == "main"


def test_an_audit_and_an_index_run_at_once_do_not_hurt_each_other(shop: Shop, scan: Scan) -> None:
    for n in range(12):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    child = """
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from catalogue.fixity.audit import audit
from catalogue.indexing.service import index
from catalogue.records import stores
from catalogue.records.database import open_database
from catalogue.settings import Home
home = Home(Path(sys.argv[1]))
db = open_database(home.database)
for _ in range(4):
    if sys.argv[2] == "audit":
        done = audit(db, home, stores.listed(db))
        assert done[0].intact == 12, done
    else:
        done = index(db, home, stores.listed(db), again=True, executors=ThreadPoolExecutor)
        assert done[0].read == 12, done
"""
    both = [subprocess.Popen([sys.executable, "-c", child, str(shop.home.folder), kind], stderr=subprocess.PIPE)
            for kind in ("audit", "index")]
    for one in both:
        _, told = one.communicate(timeout=HANG_SECONDS)
        assert one.returncode == 0, told.decode()
    assert list(events.broken_links(shop.db)) == []
    assert {r.outcome for r in recorded.runs(shop.db)} == {"finished"}


def test_of_files_called_alike_the_damaged_one_is_meant(shop: Shop, scan: Scan) -> None:
    """A person who restores "master.tif" means the one that is broken, not its sound copies."""
    path = scan("main/Ada Quill/Harbour/master.tif")
    nas = shop.add("nas", "copy")
    shop.index()
    copy_to(shop.db, shop.home, nas, wanted_by(shop.db, nas))
    with pytest.raises(Ambiguous):
        find_file(shop.db, "master.tif")
    path.unlink()
    shop.audit()
    assert find_file(shop.db, "master.tif").store == "main"
