"""Changed place rules: what they would move is shown, done when wanted, taken back; what a person stated stays."""

import json
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import NotFound, Refused
from catalogue.indexing import corrections, refiling
from catalogue.indexing.naming import FORMER_RULES
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import guesses, orders, pieces, stores
from catalogue.records.database import Database, transaction
from catalogue.settings import Home
from tests.indexing.test_corrections import Shop

Scan = Callable[..., Path]
NEW_RULES = ("{year}/{artist}/{piece}/**/*", "{artist}/*/{piece}/**/*", "{artist}/{piece}/**/*")


@pytest.fixture
def shop(db: Database, home: Home, scan: Scan, tmp_path: Path) -> Shop:
    (tmp_path / "main").mkdir()
    add_store(db, "main", tmp_path / "main", "primary", consent=True)
    return Shop(db, replace(home, settings=replace(home.settings, place_rules=FORMER_RULES)), scan)


def with_rules(shop: Shop) -> Home:
    return replace(shop.home, settings=replace(shop.home.settings, place_rules=NEW_RULES))


def test_what_would_move_is_shown_then_done_then_taken_back(shop: Shop) -> None:
    shop.add("Ada Quill/JOBS/Harbour/master.tif", "Ada Quill/JOBS/Meadow/master.tif", "Ben Ashe/Pier/master.tif")
    before, filed = shop.everything(), shop.filed()
    assert filed["Ada Quill/JOBS/Harbour/master.tif"] == "Ada Quill: JOBS"
    shown = refiling.refile(shop.db, with_rules(shop), apply=False)
    assert shown.counts == {("Ada Quill: JOBS", "Ada Quill: Harbour"): 1, ("Ada Quill: JOBS", "Ada Quill: Meadow"): 1}
    assert shown.looked == 3 and shown.id == 0 and shop.everything() == before
    done = refiling.refile(shop.db, with_rules(shop), apply=True)
    assert done.moves == shown.moves and done.id
    assert shop.filed() == {"Ada Quill/JOBS/Harbour/master.tif": "Ada Quill: Harbour",
                            "Ada Quill/JOBS/Meadow/master.tif": "Ada Quill: Meadow",
                            "Ben Ashe/Pier/master.tif": "Ben Ashe: Pier"}
    assert pieces.known_piece(shop.db, "Ada Quill", "JOBS") is None
    assert not refiling.refile(shop.db, with_rules(shop), apply=True).moves
    assert refiling.undo(shop.db) == 2
    assert shop.filed() == filed
    with pytest.raises(NotFound):
        refiling.undo(shop.db)


def test_a_refiling_is_taken_back_as_one_and_not_by_its_statements_alone(shop: Shop) -> None:
    """``undo`` put only the names back by which an ordered piece is known: the order was left without its scan."""
    shop.add("Ada Quill/JOBS/Harbour/master.tif", "Ben Ashe/Pier/master.tif")
    described = corrections.set_piece(shop.db, shop.piece("Ben Ashe", "Pier").id, {"notes": "framed"})
    shop.order(shop.piece("Ada Quill", "JOBS").id)
    before = shop.everything()
    refiling.refile(shop.db, with_rules(shop), apply=True)
    refiled = shop.everything()
    assert [line.title for line in orders.all_lines(shop.db)] == ["Harbour"]
    with pytest.raises(Refused, match="refiling") as refused:
        corrections.undo(shop.db)
    assert "refile --undo" in refused.value.hint and shop.everything() == refiled
    refiling.undo(shop.db)
    assert shop.everything() == before
    corrections.undo(shop.db)
    assert not orders.all_lines(shop.db), "what was stated before it is the next to be undone"
    corrections.undo(shop.db, described.id)
    assert shop.piece("Ben Ashe", "Pier").notes == ""


def test_reading_a_file_again_files_nothing_anew_by_changed_rules(shop: Shop) -> None:
    """That is for a person to ask for, who is shown first what would move."""
    shop.add("Ada Quill/JOBS/Harbour/master.tif")
    filed, guessed = shop.filed(), guesses.of_scan(shop.db, 1)
    index(shop.db, with_rules(shop), stores.listed(shop.db), again=True, executors=ThreadPoolExecutor)
    assert shop.filed() == filed == {"Ada Quill/JOBS/Harbour/master.tif": "Ada Quill: JOBS"}
    assert guesses.of_scan(shop.db, 1) == guessed
    assert refiling.refile(shop.db, with_rules(shop), apply=False).counts == {
        ("Ada Quill: JOBS", "Ada Quill: Harbour"): 1}


def test_what_was_stated_stays_and_a_piece_with_orders_goes_along(shop: Shop) -> None:
    shop.add("Ada Quill/JOBS/Harbour/master.tif", "Ben Ashe/2021/Pier/master.tif", "Cy Dove/JOBS/Mill/master.tif")
    ordered = shop.piece("Ben Ashe", "2021")
    shop.order(ordered.id)
    corrections.set_scans(shop.db, [shop.scan_at("Ada Quill/JOBS/Harbour/master.tif").sha256], role="tile",
                         piece_id=shop.piece("Ada Quill", "JOBS").id)
    corrections.set_piece(shop.db, shop.piece("Cy Dove", "JOBS").id, {"title": "The Mill"})
    refiling.refile(shop.db, with_rules(shop), apply=True)
    assert shop.filed() == {"Ada Quill/JOBS/Harbour/master.tif": "Ada Quill: Harbour",
                            "Ben Ashe/2021/Pier/master.tif": "Ben Ashe: Pier",
                            "Cy Dove/JOBS/Mill/master.tif": "Cy Dove: The Mill"}
    assert shop.piece("Ben Ashe", "Pier").id == ordered.id
    assert [line.piece_id for line in orders.lines_of_piece(shop.db, ordered.id)] == [ordered.id]
    assert shop.scan_at("Ada Quill/JOBS/Harbour/master.tif").role == "tile"
    refiling.undo(shop.db)
    assert shop.filed()["Ben Ashe/2021/Pier/master.tif"] == "Ben Ashe: 2021"


