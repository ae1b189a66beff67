"""The commands of this room as a person types them: what they print, ask and exit with."""

import errno
import json
import os
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from fixity_shop import Shop, rot, spoil

from catalogue.commands import command, main
from catalogue.commands.audit import duration, share, size
from catalogue.fixity import checking
from catalogue.operations.indexing import index_stores, summarize
from catalogue.progress import data_size
from catalogue.reading.model import ACCESS_DENIED
from catalogue.records import pieces, scans
from catalogue.records.database import transaction
from catalogue.records.locations import SharedDevice

Scan = Callable[..., Path]
MASTER = "Ada Quill/Harbour/master.tif"


@dataclass
class Done:
    code: int
    out: str
    err: str


@pytest.fixture
def run(shop: Shop, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Callable[..., Done]:
    def call(*words: str, answer: str = "") -> Done:
        monkeypatch.setattr(sys, "argv", ["catalogue", "--catalogue", str(shop.home.folder), *words])
        read, write = os.pipe()
        os.write(write, answer.encode())
        os.close(write)
        with os.fdopen(read) as stdin:
            monkeypatch.setattr(sys, "stdin", stdin)
            capfd.readouterr()
            with pytest.raises(SystemExit) as ended:
                main()
        out, err = capfd.readouterr()
        return Done(int(ended.value.code or 0), out, err)

    return call


@pytest.fixture
def master(shop: Shop, scan: Scan) -> Path:
    path = scan(f"main/{MASTER}", seed=1)
    shop.add("nas", "copy")
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "master")
    return path


Run = Callable[..., Done]


def test_audit_copy_restore_from_end_to_end(shop: Shop, run: Run, master: Path) -> None:
    good = master.read_bytes()
    first = run("audit")
    assert first.code == 1, "one copy is a finding"
    assert "1 intact" in first.out and "single copy" in first.out
    assert run("copy", "--to", "nas", answer="n\n").code == 2
    assert not (shop.folder / "nas" / MASTER).exists()
    assert run("copy", "--to", "nas", answer="y\n").code == 0
    rot(master, 700)
    found = run("audit", "main", "--json")
    assert found.code == 1
    assert json.loads(found.out)["stores"][0]["findings"] == {"changed": 1}
    assert run("restore", "master.tif", answer="n\n").code == 2
    assert master.read_bytes() != good
    back = run("restore", f"main:{MASTER}", "--from", "nas", "--yes")
    assert back.code == 0 and "Restored and verified" in back.out and ".damaged-" in back.out
    (kept,) = (shop.folder / "main").rglob("*.damaged-*")
    listed = run("doubles")
    assert f"1 file replaced and kept under another name, {data_size(kept.stat().st_size)}. Delete" in listed.out
    assert kept.name in listed.out and listed.code == 0
    here = kept.relative_to(shop.folder / "main").as_posix()
    stores_told = {each["store"]["name"]: each["set_aside"] for each in json.loads(run("doubles", "--json").out)}
    assert stores_told == {"main": [{"path": here, "size": kept.stat().st_size}], "nas": []}
    kept.unlink()
    assert "kept under another name" not in run("doubles").out
    assert master.read_bytes() == good
    assert run("restore", f"main:{MASTER}", "--yes").code == 2, "a sound file is left"


def test_audit_of_a_sound_archive_with_copies_exits_0(shop: Shop, run: Run, master: Path) -> None:
    shop.add("away", "off-site")
    run("copy", "--to", "nas", "--yes")
    run("copy", "--to", "away", "--yes")
    assert run("audit").code == 0
    assert run("audit", "--time", "1h", "--bytes", "5G").code == 0
    assert run("audit", "--sample", "50%").code == 0
    assert run("audit", "--log").code == 0
    assert master.exists()


@pytest.mark.usefixtures("master")
def test_wrong_words_exit_2_and_say_what_is_right(run: Run) -> None:
    for words, said in ((("audit", "--time", "soon"), "90m"), (("audit", "--bytes", "much"), "500G"),
                        (("audit", "--sample", "0%"), "5%"), (("audit", "attic"), "Known stores: main, nas"),
                        (("restore", "nothing.tif"), "STORE:path"), (("copy", "--to", "attic"), "Known stores")):
        done = run(*words)
        assert done.code == 2
        assert said in done.err


def test_budgets_as_people_write_them() -> None:
    assert (duration("90m"), duration("2h"), duration("1h30m"), duration("1.5 h"), duration("1d")) == (
        5400, 7200, 5400, 5400, 86400)
    assert (size("500G"), size("1.5TB"), size("20 mb"), size("7")) == (500 * 10**9, 15 * 10**11, 2 * 10**7, 7)
    assert (share("5%"), share("0.5 %"), share("100%")) == (0.05, 0.005, 1.0)
    for wrong, what in (("2", duration), ("h", duration), ("2h of", duration), ("5X", size), ("5", share),
                        ("101%", share)):
        with pytest.raises(click.BadParameter):
            what(wrong)


