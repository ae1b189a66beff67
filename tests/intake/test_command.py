"""``catalogue intake``, ``tidy`` and ``sidecar`` as a person calls them."""

import json
import signal
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from intake_pictures import Write

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import CatalogueError, NotFound
from catalogue.indexing.stores import add_store
from catalogue.intake import arrivals, watching
from catalogue.intake.proposals import WHICH_ARTIST
from catalogue.records import pieces
from catalogue.records.database import Database
from catalogue.records.stores import Store
from catalogue.settings import Home
from tests import recorded


def run(home: Home, *words: str) -> Result:
    return CliRunner().invoke(command, ["--catalogue", str(home.folder), *words], obj=Session())


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 255, (50, 60, 3), dtype=np.uint8)


@pytest.fixture
def key(write: Write, store: Store, tmp_path: Path) -> Path:
    assert store
    write("one.tif", noise(1), at="2026-03-01T10:00:00")
    write("two.tif", noise(2), at="2026-03-02T10:00:00")
    return tmp_path / "key"


def test_nothing_is_copied_unasked(home: Home, key: Path, tmp_path: Path) -> None:
    for words in ((), ("--dry-run", "--artist", "Ada Quill", "--piece", "Harbour")):
        result = run(home, "intake", str(key), *words)
        assert "Nothing was copied." in result.output
        assert not list((tmp_path / "masters").rglob("*.tif"))
    assert result.exit_code == 0, "nothing is open when all is said"
    assert "Ada Quill - Harbour - master - 2026-03-01.tif" in result.output, "the rule is previewed"


def test_yes_takes_what_is_sure_and_leaves_the_rest_with_its_question(home: Home, key: Path, tmp_path: Path) -> None:
    result = run(home, "intake", str(key), "--yes")
    assert result.exit_code == 1
    assert WHICH_ARTIST in result.output
    result = run(home, "intake", str(key), "--yes", "--artist", "Ada Quill", "--piece", "Harbour", "--note",
                 "light=left, 30°")
    assert result.exit_code == 0, result.output
    assert "2 files imported" in result.output
    assert len(list((tmp_path / "masters").rglob("*.tif"))) == 2
    shown = run(home, "show", "Harbour", "--json")
    assert "Ada Quill" in shown.output


def test_an_artist_named_for_a_whole_folder_takes_no_scan_from_the_piece_it_is_filed_under(
        db: Database, home: Home, key: Path, tmp_path: Path) -> None:
    """A stick may hold what the shop has already, by another artist and in another store."""
    run(home, "intake", str(key), "--yes", "--artist", "Ada Quill", "--piece", "Harbour")
    (tmp_path / "second").mkdir()
    add_store(db, "second", tmp_path / "second", "copy", consent=True)
    result = run(home, "intake", str(key), "--yes", "--artist", "Cora Lind", "--into", "second", "--also", "masters")
    assert "on record as Ada Quill: Harbour, and stays filed there" in result.output
    assert [(p.artist, p.title) for p in pieces.every(db)] == [("Ada Quill", "Harbour")]
    assert len(list((tmp_path / "second" / "Ada Quill").rglob("*.tif"))) == 2
    assert len(list((tmp_path / "masters").rglob("*.tif"))) == 2, "a store that holds a file gets no second copy"
    assert any("imported as Ada Quill: Harbour" in event.detail for event in recorded.events(db))


def test_a_key_whose_files_are_all_held_is_cleared_by_running_it_again(home: Home, key: Path, tmp_path: Path) -> None:
    """As after a kill between the last copy and the first removal: nothing was to be imported, so nothing was done."""
    (home.folder / "settings.toml").write_text("copies_on_one_disk = true\n")
    (tmp_path / "nas").mkdir()
    assert run(home, "store", "add", "nas", str(tmp_path / "nas"), "--kind", "copy", "--marker").exit_code == 0
    words = ("intake", str(key), "--also", "nas", "--yes", "--artist", "Ada Quill", "--piece", "Harbour")
    assert run(home, *words).exit_code == 0
    assert run(home, *words).exit_code == 0 and len(list(key.iterdir())) == 2, "removed only when that is asked for"
    result = run(home, *words, "--remove-sources")
    assert result.exit_code == 0, result.output
    assert "2 files removed" in result.output and "imported" not in result.output
    assert list(key.iterdir()) == []


