"""Recovery loses no order that was acknowledged, gives no number out twice, and survives a kill at every step."""

import json
import lzma
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from fixity_shop import Shop, rot, threads

from catalogue.commands import command
from catalogue.errors import CatalogueError, Refused
from catalogue.fixity import copies, log, manifest
from catalogue.fixity import rebuild as rebuilding
from catalogue.fixity.backup import back_up
from catalogue.fixity.rebuild import rebuild
from catalogue.fixity.recovery import recover
from catalogue.indexing import corrections
from catalogue.ledger import editions as numbering
from catalogue.ledger import repeat
from catalogue.ledger.artist_statement import issue
from catalogue.ledger.artist_terms import set_terms
from catalogue.ledger.importing import import_orders
from catalogue.ledger.periods import month
from catalogue.likeness import merging
from catalogue.operations.buyers import merge_buyers
from catalogue.operations.editions import move_prints
from catalogue.operations.orders import change_orders
from catalogue.operations.recovering import rebuild_catalogue, summarize, summarize_rebuilt
from catalogue.records import copies as copy_rows
from catalogue.records import editions, events, journal, orders, pieces
from catalogue.records.backup import condition
from catalogue.records.database import Database, open_database, recovered_path
from catalogue.records.numbers import Number
from catalogue.records.replay import differences
from catalogue.settings import Home
from catalogue.sheets.job import write_job

Scan = Callable[..., Path]


@pytest.fixture
def ordered(shop: Shop, scan: Scan) -> Shop:
    """A backup with numbers 1 and 2 out; then two repeats of four, numbers 3 to 10."""
    scan("main/Ada Quill/Harbour/0.tif", seed=1)
    shop.index()
    piece = pieces.known_piece(shop.db, "Ada Quill", "Harbour")
    assert piece is not None
    numbering.define(shop.db, piece, 25)
    _order(shop, 2)
    back_up(shop.db, shop.home)
    for _ in range(2):
        _order(shop, 4)
    return shop


def _order(shop: Shop, quantity: int) -> int:
    proposal = repeat.propose(shop.db, shop.home, piece_id=1, width_mm=600, height_mm=400.2, medium="Cotton rag")
    return repeat.record(shop.db, proposal, quantity=quantity, placed="2026-02-03", price="120.00").id


def _wreck(home: Home) -> None:
    """Nothing of the database file can be read any more."""
    for tail in ("-wal", "-shm"):
        home.database.with_name(home.database.name + tail).unlink(missing_ok=True)
    home.database.write_bytes(b"\x55" * home.database.stat().st_size)


def _nothing_lost(home: Home) -> None:
    db = open_database(home.database)
    assert [(line.number, line.numbers, line.height_mm, line.price) for line in orders.all_lines(db)] == [
        ("2026-0001", "1–2", 400.2, "120.00"), ("2026-0002", "3–6", 400.2, "120.00"),
        ("2026-0003", "7–10", 400.2, "120.00")]
    assert orders.next_number(db, "2026") == "2026-0004"
    state = numbering.state(db, editions.listed(db)[0])
    assert (state.numbers_out, state.next_number) == (10, 11)
    assert not differences(db) and not journal.check(db, home.database)
    assert log.verify_chain(db, home, tuple(manifest.heads(db))).sound
    db.close()


def test_orders_recorded_after_the_backup_come_back(ordered: Shop) -> None:
    ordered.db.close()
    _wreck(ordered.home)
    done = CliRunner().invoke(command, ["--catalogue", str(ordered.home.folder), "recover", "--yes"])
    assert done.exit_code == 0, done.output
    assert "Orders recorded after the backup, all kept: 2026-0002, 2026-0003." in done.output
    _nothing_lost(ordered.home)