@pytest.mark.usefixtures("master")
def test_manifests_ask_before_they_go_into_a_store(shop: Shop, run: Run) -> None:
    place = shop.folder / "main" / "scan-store.sha256"
    assert run("export", "manifest", "main").code == 0
    assert not place.exists()
    assert run("export", "manifest", "main", "--into-store", answer="n\n").code == 2
    assert not place.exists()
    assert run("export", "manifest", "main", "--into-store", answer="y\n").code == 0
    assert place.exists()
    before = place.read_bytes()
    assert run("backup").code == 0
    assert place.read_bytes() != before, "a backup brings it up to date"
    assert "catalogue-000001" in run("backup", "--list").out


@pytest.mark.usefixtures("master")
def test_bags_are_written_and_checked(shop: Shop, run: Run) -> None:
    bag = shop.folder / "bag"
    assert run("export", "bag", str(bag), "--artist", "quill").code == 0
    assert run("export", "bag", str(bag), "--check").code == 0
    (bag / "data" / MASTER).write_bytes(b"x")
    done = run("export", "bag", str(bag), "--check", "--json")
    assert done.code == 1
    assert json.loads(done.out)["valid"] is False
    assert run("export", "bag", str(shop.folder / "other"), "--piece", "Harbour", "--masters").code == 0


@pytest.mark.usefixtures("master")
def test_levels_are_told_and_answers_kept(run: Run) -> None:
    assert "Storage: below level 1" in run("levels").out
    assert run("levels", "--answer", "rights decided", "yes, both of us").code == 0
    done = json.loads(run("levels", "--json").out)
    assert {a["area"]: a["level"] for a in done}["Control"] == 1


def test_recover_and_rebuild(shop: Shop, run: Run, master: Path) -> None:
    run("export", "manifest", "main", "--into-store", "--yes")
    run("backup")
    assert run("recover", "--yes").code == 2, "a sound catalogue is left"
    shop.db.close()
    spoil(shop.home)
    assert run("recover", "--yes").code == 0
    assert run("audit", "main").code == 1
    for path in shop.home.backups.iterdir():
        path.unlink()
    shop.home.database.unlink()
    rot(master, 700)
    done = run("recover", "--rebuild", str(shop.folder / "main"), "--yes")
    assert done.code == 0
    assert "1 differ from it" in done.out