def test_what_is_held_and_lacks_its_further_copy_is_told_with_the_command_that_makes_it(
        home: Home, key: Path, tmp_path: Path) -> None:
    """As after a kill between the first copy and the second: the file is held already, and nas has nothing of it."""
    (tmp_path / "nas").mkdir()
    assert run(home, "store", "add", "nas", str(tmp_path / "nas"), "--kind", "copy", "--marker").exit_code == 0
    words = ("intake", str(key), "--yes", "--artist", "Ada Quill", "--piece", "Harbour")
    assert run(home, *words).exit_code == 0
    result = run(home, *words, "--also", "nas")
    assert "2 files already held" in result.output and "catalogue copy --to nas" in result.output
    assert result.exit_code == 1
    assert json.loads(run(home, *words, "--also", "nas", "--json").stdout)["without_copy"] == {"nas": 2}
    assert run(home, "copy", "--to", "nas", "--yes").exit_code == 0
    result = run(home, *words, "--also", "nas")
    assert (result.exit_code, "not in nas" in result.output) == (0, False)


def test_watching_tells_what_comes_until_ctrl_c_then_shows_the_plan(
        home: Home, key: Path, write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    (key / "two.tif").unlink()
    looks: list[float] = []

    def next_look(seconds: float) -> None:
        looks.append(seconds)
        if len(looks) == 2:
            write("late.tif", noise(3), at="2026-03-01T10:05:00")
        if len(looks) == 4:
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(time, "sleep", next_look)
    monkeypatch.setattr(watching, "SETTLE", 0.0)
    monkeypatch.setattr(arrivals, "read_one", lambda _: pytest.fail("read a second time"))
    result = run(home, "intake", str(key), "--watch", "--dry-run", "--artist", "Ada Quill", "--piece", "Harbour")
    assert result.exit_code == 0, result.output
    told = [result.output.index(text) for text in (
        "one.tif: overlaps no earlier scan", "? late.tif", "late.tif →")]
    assert told == sorted(told)


def test_json_is_one_document(home: Home, key: Path) -> None:
    data = json.loads(run(home, "intake", str(key), "--json", "--yes", "--artist", "A", "--piece", "B").output)
    assert {p["kind"] for p in data["plan"]} == {"new master"}
    assert len(data["outcome"]["taken"]) == 2


def test_a_store_must_be_known(home: Home, key: Path) -> None:
    assert isinstance(run(home, "intake", str(key), "--into", "nowhere").exception, NotFound)
    assert isinstance(run(home, "intake", str(key / "none")).exception, CatalogueError)


def test_tidy_shows_applies_on_yes_and_undoes(home: Home, key: Path, tmp_path: Path) -> None:
    run(home, "intake", str(key), "--yes", "--artist", "Ada Quill", "--piece", "Harbour")
    odd = next((tmp_path / "masters").rglob("*2026-03-01.tif"))
    odd.rename(odd.with_name("odd.tif"))
    run(home, "index")
    shown = run(home, "tidy", "masters")
    assert (shown.exit_code, "Nothing was changed." in shown.output) == (1, True)
    assert odd.with_name("odd.tif").exists()
    done = run(home, "tidy", "masters", "--yes")
    assert done.exit_code == 0, done.output
    assert odd.exists()
    undo = next(line.rpartition("--undo ")[2] for line in done.output.splitlines() if "--undo" in line)
    assert run(home, "tidy", "--undo", undo.strip()).exit_code == 0
    assert odd.with_name("odd.tif").exists()


def test_sidecar_needs_a_yes(home: Home, key: Path, tmp_path: Path) -> None:
    run(home, "intake", str(key), "--yes", "--artist", "Ada Quill", "--piece", "Harbour")
    assert run(home, "sidecar", "Harbour").exit_code == 2
    assert not list((tmp_path / "masters").rglob("*.xmp"))
    result = run(home, "sidecar", "Harbour", "--rights", "© Ada Quill", "--yes")
    assert result.exit_code == 0, result.output
    assert len(list((tmp_path / "masters").rglob("*.xmp"))) == 2