def test_buyers_terms_statements_and_places_of_prints_come_back(ordered: Shop) -> None:
    _order(ordered, 1)
    change_orders(ordered.db, ["2026-0001", "2026-0002"], status="printed", buyer="Ann Tarn")
    change_orders(ordered.db, ["2026-0003"], buyer="Ada Tarn")
    merge_buyers(ordered.db, "ann tarn", "ada tarn")
    set_terms(ordered.db, 1, "percentage", "40")
    issue(ordered.db, 1, month("2026-02"), "%Y", date(2026, 3, 1))
    move_prints(ordered.db, 1, [Number("number", 3)], "consigned", holder="Gallery Umberlow")
    change_orders(ordered.db, ["2026-0002"], unit_price="31.50")

    def told(db: Database) -> list[list[tuple[object, ...]]]:
        return [[tuple(row) for row in db.execute(f"SELECT * FROM {table} ORDER BY 1, 2")] for table in (
            "buyer_stated", "order_buyer", "artist_terms", "artist_statement", "print_move", "order_line")]

    before = told(ordered.db)
    assert all(before)
    ordered.db.close()
    _wreck(ordered.home)
    assert recover(ordered.home).lost == 0
    db = open_database(ordered.home.database)
    assert told(db) == before and not differences(db)
    db.close()


def test_orders_come_back_from_the_damaged_file_when_the_journal_is_gone(ordered: Shop) -> None:
    ordered.db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    (page,) = ordered.db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'scan'").fetchone()
    ordered.db.close()
    journal.path_of(ordered.home.database).unlink()
    with ordered.home.database.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\x55" * 4096)
    done = recover(ordered.home)
    assert done.put_back is not None and done.put_back.orders == ("2026-0002", "2026-0003") and done.lost == 0
    _nothing_lost(ordered.home)


def test_without_file_and_journal_the_sheets_still_keep_their_numbers_from_being_given_again(ordered: Shop) -> None:
    write_job(ordered.db, ordered.home, 2)
    write_job(ordered.db, ordered.home, 3)
    ordered.db.close()
    _wreck(ordered.home)
    journal.path_of(ordered.home.database).unlink()
    done = recover(ordered.home)
    assert done.put_back is not None and done.put_back.orders == ()
    assert sum("is not on record; its numbers are held" in words for words in done.put_back.doubts) == 2
    assert any("Neither the journal nor" in words for words in done.put_back.doubts)
    db = open_database(ordered.home.database)
    assert orders.next_number(db, "2026") == "2026-0004"
    assert numbering.state(db, editions.listed(db)[0]).next_number == 11
    again = repeat.propose(db, ordered.home, piece_id=1, width_mm=600, height_mm=400.2, medium="Cotton rag")
    line = repeat.record(db, again, number="2026-0002", placed="2026-02-03",
                         numbers=[Number("number", n) for n in range(3, 7)])
    assert line.numbers == "3–6"  # entered again from the sheet
    db.close()


def test_a_catalogue_lost_with_its_backups_is_rebuilt_with_its_ledger(ordered: Shop) -> None:
    ordered.db.close()
    _wreck(ordered.home)
    shutil.rmtree(ordered.home.backups)
    done = rebuild(ordered.home, [ordered.folder / "main"], executors=threads)
    assert done.put_back.orders == ("2026-0001", "2026-0002", "2026-0003")
    _nothing_lost(ordered.home)