def test_a_lost_catalogue_comes_back_with_its_orders_and_edition_numbers(shop: Shop, run: Run, master: Path) -> None:
    """From the stores, their manifests and the ledger's tables alone: the next number is the right one."""
    assert run("edition", "set", "Harbour", "--limit", "10").code == 0
    ordered = run("order", "add", "Harbour", "--size", "50x70", "--quantity", "3", "--number", "K-1", "--yes")
    assert ordered.code == 0, ordered.err
    assert run("backup", "--also", str(shop.folder / "usb")).code == 0
    shop.db.close()
    for path in sorted(shop.home.folder.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    rot(master, 700)
    shop.home.folder.joinpath("manifests").mkdir()
    for path in (shop.folder / "usb" / "manifests").iterdir():
        path.rename(shop.home.folder / "manifests" / path.name)
    done = run("recover", "--rebuild", str(shop.folder / "main"), "--ledger", str(shop.folder / "usb" / "ledger"),
               "--yes", "--json")
    assert done.code == 0, done.err
    told = json.loads(done.out)
    assert told["ledger"]["editions.csv"] == told["ledger"]["orders.csv"] == [1, 0]
    assert not any(left_out for _, left_out in told["ledger"].values())
    assert told["rebuilt"]["stores"][0]["differ"] == 1
    (edition,) = json.loads(run("edition", "show", "Harbour", "--json").out)
    state = edition["state"]
    assert (state["numbers_out"], state["numbers_left"], state["next_number"]) == (3, 7, 4)


def test_help_names_them_and_imports_nothing_heavy() -> None:
    seen = subprocess.run([sys.executable, "-X", "importtime", "-m", "catalogue", "audit", "--help"],
                          capture_output=True, text=True, check=True)
    assert "--sample" in seen.stdout
    for heavy in ("numpy", "cv2", "tifffile", "textual"):
        assert f" {heavy}\n" not in seen.stderr
    assert set(command.list_commands(click.Context(command))) >= {  # type: ignore[attr-defined]
        "audit", "restore", "copy", "backup", "recover", "levels", "export"}


@pytest.mark.usefixtures("master")
def test_findings_say_what_to_do_as_far_as_it_can_be_done(shop: Shop, run: Run) -> None:
    """They advised to copy what no store holds soundly any more, and to restore without saying from where."""
    assert run("copy", "--to", "nas", "--yes").code == 0
    rot(shop.folder / "main" / MASTER, 900)
    run("audit")
    told = run("findings", "--kind", "changed")
    assert "changed: Restore it from nas, checked" in told.out
    assert f"  catalogue restore 'main:{MASTER}' --from nas\n" in told.out
    rot(shop.folder / "nas" / MASTER, 900)
    run("audit")
    told = run("findings")
    assert "catalogue copy" not in told.out
    assert "catalogue restore" not in told.out
    assert "No intact copy is on record." in told.out
    of_master = json.loads(run("findings", "--json", "--kind", "single copy").out)[0]
    assert (of_master["detail"], of_master["command"]) == ("no sound copy, 2 wanted", "")
    assert of_master["hint"].startswith("Nothing sound is left to copy.")


@pytest.mark.parametrize("name", ["new\nline.tif", "esc\x1b[31mred.tif", "latin\udce9\udcff.tif", "it's \t one.tif"])
def test_a_file_is_restored_by_the_command_and_by_the_name_that_are_shown(shop: Shop, scan: Scan, run: Run,
                                                                          name: str) -> None:
    scan(f"main/Ada Quill/Harbour/{name}", seed=1)
    shop.add("nas", "copy")
    shop.index()
    assert run("copy", "--to", "nas", "--yes").code == 0
    lost = shop.folder / "main" / "Ada Quill" / "Harbour" / name
    held = lost.read_bytes()
    lost.unlink()
    shop.index()
    (step,) = json.loads(run("findings", "--json", "--kind", "missing").out)
    shell = subprocess.run(["bash", "-c", f"printf '%s\\0' {step['command']}"], capture_output=True, check=True)
    words = [os.fsdecode(word) for word in shell.stdout.split(b"\0")[:-1]]
    assert run(*words[1:], "--yes").code == 0
    assert lost.read_bytes() == held
    lost.unlink()
    shop.index()
    shown = next(line for line in run("findings", "--kind", "missing").out.splitlines() if line.startswith("  main:"))
    assert run("restore", shown.strip().rpartition("  #")[0], "--yes").code == 0
    assert lost.read_bytes() == held


@pytest.mark.usefixtures("master")
def test_a_file_that_may_not_be_opened_is_no_reason_to_replace_the_disk(shop: Shop, run: Run,
                                                                        monkeypatch: pytest.MonkeyPatch) -> None:
    real = os.open

    def refuse(path: str, *given: int, **named: int) -> int:
        if os.fspath(path).endswith(MASTER):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return real(path, *given, **named)

    with monkeypatch.context() as patched:
        patched.setattr(checking.os, "open", refuse)
        shop.audit()
    told = run("findings", "--kind", "unreadable")
    assert "unreadable: Check its permissions, then audit it again." in told.out
    assert "replace this disk" not in told.out
    (row,) = json.loads(run("findings", "--kind", "unreadable", "--json").out)
    assert row["cause"] == ACCESS_DENIED


def test_stores_on_one_server_are_told_with_its_name(
        run: Run, shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.add("nas", "copy")
    shared = [SharedDevice("main", "nas", "tower")]
    for module in ("store", "doctor"):
        monkeypatch.setattr(f"catalogue.commands.{module}.on_one_disk", lambda _: shared)
    assert "main and nas are both on the server tower: if it fails, both are lost." in run("store", "list").out
    listed = json.loads(run("store", "list", "--json").out)
    assert [(row["on one disk with"], row["server"]) for row in listed] == [(["nas"], "tower"), (["main"], "tower")]
    assert "on one server with" in run("doctor").out


def test_what_one_disk_holds_is_told_as_one_copy(run: Run, shop: Shop, master: Path, scan: Scan) -> None:
    """Both stores of this shop lie on one disk, which one failure takes whole."""
    told = "all stores lie on one disk or server: no scan has a second copy"
    assert told in run("copy", "--to", "nas", "--yes").out
    scan("main/0001.tif", seed=9)
    indexed = summarize(index_stores(shop.db, shop.home, workers=1, executors=ThreadPoolExecutor))
    assert f"{told}. Add a store on another disk: catalogue store add NAME FOLDER --kind copy." in indexed
    assert "1 scan not filed under a piece: catalogue scan list" in indexed
    assert "main:0001.tif" in run("scan", "list").out and told in run("findings").out
    with transaction(shop.db):
        piece = pieces.piece_called(shop.db, pieces.artist_called(shop.db, "Ada Quill").id, "Harbour", "")
        pieces.set_current(shop.db, piece, shop.due(MASTER).scan_id, "person")
        scans.set_piece(shop.db, shop.due(MASTER).scan_id, piece)
    audited = run("audit")
    assert f"{told}. Add a store on another disk: catalogue store add" in audited.out
    assert json.loads(run("audit", "--json").out)["all on one disk"] is True
    shown = json.loads(run("show", str(piece), "--json").out)["scans"][0]
    assert (shown["stores"], shown["copies"]) == (2, 1)
    assert "2 stores on 1 disk or server, so 1 copy" in run("show", str(piece)).out
    (shop.home.folder / "settings.toml").write_text("copies_on_one_disk = true\n")
    assert told not in run("audit").out
    assert json.loads(run("show", str(piece), "--json").out)["scans"][0]["copies"] == 2
    assert "so 1 copy" not in run("show", str(piece)).out
