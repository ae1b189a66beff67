"""The crawl: order, what it passes over, names of any bytes."""

import os
import sqlite3
import tempfile
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from catalogue.indexing.crawl import Obstacle, crawl
from catalogue.records.paths import display_path, escape_path, native_path
from catalogue.settings import Settings

IGNORE = Settings().ignore
name_bytes = st.binary(min_size=1, max_size=12).filter(lambda b: not {0, ord("/")} & set(b) and b not in (b".", b".."))


@given(st.lists(name_bytes, min_size=1, max_size=5))
def test_any_name_is_kept_and_given_back(parts: list[bytes]) -> None:
    path = os.fsdecode(b"/".join(parts))
    assert native_path(escape_path(path)) == path
    escape_path(path).encode("utf-8")  # must be text SQLite can hold
    assert "//" not in display_path(escape_path(path))


@given(st.sets(st.lists(st.sampled_from(["a", "b", "a-", "a b", "é", "Z", "a.tif", "\U0001f3a8"]), min_size=1,
                        max_size=3).map(tuple), min_size=1, max_size=12))
def test_crawl_runs_in_the_order_the_database_sorts(paths: set[tuple[str, ...]]) -> None:
    """The merge of crawl and catalogue rests on this; SQLite's own BINARY order is the judge."""
    with tempfile.TemporaryDirectory() as folder:
        for parts in paths:
            place = Path(folder, *(f"d{p}" for p in parts[:-1]), parts[-1] + ".tif")
            place.parent.mkdir(parents=True, exist_ok=True)
            place.touch()
        found = [path for path, _, _ in crawl(Path(folder), IGNORE, lambda _: None)]
    db = sqlite3.connect(":memory:")
    db.execute("CREATE TABLE t (path TEXT)")
    db.executemany("INSERT INTO t VALUES (?)", [(p,) for p in found])
    assert found == [row[0] for row in db.execute("SELECT path FROM t ORDER BY path")]
    assert len(found) == len({"/".join(p) for p in paths})


def test_hidden_and_system_names_are_passed_over(tmp_path: Path) -> None:
    for name in (".hidden.tif", "._master.tif", ".Trash-1000/files/thrown away.tif", "@eaDir/thumb.tif",
                 "#recycle/old.tif", "notes.txt", "keep.TIF"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).touch()
    assert [path for path, _, _ in crawl(tmp_path, IGNORE, lambda _: None)] == ["keep.TIF"]


def test_a_missing_root_is_an_obstacle(tmp_path: Path) -> None:
    met: list[Obstacle] = []
    assert list(crawl(tmp_path / "gone", IGNORE, met.append)) == []
    assert [o.kind for o in met] == ["unreadable folder"]