def test_a_rebuilt_catalogue_is_told_though_its_last_steps_fail(ordered: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    ordered.db.close()
    _wreck(ordered.home)
    shutil.rmtree(ordered.home.backups)

    def fails(*_: object, **__: object) -> None:
        raise CatalogueError("No room.")

    finished = rebuilding.finish

    def finish_then_fail(home: Home) -> object:
        done = finished(home)
        monkeypatch.setattr(log, "keep_head", fails)
        monkeypatch.setattr(copies, "review", fails)
        return done

    monkeypatch.setattr(rebuilding, "finish", finish_then_fail)
    done = rebuild(ordered.home, [ordered.folder / "main"], executors=threads)
    assert done.put_back.orders == ("2026-0001", "2026-0002", "2026-0003")
    assert sum("No room. Run `catalogue audit`" in words for words in done.passed_over) == 2
    _nothing_lost(ordered.home)


def test_a_rebuild_that_fails_while_it_reads_the_stores_says_that_the_catalogue_is_back(
        ordered: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    ordered.db.close()
    _wreck(ordered.home)
    shutil.rmtree(ordered.home.backups)

    def fails(*_: object, **__: object) -> None:
        raise CatalogueError("No room.", hint="Make room.")

    monkeypatch.setattr(rebuilding, "index", fails)
    with pytest.raises(CatalogueError, match="No room") as told:
        rebuild(ordered.home, [ordered.folder / "main"], executors=threads)
    assert "The catalogue is back" in str(told.value.hint) and "catalogue index" in str(told.value.hint)
    _nothing_lost(ordered.home)


def test_a_second_recovery_puts_nothing_back_twice(ordered: Shop) -> None:
    ordered.db.close()
    for _ in range(2):
        _wreck(ordered.home)
        recover(ordered.home)
        _nothing_lost(ordered.home)
    db = open_database(ordered.home.database)
    back_up(db, ordered.home)
    db.close()
    _wreck(ordered.home)
    done = recover(ordered.home)
    assert done.put_back is not None and done.put_back.statements == ()
    _nothing_lost(ordered.home)


def test_a_merge_put_back_again_and_again_stays_one_merge(ordered: Shop, scan: Scan) -> None:
    """The second recovery put the first one's merge back once more, and so made the merged piece again."""
    scan("main/Ada Quill/Quay/0.tif", seed=2)
    ordered.index()
    gone = pieces.known_piece(ordered.db, "Ada Quill", "Quay")
    assert gone is not None
    back_up(ordered.db, ordered.home)
    merging.merge(ordered.db, 1, gone)
    ordered.db.close()
    for _ in range(3):
        _wreck(ordered.home)
        done = recover(ordered.home)
        assert done.put_back is not None and len(done.put_back.statements) == 1
        db = open_database(ordered.home.database)
        assert [p.title for p in pieces.every(db)] == ["Harbour"]
        assert not journal.check(db, ordered.home.database)
        db.close()


def test_an_artist_known_from_a_folder_alone_keeps_the_name_in_the_log(ordered: Shop, scan: Scan) -> None:
    """A piece was given to an artist nobody had spoken of: the log named a number, and a rebuild lost the name."""
    scan("main/Ben Rand/Mill/0.tif", seed=2)
    ordered.index()
    corrections.set_piece(ordered.db, 1, {}, artist="Ben Rand")
    ordered.db.close()
    for tail in ("", "-wal", "-shm"):
        ordered.home.database.with_name(ordered.home.database.name + tail).unlink(missing_ok=True)
    shutil.rmtree(ordered.home.backups)
    rebuild(ordered.home, [ordered.folder / "main"], executors=threads)
    db = open_database(ordered.home.database)
    assert {(p.artist, p.title) for p in pieces.every(db)} == {("Ben Rand", "Harbour"), ("Ben Rand", "Mill")}
    db.close()


def test_an_artist_merged_away_does_not_come_back_without_a_piece(ordered: Shop, scan: Scan) -> None:
    scan("main/Ada Quill/Quay/0.tif", seed=2)
    ordered.index()
    corrections.set_piece(ordered.db, 1, {}, artist="Ben Rand")
    ada, bo = (pieces.artist_named(ordered.db, name) for name in ("Ada Quill", "Ben Rand"))
    assert ada is not None and bo is not None
    corrections.merge_artists(ordered.db, ada.id, bo.id)
    corrections.set_piece(ordered.db, 1, {"year": "1998"})
    ordered.db.close()
    _wreck(ordered.home)
    shutil.rmtree(ordered.home.backups)
    rebuild(ordered.home, [ordered.folder / "main"], executors=threads)
    db = open_database(ordered.home.database)
    assert [artist.name for artist in pieces.artists_whole(db)] == ["Ada Quill"]
    assert {(p.artist, p.title, p.year) for p in pieces.every(db)} == {("Ada Quill", "Harbour", "1998"),
                                                                       ("Ada Quill", "Quay", "")}
    db.close()


def test_going_back_to_a_backup_keeps_what_was_stated_since(ordered: Shop) -> None:
    made = next(ordered.home.backups.iterdir())
    ordered.db.close()
    assert recover(ordered.home, made).put_back is not None
    _nothing_lost(ordered.home)


def test_damage_found_since_the_backup_stays_known(shop: Shop, scan: Scan) -> None:
    """The backup knows nothing of it, but the events of the file that was set aside do."""
    places = [scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n) for n in range(3)]
    shop.index()
    made = back_up(shop.db, shop.home).path
    rot(places[1], 900)
    rot(places[2], 900)
    shop.audit()
    rot(places[2], 900)  # the same bits again: sound as before, as after a restore
    shop.audit()
    shop.db.close()
    recovered = recover(shop.home, made)
    assert recovered.put_back is not None
    assert recovered.put_back.distrusted == 1
    assert "1 file failed a check since the backup: no sound copy until catalogue index has read it again." in (
        summarize(recovered))
    with closing(open_database(shop.home.database)) as db:
        again = Shop(db, shop.home, shop.folder)
        assert [copy_rows.is_sound(db, again.due(f"Ada Quill/Harbour/{n}.tif").id) for n in range(3)] == [
            True, False, True]
        again.index()
        assert again.kinds("Ada Quill/Harbour/1.tif") >= {"changed"}
        assert "changed" not in again.kinds("Ada Quill/Harbour/2.tif")


def test_a_recovery_that_lost_events_asks_for_an_audit(ordered: Shop) -> None:
    ordered.audit()
    ordered.db.close()
    _wreck(ordered.home)
    said = " ".join(summarize(recover(ordered.home)))
    assert "Index the stores, then audit them: what was found since the backup is not on record." in said


def test_a_rebuild_of_which_nothing_else_is_left_claims_no_event_kept(ordered: Shop, scan: Scan) -> None:
    """And of two stores it asks which is the copy: no manifest and no journal says so."""
    scan("nas/Ada Quill/Harbour/0.tif", seed=1)
    ordered.add("nas", "copy")
    ordered.db.close()
    fresh = Home(ordered.folder / "fresh home", ordered.home.settings)
    result = rebuild_catalogue(fresh, [ordered.folder / "main", ordered.folder / "nas"])
    said = summarize_rebuilt(result)
    assert "No event was lost." not in said
    assert any(line.startswith("nas is taken for a primary store") and
               "catalogue store add nas FOLDER --kind off-site" in line for line in said)


def test_a_question_left_open_does_not_record_into_the_file_set_aside(ordered: Shop) -> None:
    asked = open_database(ordered.home.database)  # the other program: `order repeat` waits for its answer
    proposal = repeat.propose(asked, ordered.home, piece_id=1, width_mm=600, height_mm=400.2)
    ordered.db.close()
    made = next(ordered.home.backups.iterdir())
    recover(ordered.home, made)
    with pytest.raises(Refused, match="replaced"):
        repeat.record(asked, proposal, quantity=1)
    asked.close()  # must not take the new file's write-ahead log with it
    _nothing_lost(ordered.home)


def _recover_killed_at(home: Home, step: int) -> bool:
    """Whether a recovery in a process of its own came to its end before its ``step``-th write to the disk."""
    child = os.fork()
    if child:
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status) or os.WEXITSTATUS(status) == 0
        return not os.WIFSIGNALED(status)
    count, synced = 0, os.fsync

    def hook(event: str, args: tuple[object, ...]) -> None:
        nonlocal count
        writes = event == "open" and isinstance(args[2], int) and args[2] & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        if writes or event in ("os.rename", "os.link", "os.remove", "sqlite3.connect", "fsync"):
            count += 1
            if count == step:
                os.kill(os.getpid(), signal.SIGKILL)

    def fsync(descriptor: int) -> None:
        hook("fsync", ())
        synced(descriptor)

    try:
        sys.addaudithook(hook)
        os.fsync = fsync
        recover(home)
        os._exit(0)
    finally:
        os._exit(1)