def test_facts_of_an_older_catalogue_that_no_rule_explains_are_stated(shop: Shop) -> None:
    """Guesses taken over from an older catalogue: title and year may have been typed."""
    shop.add("2019/Ada Quill - Harbour/master.tif", "2019/Ada Quill - Meadow/master.tif")
    typed = shop.piece("Ada Quill", "Harbour").id
    with transaction(shop.db):
        shop.db.execute("UPDATE scan_guess SET upgraded = 1")
        shop.db.execute("""UPDATE scan_guess SET title = 'Harbour at Dusk', title_key = 'harbour at dusk', year = '1999'
                           WHERE piece_id = ?""", [typed])
    filed = shop.filed()
    assert filed["2019/Ada Quill - Harbour/master.tif"] == "Ada Quill: Harbour at Dusk"
    shop.index()
    assert shop.filed() == filed and not guesses.upgraded(shop.db, 5)
    shop.index(again=True)
    refiling.refile(shop.db, shop.home, apply=True)
    kept = shop.piece("Ada Quill", "Harbour at Dusk")
    assert (kept.year, shop.piece("Ada Quill", "Meadow").year) == ("1999", "2019")
    assert not refiling.refile(shop.db, shop.home, apply=False).moves


def run(home: Home, *words: str) -> tuple[int, str]:
    result = CliRunner().invoke(command, ["--catalogue", str(home.folder), *words], obj=Session())
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout


def test_the_commands(shop: Shop) -> None:
    shop.add("J Quill/JOBS/Harbour/master.tif", "Jan Quill/Pier/master.tif", "Jan Quill/Pier/re-scan 2.tif")
    (shop.home.folder / "settings.toml").write_text(f"place_rules = {json.dumps(list(NEW_RULES))}\n")
    code, text = run(shop.home, "refile")
    assert code == 0 and "J Quill: JOBS → J Quill: Harbour" in text and "1 scan would be filed" in text
    assert "filed differently" in run(shop.home, "refile", "--yes")[1]
    assert "catalogue undo" in run(shop.home, "artist", "merge", "J Quill", "--into", "Jan Quill")[1]
    assert "renamed" in run(shop.home, "artist", "rename", "Jan Quill", "Jan Quillon")[1]
    assert set(shop.filed().values()) == {"Jan Quillon: Harbour", "Jan Quillon: Pier"}
    run(shop.home, "piece", "set", "jan quillon pier", "--title", "The Pier", "--year", "1999", "--size", "60x80")
    run(shop.home, "scan", "set", "re-scan 2.tif", "--role", "reference", "--new", "Old Pier")
    assert shop.filed()["Jan Quill/Pier/re-scan 2.tif"] == "Jan Quillon: Old Pier"
    assert shop.scan_at("Jan Quill/Pier/re-scan 2.tif").role == "reference"
    assert run(shop.home, "find", "j quill")[1].startswith("artist  Jan Quillon"), "by the other spelling too"
    with pytest.raises(NotFound, match="Jan Quillon has no piece called 'Mill'"):
        run(shop.home, "scan", "set", "re-scan 2.tif", "--piece", "Mill", "--artist", "J Quill")
    run(shop.home, "scan", "set", "main:Jan Quill/Pier/re-scan 2.tif", "--piece", "the pier", "--artist", "J Quill")
    digits = shop.scan_at("Jan Quill/Pier/re-scan 2.tif").sha256[:10]
    told = run(shop.home, "piece", "set", "The Pier", "--artist", "Quillon")[1]
    assert "If Jan Quillon is meant: catalogue artist merge Quillon --into 'Jan Quillon'" in told
    assert "renamed" not in run(shop.home, "undo")[1]
    run(shop.home, "piece", "split", "The Pier", "--scan", digits, "--title", "Second Pier")
    code, text = run(shop.home, "piece", "merge", "Second Pier", "--into", "The Pier", "--json")
    made = json.loads(text)
    assert shop.filed()["Jan Quill/Pier/re-scan 2.tif"] == "Jan Quillon: The Pier"
    history = json.loads(run(shop.home, "history", "--json")[1])
    assert history[0]["id"] == made["id"] and "pieces merged" in history[0]["detail"]
    assert "pieces merged" in run(shop.home, "undo")[1]
    assert shop.filed()["Jan Quill/Pier/re-scan 2.tif"] == "Jan Quillon: Second Pier"
    assert f"(undone by {json.loads(run(shop.home, 'history', '--json')[1])[0]['id']})" in run(shop.home, "history")[1]
    for _ in range(6):
        assert run(shop.home, "undo")[0] == 0
    assert shop.filed() == {"J Quill/JOBS/Harbour/master.tif": "J Quill: Harbour",
                            "Jan Quill/Pier/master.tif": "Jan Quill: Pier",
                            "Jan Quill/Pier/re-scan 2.tif": "Jan Quill: Pier"}
    assert run(shop.home, "refile", "--undo")[0] == 0
    assert shop.filed()["J Quill/JOBS/Harbour/master.tif"] == "J Quill: JOBS"
