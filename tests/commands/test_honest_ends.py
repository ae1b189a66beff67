"""Every command ends in words that are true and with the code that says so: 0 fine, 1 findings, 2 could not run."""

import ast
import io
import json
import os
import signal
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

import catalogue
from catalogue.commands import main
from catalogue.commands.printing import plain
from catalogue.fixity import audit as auditing
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store, retire_store
from catalogue.operations.copying import NEVER_READ, NO_INTACT_COPY, OUTCOMES
from catalogue.reading.exif import iso_time
from catalogue.records import files, findings, pieces, scans, stores
from catalogue.records.database import Database, transaction
from catalogue.records.finding_kinds import KINDS
from catalogue.settings import Home

Scan = Callable[..., Path]
PACKAGE = Path(catalogue.__file__).parent


class Told:
    """What one call of the command line gave."""

    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err
        self.all = out + err


Call = Callable[..., Told]


@pytest.fixture
def call(home: Home, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Call:
    """The command line in this process; ``typed`` is what a person answers."""

    def run(*words: object, typed: str = "") -> Told:
        monkeypatch.setattr(sys, "argv", ["catalogue", "--catalogue", str(home.folder), *map(str, words)])
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        assert "Traceback" not in told.err
        return Told(int(ended.value.code or 0), told.out, told.err)

    return run


@pytest.fixture
def archive(db: Database, home: Home, scan: Scan, tmp_path: Path) -> Path:
    scan("main/Ada Quill/Harbour/master.tif", seed=1)
    scan("main/Ada Quill/Pier/master.tif", seed=2)
    (tmp_path / "nas").mkdir()
    main_ = add_store(db, "main", tmp_path / "main", "primary", consent=True)
    nas = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    index(db, home, [main_, nas], executors=ThreadPoolExecutor)
    return tmp_path / "main"


@pytest.mark.usefixtures("archive")
@pytest.mark.parametrize(("kind", "told"), [("truncted", "'truncated'"), ("Changed", "'changed'"), ("zzz", "Kinds: ")])
def test_an_unknown_kind_of_finding_is_refused_with_what_was_meant(call: Call, kind: str, told: str) -> None:
    done = call("findings", "--kind", kind)
    assert done.code == 2 and told in done.err and kind in done.err
    assert done.out == ""


@pytest.mark.usefixtures("archive")
def test_every_kind_that_there_is_may_be_asked_for(call: Call) -> None:
    for kind in KINDS:
        assert call("findings", "--kind", kind).code in (0, 1)


def test_the_table_of_kinds_has_all_that_the_program_opens() -> None:
    """Read from the code: words given to `record`, `Observed` and `Obstacle`."""
    opened = set()
    for module in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute | ast.Name):
                name = node.func.attr if isinstance(node.func, ast.Attribute) else node.func.id
                at = {"record": 1, "Observed": 0, "Obstacle": 0}.get(name)
                if at is not None and len(node.args) > at and isinstance(node.args[at], ast.Constant):
                    opened.add(node.args[at].value)  # type: ignore[attr-defined]
    from catalogue.reading.model import Fault

    assert len(opened) > 5
    assert opened | {fault.value for fault in Fault} <= set(KINDS)


QUESTIONS = [
    (["copy", "--to", "nas"], "Nothing was copied."),
    (["store", "retire", "nas"], "Nothing was changed."),
    (["export", "manifest", "--into-store"], "Nothing was written."),
    (["order", "add", "1", "--size", "20x30", "--medium", "rag"], "Nothing was recorded."),
    (["sidecar", "1"], ""),
    (["recover"], "Nothing was changed."),
]


@pytest.mark.parametrize("typed", ["n\n", ""], ids=["no", "nobody there"])
@pytest.mark.parametrize(("words", "told"), QUESTIONS, ids=lambda v: " ".join(v) if isinstance(v, list) else "")
def test_a_no_says_what_was_not_done_and_does_nothing(call: Call, archive: Path, home: Home, db: Database,
                                                      words: list[str], told: str, typed: str) -> None:
    before = sorted((p, p.stat().st_mtime_ns) for p in archive.parent.glob("[mn]a*/**/*"))
    events = db.execute("SELECT count(*) FROM event").fetchone()[0]
    done = call(*words, typed=typed)
    assert done.code == 2
    assert told in done.err
    assert "again to continue" not in done.all and "What was done" not in done.all
    assert sorted((p, p.stat().st_mtime_ns) for p in archive.parent.glob("[mn]a*/**/*")) == before
    assert db.execute("SELECT count(*) FROM event").fetchone()[0] == events