def test_a_kill_at_any_step_loses_nothing_and_the_next_run_completes(ordered: Shop, tmp_path: Path) -> None:
    ordered.db.close()
    _wreck(ordered.home)
    steps = 1
    while True:
        home = Home(tmp_path / "tried" / str(steps))
        shutil.copytree(ordered.home.folder, home.folder)
        if _recover_killed_at(home, steps):
            break
        if not condition(home.database).faults and not recovered_path(home.database).exists():
            db = open_database(home.database)  # the switch was done: it is the new catalogue
            journal.append_new(db, home.database)  # as the next statement does
            db.close()
            _nothing_lost(home)
        else:
            assert home.database.exists(), "at no moment is there no catalogue, so that an empty one is begun"
            with pytest.raises(CatalogueError):
                open_database(home.database)
            recover(home)
            _nothing_lost(home)
        steps += 1
    assert steps > 15
    _nothing_lost(home)


_FULL = """
import resource, signal, sys
from pathlib import Path
from catalogue.errors import CatalogueError
from catalogue.fixity import recovery
from catalogue.settings import Home
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), resource.RLIM_INFINITY))
try:
    recovery.recover(Home(Path(sys.argv[2])))
except CatalogueError as error:
    sys.exit(f"told: {error}")
"""


@pytest.mark.parametrize("most", [0, 5_000, 100_000, 200_000, 300_000, 400_000])
def test_a_disk_that_takes_no_more_leaves_the_catalogue_as_it_was(ordered: Shop, most: int) -> None:
    """The limit on a file's size stands for the full disk: writing beyond it fails as there."""
    ordered.db.close()
    _wreck(ordered.home)
    run = subprocess.run([sys.executable, "-c", _FULL, str(most), str(ordered.home.folder)], check=False,
                         capture_output=True, text=True)
    assert run.returncode and "told: " in run.stderr, run.stderr
    assert ordered.home.database.exists()
    recover(ordered.home)
    _nothing_lost(ordered.home)


