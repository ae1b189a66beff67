"""Where numbered prints are: by their orders, by moves, destroyed; undone."""

import csv
import sqlite3
from io import StringIO

import pytest

from catalogue.errors import NotFound, Refused
from catalogue.ledger import editions, repeat
from catalogue.ledger.statuses import set_status
from catalogue.ledger.whereabouts import move, whereabouts
from catalogue.operations.buyers import describe_buyer
from catalogue.operations.editions import move_prints, summarize
from catalogue.records import orders, print_moves
from catalogue.records.database import Database, last_statement, transaction
from catalogue.records.numbers import Number
from catalogue.records.print_moves import PrintMove
from catalogue.records.replay import differences, undo
from catalogue.sheets.certificates import certificates
from tests import recorded

from .conftest import Shop


@pytest.fixture
def db(shop: Shop) -> Database:
    """Numbers 1 and 2 collected by Ann Tarn, 3 printed for Bo, AP I asked for."""
    piece = shop.piece("Ilse Marwood", "Pier")
    shop.scan("pier.tif", piece)
    editions.define(shop.db, piece, 12, proofs=2)
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=297, height_mm=420, afresh=True)
    repeat.record(shop.db, proposal, quantity=2, number="R-1", buyer="Ann Tarn", status="collected",
                  placed="2026-01-02")
    repeat.record(shop.db, proposal, quantity=1, number="R-2", buyer="Bo", status="printed", placed="2026-01-03")
    repeat.record(shop.db, proposal, quantity=1, number="R-3", proofs=True, placed="2026-01-04")
    return shop.db


def numbers(*chosen: int) -> list[Number]:
    return [Number("number", n) for n in chosen]


def told(db: Database) -> list[str]:
    return [f"{held.place} {held.holder}".rstrip() for held in whereabouts(db, 1)]


def test_a_print_is_where_its_order_says_until_somebody_moves_it(db: Database) -> None:
    assert told(db) == ["buyer Ann Tarn"] * 2 + ["shop", "not printed"]
    describe_buyer(db, "ann tarn", name="Dr Tarn")
    move(db, 1, numbers(3), "consigned", holder="Gallery Umberlow", day="2026-02-01", notes="until May")
    assert told(db) == ["buyer Dr Tarn"] * 2 + ["consigned Gallery Umberlow", "not printed"]
    assert [one.number for one in whereabouts(db, place="consigned")] == numbers(3)
    move(db, 1, numbers(3), "buyer", holder="Cy Lund", day="2026-03-01")
    move(db, 1, numbers(1, 2), "artist", day="2026-03-02")
    assert told(db)[:3] == ["artist"] * 2 + ["buyer Cy Lund"]
    move(db, 1, numbers(3), "shop", day="2026-02-15")
    assert told(db)[2] == "buyer Cy Lund", "a move told later of an earlier day is not the last"
    assert [(one.number, one.place) for one in recorded.moves(db, 1)] == [
        (3, "consigned"), (3, "shop"), (3, "buyer"), (1, "artist"), (2, "artist")]
    set_status(db, "R-2", "collected")
    assert told(db)[2] == "buyer Cy Lund"
    assert not differences(db)


def test_a_destroyed_print_is_nowhere_and_its_successor_somewhere(db: Database, shop: Shop) -> None:
    move(db, 1, numbers(3), "consigned", holder="Umberlow", day="2026-02-01")
    editions.destroy(db, 1, numbers(3), "torn", day="2026-02-02")
    assert (told(db)[2], whereabouts(db, 1)[2].since) == ("destroyed", "2026-02-02")
    with pytest.raises(Refused, match="was destroyed"):
        move(db, 1, numbers(3), "shop")
    proposal = repeat.propose(db, shop.home, piece_id=1)
    repeat.record(db, proposal, quantity=1, replacing=numbers(3), number="R-4")
    assert told(db)[2] == "not printed"
    set_status(db, "R-4", "printed")
    assert told(db)[2] == "shop", "the move was the former print's"


def test_what_cannot_be_moved_is_refused_and_nothing_recorded(db: Database) -> None:
    for chosen, place, why in ((numbers(1, 9), "shop", "Number 9"), (numbers(1), "consigned", "Say who"),
                               ([Number("proof", 1)], "shop", "not printed"),
                               (numbers(1), "attic", "'attic'"),
                               ([], "shop", "Give the numbers")):
        with pytest.raises(Refused, match=why):
            move(db, 1, chosen, place)
    with pytest.raises(NotFound):
        move(db, 99, numbers(1), "shop")
    assert recorded.moves(db, 1) == []
    with pytest.raises(sqlite3.IntegrityError, match="only a print that exists"), transaction(db):
        print_moves.add(db, PrintMove(1, "number", 9, 1, "2026-01-01", "shop"))


def test_a_move_told_twice_is_one(db: Database) -> None:
    first = move_prints(db, 1, numbers(1), "consigned", holder="Umberlow", day="2026-03-02")
    again = move_prints(db, 1, numbers(1), "consigned", holder="Umberlow ", day="2026-03-02")
    assert first.event is not None and (again.event, again.prints) == (None, first.prints)
    assert len(recorded.moves(db, 1)) == 1
    move_prints(db, 1, numbers(1), "consigned", holder="Umberlow", day="2026-03-03")
    assert len(recorded.moves(db, 1)) == 2, "another day is another move"


def test_a_move_is_undone(db: Database) -> None:
    before = told(db)
    done = move_prints(db, 1, numbers(1, 2), "artist", day="2026-03-02")
    assert summarize(done, "%Y-%m-%d") == ["1 is with the artist.", "2 is with the artist."]
    assert done.event is not None
    undo(db, done.event)
    assert told(db) == before and not differences(db)


def test_the_editions_page_says_where_each_print_is(db: Database, shop: Shop) -> None:
    move(db, 1, numbers(3), "consigned", holder="=Gallery", day="2026-02-01")
    sheet = certificates(db, shop.home.settings, 1)
    rows = list(csv.DictReader(StringIO(sheet.as_csv)))
    assert [row["where"] for row in rows] == ["with the buyer: Ann Tarn"] * 2 + ["on consignment with =Gallery",
                                                                                "not printed"]
    assert "2 with the buyer, 1 on consignment, 1 not printed." in sheet.as_html


def test_an_undone_cancellation_is_cancelled_again_by_undoing_the_undoing(db: Database) -> None:
    """The order's state frees its numbers by itself: what is free by then was not changed since."""
    piece = orders.lines_of(db, 1)[0].piece_id
    held = [line.numbers for line in orders.lines_of_piece(db, piece)]
    set_status(db, "R-3", "cancelled")
    free = [line.numbers for line in orders.lines_of_piece(db, piece)]
    assert held != free
    for wanted in (held, free, held):
        undo(db, last_statement(db) or 0)
        assert [line.numbers for line in orders.lines_of_piece(db, piece)] == wanted
    assert not differences(db)