@pytest.mark.parametrize("moment", ["at once", "at the end"])
def test_a_cancelled_audit_does_not_exit_0(call: Call, archive: Path, db: Database, monkeypatch: pytest.MonkeyPatch,
                                           moment: str) -> None:
    call("copy", "--to", "nas", "--yes")
    if moment == "at once":
        real = auditing._run

        def run(*given: object, **options: object) -> None:
            os.kill(os.getpid(), signal.SIGINT)
            real(*given, **options)  # type: ignore[arg-type]

        monkeypatch.setattr(auditing, "_run", run)
    else:
        monkeypatch.setattr("catalogue.fixity.backup.back_up_if_due",
                            lambda *_, **__: os.kill(os.getpid(), signal.SIGINT))
    done = call("audit", "main")
    assert done.code == 2
    assert "the next audit continues" in done.err


def test_copy_says_so_when_masters_can_be_had_from_nowhere(call: Call, archive: Path, db: Database) -> None:
    file = files.by_path(db, 1, "Ada Quill/Pier/master.tif")
    assert file is not None
    with transaction(db):
        findings.record(db, "unreadable", "the disk gives no bytes", store_id=1, path=file.path, file_id=file.id,
                        scan_id=file.scan_id)
    done = call("copy", "--to", "nas", "--yes")
    assert done.code == 1
    assert f"{OUTCOMES['incomplete']}; 1 copied" in done.out
    assert f"Ada Quill/Pier/master.tif: {NO_INTACT_COPY}" in done.out
    (archive / "lost.tif").touch()
    with transaction(db):
        db.execute("INSERT INTO file (store_id, path, size, mtime_ns, scan_id, state, first_seen, read_at) "
                   "VALUES (1, 'lost.tif', 5, 0, NULL, 'present', '2026', '2026')")
    assert f"lost.tif: {NEVER_READ}" in call("copy", "--to", "nas", "--yes", "--masters").out


def test_a_retired_store_leaves_no_findings_and_frees_its_name(call: Call, archive: Path, db: Database,
                                                               tmp_path: Path) -> None:
    with transaction(db):
        findings.record(db, "missing", "gone", store_id=2, path="x.tif")
    assert call("store", "retire", "nas", "--yes").code == 0
    assert findings.list_open(db, store_id=2) == []
    (event,) = db.execute("SELECT detail FROM event WHERE store = 'nas' ORDER BY id DESC LIMIT 1").fetchone()
    assert "retired" in event
    (tmp_path / "new nas").mkdir()
    assert call("store", "add", "nas", tmp_path / "new nas", "--kind", "copy", "--marker").code == 0
    back = call("store", "add", "old nas", tmp_path / "nas", "--kind", "copy")  # its marker brings its rows back
    assert back.code == 0
    assert {s.name for s in stores.listed(db)} == {"main", "nas", "old nas"}
    retire_store(db, stores.by_name(db, "nas"))
    assert {s.name for s in stores.listed(db)} == {"main", "old nas"}


def test_a_store_is_moved_on_a_persons_word(call: Call, archive: Path, db: Database, tmp_path: Path) -> None:
    archive.rename(tmp_path / "new disk")
    done = call("store", "move", "main", tmp_path / "new disk")
    assert done.code == 0 and str(tmp_path / "new disk") in done.out
    assert stores.by_name(db, "main").root == str(tmp_path / "new disk")
    assert call("store", "move", "main", tmp_path / "nas").code == 2


@pytest.mark.usefixtures("archive")
@pytest.mark.parametrize("words", [
    ["show", "²"], ["show", "9" * 30], ["show", "\udce9"], ["find", "\udce9"], ["order", "show", "\udce9"],
    ["alike", "merge", "9" * 30, "1"], ["edition", "close", "9" * 30], ["order", "repeat", "x", "--line", "9" * 30],
    ["artist", "set", "ada", "--notes", "\udce9"], ["edition", "show", "٣"], ["audit", "--bytes", "²G"],
    ["order", "add", "1", "--size", "²x³"], ["order", "add", "1", "--size", "20x30", "--price", "²"],
    ["order", "add", "1", "--size", "20x30", "--date", "²²²²-²²-²²"], ["audit", "\udce9"], ["store", "list", "x"],
], ids=ascii)
def test_odd_arguments_are_answered_in_words(call: Call, words: list[str]) -> None:
    done = call(*words)
    assert done.code == 2 and len(done.err) > 20