def test_json_says_what_came_back(ordered: Shop) -> None:
    ordered.db.close()
    _wreck(ordered.home)
    done = CliRunner().invoke(command, ["--catalogue", str(ordered.home.folder), "recover", "--yes", "--json"])
    assert json.loads(done.stdout)["put_back"]["orders"] == ["2026-0002", "2026-0003"]
    again = CliRunner().invoke(command, ["--catalogue", str(ordered.home.folder), "recover", "--yes"])
    assert "were put back" in str(again.exception), "killed before it could say so, it says so now"




@pytest.mark.parametrize("anew", [False, True])
def test_pieces_that_only_statements_know_come_back_with_their_names(ordered: Shop, anew: bool) -> None:
    """Ordered from books after the backup, never scanned; and what was said of a scanned piece since."""
    books = ordered.folder / "books.csv"
    books.write_text("number,date,artist,piece,size,quantity\nR-7,2026-02-04,Ben Rand,Mill,50x70,2\n")
    assert not import_orders(ordered.db, ordered.home.settings, books, make_pieces=True).left_out
    run = CliRunner().invoke(command, ["--catalogue", str(ordered.home.folder), "piece", "set", "Harbour", "--year",
                                       "1998", "--title", "Harbour at dusk"])
    assert run.exit_code == 0, run.output
    ordered.db.close()
    _wreck(ordered.home)
    if anew:
        shutil.rmtree(ordered.home.backups)
        back = rebuild(ordered.home, [ordered.folder / "main"], executors=threads).put_back
    else:
        back = recover(ordered.home).put_back
    assert back is not None and not back.doubts
    db = open_database(ordered.home.database)
    assert {(line.number, line.artist, line.title) for line in orders.all_lines(db)} == {
        *((f"2026-000{n}", "Ada Quill", "Harbour at dusk") for n in (1, 2, 3)), ("R-7", "Ben Rand", "Mill")}
    (harbour,) = pieces.matching(db, "harbour at dusk")
    assert harbour.year == "1998" and harbour.current_scan_id is not None
    assert not differences(db) and not list(events.broken_links(db))
    db.close()


def test_a_backup_from_before_an_upgrade_takes_what_was_stated_since(tmp_path: Path) -> None:
    """Its log cannot be carried on as it was written, for the upgrade adds to it; that is no alteration."""
    packed = Path(__file__).parent.parent / "records" / "older" / "schema-07.sqlite.xz"
    home = Home(tmp_path / "home")
    home.backups.mkdir(parents=True)
    for path in (home.database, home.backups / "catalogue-000001-20240101T000000Z.sqlite"):
        path.write_bytes(lzma.decompress(packed.read_bytes()))
    db = open_database(home.database)
    proposal = repeat.propose(db, home, piece_id=2, width_mm=600, height_mm=400.2, medium="Cotton rag")
    line = repeat.record(db, proposal, number="2026-0007")
    assert line is not None
    db.execute("PRAGMA wal_checkpoint(TRUNCATE)").close()
    (page,) = db.execute("SELECT rootpage FROM sqlite_schema WHERE name = 'scan'").fetchone()
    db.close()
    with home.database.open("r+b") as file:
        file.seek((page - 1) * 4096)
        file.write(b"\x55" * 4096)
    done = recover(home)
    assert done.put_back is not None and done.put_back.doubts == () and "2026-0007" in done.put_back.orders
    again = open_database(home.database)
    (found,) = orders.lines_of(again, orders.by_number(again, "2026-0007").id)
    assert (found.title, found.height_mm, found.numbers) == (line.title, 400.2, line.numbers)
    assert not differences(again) and log.verify_chain(again, home).sound
    again.close()