@pytest.mark.parametrize("words", [[], ["demo", "--archive", "/nowhere"]])
def test_without_a_terminal_the_screens_are_not_opened(call: Call, words: list[str]) -> None:
    done = call(*words)
    assert done.code == 2 and "need a terminal" in done.err and "--help" in done.err


def test_a_dumb_terminal_is_told(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.setattr(io, "StringIO", Terminal)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    done = call()
    assert done.code == 2 and "TERM is dumb" in done.err


@pytest.mark.parametrize("damage", ["cut", "noise", "pipe", "folder"])
def test_a_damaged_preview_costs_the_picture_not_the_page(call: Call, archive: Path, home: Home, damage: str) -> None:
    assert call("order", "add", "1", "--size", "20x30", "--medium", "rag", "--number", "7", "--yes").code == 0
    for preview in home.previews.rglob("*.webp"):
        data = preview.read_bytes()
        preview.unlink()
        if damage == "pipe":
            os.mkfifo(preview)
        elif damage == "folder":
            preview.mkdir()
        else:
            preview.write_bytes(data[:len(data) // 2] if damage == "cut" else data[:40] + os.urandom(300))
    assert call("order", "sheet", "7").code == 0
    assert call("export", "holdings", "ada").code == 0


def test_the_first_job_sheet_after_a_remount_names_the_place_as_it_is_now(
        call: Call, archive: Path, home: Home, db: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert call("order", "add", "1", "--size", "20x30", "--medium", "rag", "--number", "7", "--yes").code == 0
    moved = tmp_path / "mnt" / "disk"
    moved.parent.mkdir()
    archive.rename(moved)
    monkeypatch.setattr("catalogue.indexing.mount_points.candidates", lambda _: iter([moved]))
    told = call("order", "sheet", "7", "--text").out
    assert f"at {moved}" in told and f"at {archive}" not in told


@pytest.mark.parametrize(("stated", "iso"), [
    ("²²²²:01:02 10:00:00", "²²²²:01:02 10:00:00"), ("9" * 5000 + ":01:02", "9" * 5000 + ":01:02"),
    ("2024:01:02 10:00:00", "2024-01-02T10:00:00"), ("0000:00:00 00:00:00", ""), ("²²", "")])
def test_signs_that_are_no_digits_do_not_cost_the_picture(stated: str, iso: str) -> None:
    """Exif 2.32, 4.6.5: dates are ASCII."""
    assert iso_time(stated) == iso


def test_a_list_of_orders_by_words_misses_none_of_a_year_or_status(call: Call, archive: Path) -> None:
    """More orders fit the words than lines were asked for, and the ones wanted are not the first hits."""
    for number in range(12):
        year = 2020 if number in (3, 9) else 2024
        assert call("order", "add", "1", "--size", "20x30", "--medium", "rag", "--number", f"X-{number}", "--buyer",
                    "Marlow", "--date", f"{year}-01-{number + 1:02}", "--unnumbered", "--yes").code == 0
    told = call("order", "list", "marlow", "--year", "2020", "--limit", "2").out
    assert told.index("X-9") < told.index("X-3")
    assert "X-1" not in told.replace("X-11", "")
    newest = call("order", "list", "marlow", "--limit", "3").out
    assert all(number in newest for number in ("X-11", "X-10", "X-8")) and "X-7" not in newest


def test_names_that_are_no_utf8_come_out_of_json_as_valid_text(call: Call, db: Database, home: Home, scan: Scan,
                                                              tmp_path: Path) -> None:
    """RFC 8259, 8.2: lone surrogates make JSON unpredictable; the catalogue's own //xx says the byte."""
    link = tmp_path / "plain"
    (link / "Ada Quill" / "Harbour").mkdir(parents=True)
    scan("odd.tif", seed=1).rename(link / "Ada Quill" / "Harbour" / os.fsdecode(b"latin \xe9.tif"))
    index(db, home, [add_store(db, "main", link, "primary", consent=True)], executors=ThreadPoolExecutor)
    with transaction(db):
        piece_id = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour")
        for (scan_id,) in db.execute("SELECT id FROM scan").fetchall():
            scans.set_piece(db, int(scan_id), piece_id)
    text = call("show", piece_id, "--json").out
    (file,) = json.loads(text)["scans"][0]["files"]
    assert file["path"] == "Ada Quill/Harbour/latin //e9.tif"
    assert "\\ud" not in text.lower()
    text.encode("utf-8")
    assert plain(os.fsdecode(b"x \xe9")) == "x //e9" and plain({os.fsdecode(b"\xe9"): float("nan")}) == {"//e9": None}
