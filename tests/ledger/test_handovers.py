"""Orders handed over in parts: what is left, when a line and an order are collected, numbers, money, undo, tables.

Quantities and states beside each step are worked out by hand.
"""

import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from catalogue.commands.order_text import print_lines
from catalogue.commands.printing import Printer
from catalogue.errors import NotFound, Refused
from catalogue.ledger import editions
from catalogue.ledger.artist_statement import statement
from catalogue.ledger.artist_terms import set_terms
from catalogue.ledger.handovers import handover_text, read_handovers
from catalogue.ledger.importing import import_orders
from catalogue.ledger.importing_editions import import_editions
from catalogue.ledger.order_filter import read_filter
from catalogue.ledger.periods import month
from catalogue.ledger.whereabouts import move, whereabouts
from catalogue.operations import orders as operations
from catalogue.operations.correcting import undo_statement
from catalogue.records import editions as edition_rows
from catalogue.records import handovers, history, order_list, orders, search
from catalogue.records.database import Database, last_statement, open_database, statement_since, transaction
from catalogue.records.handovers import NewHandover
from catalogue.records.numbers import Number
from catalogue.records.orders import Line, NewLine
from catalogue.records.replay import differences
from catalogue.settings import Settings
from catalogue.sheets import tables

from .conftest import Shop

TODAY = date(2026, 6, 1)
MONDAY, FRIDAY = "2026-05-04", "2026-05-08"


@pytest.fixture
def db(shop: Shop) -> Database:
    """Order R-1, approved: line 1 of ten prints of Pier, line 2 of one canvas; R-2, requested: line 3, numbers 1–5 of
    an edition of Weir."""
    pier, weir = (shop.piece("Ilse Marwood", title) for title in ("Pier", "Weir"))
    edition = editions.define(shop.db, weir, 20)
    with transaction(shop.db):
        first = orders.add(shop.db, "R-1", "2026-04-30", buyer="Ann Tarn", status="approved", currency="EUR")
        other = orders.add(shop.db, "R-2", "2026-05-01", buyer="Bo Ling", currency="EUR")
        for order, line in ((first, NewLine(pier, 300, 400, 10, "rag", unit_price="20.00", price="200.00")),
                            (first, NewLine(pier, 600, 800, 1, "canvas", unit_price="90.00", price="90.00")),
                            (other, NewLine(weir, 300, 400, 5, "rag", edition_id=edition))):
            orders.add_line(shop.db, order, line)
        editions.issue(shop.db, edition, 3, 5)
    return shop.db


def states(db: Database, number: str = "R-1") -> list[str]:
    """Of the order, then of each of its lines."""
    order = orders.by_number(db, number)
    return [order.status, *(line.state for line in orders.lines_of(db, order.id))]


def prints(db: Database) -> str:
    """The states of numbers 1 to 5, by their first letters."""
    return "".join(row[0][0] for row in db.execute("SELECT state FROM edition_print ORDER BY number"))


def test_five_today_and_five_on_friday(db: Database) -> None:
    done = operations.hand_over(db, [1], quantity=5, day=MONDAY, notes="her son")
    assert states(db) == ["approved", "5 of 10 handed over", "approved"]
    assert operations.summarize(done) == ["Line 1 of order R-1: 5 of 10 handed over, 5 to come."]
    done = operations.hand_over(db, [1], day=FRIDAY)
    assert states(db) == ["approved", "collected", "approved"], "the canvas is still to come"
    assert operations.summarize(done) == ["Line 1 of order R-1: handed over in full."]
    assert handovers.of_line(db, 1) == [
        handovers.Handover(1, MONDAY, 5, "", "her son", id=1), handovers.Handover(1, FRIDAY, 5, id=2)]
    done = operations.hand_over(db, [2])
    assert states(db) == ["collected", "collected", "collected"]
    assert operations.summarize(done)[-1] == "Order R-1 is collected."
    assert [line.order_status for line in orders.lines_of(db, 1)] == ["collected"] * 2
    assert search.search(db, "R-1").orders[0].status == "collected"
    assert not differences(db)


def test_several_lines_at_once_are_one_statement(db: Database) -> None:
    done = operations.hand_over(db, [1, 2, 3], day=MONDAY)
    assert (states(db)[0], states(db, "R-2")[0]) == ("collected", "collected") and done.event
    [said] = [each.detail for each in history.statements(db) if each.id == done.event]
    assert said.startswith("order R-1: 10 of 10 prints of line 1 handed over; order R-1: 1 of 1 prints of line 2")
    undo_statement(db, done.event)
    assert (states(db), states(db, "R-2"), prints(db)) == (["approved"] * 3, ["requested"] * 2, "rrrrr")
    assert not differences(db)


def test_a_handover_is_undone_though_another_followed(db: Database) -> None:
    first = operations.hand_over(db, [1], quantity=4)
    operations.hand_over(db, [1])
    assert states(db)[1] == "collected" and first.event
    undo_statement(db, first.event)
    assert states(db)[1] == "6 of 10 handed over"


@pytest.mark.parametrize(("line", "asked", "words"), [
    (1, {"quantity": 11}, "has 10 prints left to hand over, not 11"),
    (2, {"quantity": 2}, "has 1 print left to hand over, not 2"),
    (3, {"numbers": [Number("number", 6)]}, "Line 3 of order R-2 has no number 6 to hand over"),
    (3, {"numbers": [Number("number", 1)], "quantity": 2}, "Edition numbers given: 1; prints: 2"),
    (1, {"numbers": [Number("number", 1)]}, "Line 1 of order R-1 has no number 1")])
def test_what_is_not_there_is_not_handed_over(db: Database, line: int, asked: dict[str, object], words: str) -> None:
    with pytest.raises(Refused, match=words):
        operations.hand_over(db, [line], **asked)  # type: ignore[arg-type]
    with pytest.raises(Refused):
        operations.hand_over(db, [1, 2], quantity=2)
    assert states(db) == ["approved"] * 3, "all or nothing"


def test_a_line_that_is_cancelled_collected_or_elsewhere_is_not_handed_over(db: Database) -> None:
    operations.cancel_lines(db, [2])
    operations.set_order_status(db, "R-2", "collected")
    for line, words in ((2, "is cancelled"), (3, "have already been handed over")):
        with pytest.raises(Refused, match=words):
            operations.hand_over(db, [line])
    with pytest.raises(NotFound, match="no line 3"):
        operations.hand_over(db, [3], of_order="R-1")
    with pytest.raises(NotFound):
        operations.hand_over(db, [99])


def test_the_table_keeps_to_the_lines_quantity_whoever_asks(db: Database) -> None:
    operations.hand_over(db, [1], quantity=6)
    with pytest.raises(sqlite3.IntegrityError, match="not so many"), transaction(db):
        handovers.add(db, NewHandover(1, MONDAY, 5))
    with pytest.raises(sqlite3.IntegrityError, match="more prints"), transaction(db):
        orders.change_line(db, 1, {"quantity": 5, "price": "100.00"})
    with pytest.raises(sqlite3.IntegrityError, match="stays on record"), transaction(db):
        db.execute("UPDATE handover SET day = '2026-01-01'")
    with pytest.raises(Refused, match="6 prints of line 1 of order R-1 were handed over"):
        operations.change_listed(db, [1], quantity=5)


def test_the_rest_that_is_not_wanted_is_corrected_and_the_line_is_collected(db: Database) -> None:
    for line, count in ((1, 6), (3, 2)):
        operations.hand_over(db, [line], quantity=count)
        operations.change_listed(db, [line], quantity=count)
    assert states(db)[1] == "collected" and orders.get_line(db, 1).price == "120.00"
    assert (orders.get_line(db, 3).numbers, prints(db), states(db, "R-2")[0]) == ("1–2", "pp", "collected")


def test_of_a_line_handed_over_in_part_fewer_are_wanted_and_others_are_freed(db: Database) -> None:
    operations.hand_over(db, [3], numbers=[Number("number", 4)])
    with pytest.raises(Refused, match="cannot be changed"):
        operations.change_listed(db, [3], quantity=6)
    operations.change_listed(db, [3], quantity=3)
    assert orders.get_line(db, 3).numbers == "1–2, 4" and states(db, "R-2")[1] == "1 of 3 handed over"
    operations.hand_over(db, [1], quantity=1)
    for line, piece in ((3, 1), (1, 2)):
        with pytest.raises(Refused, match="keeps its piece"):
            operations.change_listed(db, [line], piece_id=piece)


@pytest.mark.parametrize(("handed", "cancelled", "allowed"), [
    ({}, "R-1", True), ({1: 5}, "R-1", False), ({1: 10}, "R-1", False), ({1: 10, 2: 1}, "R-1", True),
    ({1: 5}, 1, False), ({1: 10}, 1, True), ({1: 5}, 2, True)])
def test_what_was_handed_over_in_part_is_not_cancelled(db: Database, handed: dict[int, int], cancelled: object,
                                                       allowed: bool) -> None:
    """All of it came back: that is a return. Of a part nobody could tell what is meant."""
    for line, count in handed.items():
        operations.hand_over(db, [line], quantity=count)

    def cancel() -> None:
        if isinstance(cancelled, int):
            operations.cancel_lines(db, [cancelled])
        else:
            operations.set_order_status(db, str(cancelled), "cancelled")

    if allowed:
        cancel()
        assert "cancelled" in states(db)
    else:
        before = states(db)
        with pytest.raises(Refused, match=r"\d of 1[01] prints of (line 1 of )?order R-1 were handed over"):
            cancel()
        assert states(db) == before


def test_with_its_last_open_line_cancelled_an_order_is_collected(db: Database) -> None:
    operations.hand_over(db, [1])
    operations.cancel_lines(db, [2])
    assert states(db) == ["collected", "collected", "cancelled"]


def test_an_order_that_was_handed_over_goes_back_only_by_undo(db: Database) -> None:
    operations.hand_over(db, [1, 2])
    with pytest.raises(Refused, match="All prints of order R-1 were handed over"):
        operations.set_order_status(db, "R-1", "printed")
    assert states(db)[0] == "collected"


def test_collected_of_old_means_all_of_it(db: Database) -> None:
    operations.set_order_status(db, "R-1", "collected")
    assert states(db) == ["collected"] * 3 and orders.get_line(db, 1).handed == 0
    operations.set_order_status(db, "R-2", "printed")
    operations.hand_over(db, [3], quantity=2)
    operations.set_order_status(db, "R-2", "collected")
    assert states(db, "R-2") == ["collected"] * 2


def test_numbers_that_went_exist_and_are_with_the_buyer(db: Database) -> None:
    operations.hand_over(db, [3], numbers=[Number("number", 2), Number("number", 4)], day=MONDAY)
    assert prints(db) == "rprpr"
    assert [(each.number.number, each.place, each.holder, each.since) for each in whereabouts(db, 1)][1:4:2] == [
        (2, "buyer", "Bo Ling", MONDAY), (4, "buyer", "Bo Ling", MONDAY)]
    with pytest.raises(Refused, match=r"no number 2 to hand over\. Still to hand over: numbers 1, 3, 5"):
        operations.hand_over(db, [3], numbers=[Number("number", 2)])
    operations.set_order_status(db, "R-2", "printed")
    move(db, 1, [Number("number", 1)], "consigned", holder="Gallery Umberlow")
    done = operations.hand_over(db, [3], quantity=1, day=FRIDAY)
    assert handovers.of_line(db, 3)[-1].numbers == "3", "number 1 is at the gallery"
    with pytest.raises(Refused, match="1 numbered print is in the shop, not 2"):
        operations.hand_over(db, [3])
    assert done.event
    undo_statement(db, done.event)
    assert [each.place for each in whereabouts(db, 1)] == ["consigned", "buyer", "shop", "buyer", "shop"]


def test_a_print_of_a_line_cancelled_alone_came_back(db: Database) -> None:
    with transaction(db):
        orders.add_line(db, 2, NewLine(1, 300, 400, 1))
    operations.set_order_status(db, "R-2", "collected")
    assert {each.place for each in whereabouts(db, 1)} == {"buyer"}
    operations.cancel_lines(db, [3])
    assert states(db, "R-2") == ["collected", "cancelled", "collected"]
    assert {each.place for each in whereabouts(db, 1)} == {"shop"}
    assert {each.status for each in edition_rows.issued(db, 1)} == {"cancelled"}


def test_a_destroyed_number_is_not_handed_over(db: Database) -> None:
    editions.destroy(db, 1, [Number("number", 1)], "torn")
    operations.hand_over(db, [3], quantity=4)
    assert handovers.of_line(db, 3)[0].numbers == "2–5"
    with pytest.raises(Refused, match="0 numbered prints are in the shop"):
        operations.hand_over(db, [3])


@pytest.mark.parametrize("later", ["printed", "destroyed", "moved", "handed over", "cancelled"])
def test_no_undo_makes_a_print_free_again_that_later_statements_made(db: Database, later: str) -> None:
    """The rows of these prints were not changed since, what is said of them was: undone, number 1 was only reserved,
    and cancelling the order gave it to the next buyer."""
    def printed() -> object:
        return operations.set_order_status(db, "R-2", "printed")

    def destroyed() -> object:
        return editions.destroy(db, 1, [Number("number", 1)], "torn")

    def handed() -> object:
        return operations.hand_over(db, [3], numbers=[Number("number", 1)])

    first, then = {
        "printed": (handed, printed), "destroyed": (destroyed, printed), "handed over": (printed, handed),
        "moved": (printed, lambda: move(db, 1, [Number("number", 1)], "artist")),
        "cancelled": (lambda: operations.hand_over(db, [3]), lambda: operations.cancel_lines(db, [3]))}[later]
    before = last_statement(db)
    first()
    event = statement_since(db, before)
    then()
    assert event
    if later == "cancelled":
        with pytest.raises(Refused, match="cancelled since"):
            undo_statement(db, event)
        assert prints(db) == "ppppp"
        return
    undo_statement(db, event)
    assert prints(db) == ("ppppp" if later in ("printed", "destroyed") else "prrrr")
    assert not differences(db)


def test_no_undo_gives_a_line_more_numbers_than_prints(db: Database) -> None:
    before = last_statement(db)
    operations.cancel_lines(db, [3])
    event = statement_since(db, before)
    operations.change_listed(db, [3], quantity=3)
    assert event
    with pytest.raises(Refused, match="quantity of its line is less now"):
        undo_statement(db, event)
    operations.change_listed(db, [3], quantity=5)
    undo_statement(db, event)
    assert prints(db) == "rrrrr"


def test_a_way_out_is_named_where_a_print_was_destroyed_or_the_rest_is_made(db: Database) -> None:
    operations.hand_over(db, [3], quantity=2)
    with pytest.raises(Refused) as open_order:
        operations.cancel_lines(db, [3])
    operations.set_order_status(db, "R-2", "printed")
    with pytest.raises(Refused) as made:
        operations.cancel_lines(db, [3])
    assert "quantity to 2" in open_order.value.hint and "quantity" not in made.value.hint, "which is refused here"
    editions.destroy(db, 1, [Number("number", 3)], "torn")
    with pytest.raises(Refused) as lost:
        operations.hand_over(db, [3])
    assert lost.value.hint.startswith("Number 3 was destroyed") and "order status R-2 collected" in lost.value.hint


def test_an_artist_is_owed_for_a_line_once_all_of_it_is_made_by_the_day_of_its_order(db: Database) -> None:
    set_terms(db, 1, "percentage", "50")
    april, may = month("2026-04"), month("2026-05")

    def owed(period: object) -> list[tuple[str, int, str]]:
        return [(row.size, row.prints, row.amount) for row in statement(
            db, 1, period, "%Y-%m-%d").rows]  # type: ignore[arg-type]

    operations.hand_over(db, [1], quantity=5, day=MONDAY)
    assert owed(april) == [], "five of ten, the order is approved"
    operations.hand_over(db, [1], day=FRIDAY)
    assert owed(april) == [("30 × 40 cm", 10, "100.00")], "10 × 20.00 × 50 %, in the month of the order"
    assert owed(may) == []
    operations.set_order_status(db, "R-1", "printed")
    before = owed(april)
    assert before == [("30 × 40 cm", 10, "100.00"), ("60 × 80 cm", 1, "45.00")]
    operations.hand_over(db, [2], day=FRIDAY)
    assert owed(april) == before, "handing over what is printed changes nothing"


def test_a_printed_list_names_an_order_once_and_what_its_lines_differ_in(
        db: Database, capsys: pytest.CaptureFixture[str]) -> None:
    operations.hand_over(db, [1], quantity=5)
    operations.hand_over(db, [2])
    print_lines(Printer(), orders.lines_of(db, 1), "%Y-%m-%d")
    order, *lines = capsys.readouterr().out.splitlines()
    assert order == "2026-04-30  R-1  approved  Ann Tarn"
    assert [line.rpartition(", ")[2] for line in lines] == ["5 of 10 handed over", "collected"]


def test_partly_lists_what_is_to_come_of_orders_handed_over_in_part(db: Database) -> None:
    def listed(words: str) -> list[int]:
        return sorted(each.line.id for each in order_list.page(db, read_filter(words, TODAY)))

    assert listed("partly") == []
    operations.hand_over(db, [1], quantity=5)
    assert listed("partly") == [1, 2] and listed("collected") == []
    operations.hand_over(db, [1])
    assert (listed("partly"), listed("collected"), listed("approved")) == ([2], [1], [2])
    assert listed("partly requested") == [2, 3]
    operations.hand_over(db, [2])
    assert listed("partly") == []
    sums = order_list.sums(db, read_filter("collected", TODAY))
    assert (sums.orders, sums.prints) == (1, 11)


PARTS = "5: 2026-05-04 her son | 3 (3–5): 2026-05-08 by courier | 2 (7, AP I): 2026-05-09"


def test_handovers_are_read_as_they_are_written() -> None:
    assert handover_text(read_handovers(PARTS)) == PARTS and read_handovers("") == []
    assert handover_text([NewHandover(1, MONDAY, 1, "", "a | b\nc")]) == f"1: {MONDAY} a / b c"
    for wrong in ("5", "0: 2026-05-04", "5: 4 May", "2 (3–5): 2026-05-08", "5: 2026-13-45", "x"):
        with pytest.raises(ValueError):
            read_handovers(wrong)


@pytest.mark.parametrize("whole", [1, 2])
def test_tables_carry_handovers_into_another_catalogue(db: Database, tmp_path: Path, whole: int) -> None:
    operations.hand_over(db, [whole], day=MONDAY, notes="her son")
    operations.hand_over(db, [3], numbers=[Number("number", 2), Number("number", 4)], day=FRIDAY)
    (tmp_path / "e.csv").write_text(tables.editions_csv(db))
    (tmp_path / "o.csv").write_text(tables.orders_csv(db))
    other = open_database(tmp_path / "other/catalogue.sqlite")
    try:
        import_editions(other, Settings(), tmp_path / "e.csv", make_pieces=True)
        done = import_orders(other, Settings(), tmp_path / "o.csv", make_pieces=True, own=True)
        assert done.left_out == 0 and {remark for each in done.fates for remark in each.remarks} == {
            "names no file: cannot tell which scan was printed"}, "no word of states that disagree"
        assert [_facts(line) for line in orders.all_lines(other)] == [_facts(line) for line in orders.all_lines(db)]
        assert [replace(each, id=0) for each in handovers.by_line(other)[3]] == [
            replace(each, id=0) for each in handovers.by_line(db)[3]]
        assert tables.orders_csv(other) == tables.orders_csv(db)
        assert whereabouts(other, 1) == whereabouts(db, 1) and not differences(other)
        assert import_orders(other, Settings(), tmp_path / "o.csv", own=True).counts == {"already on record": 3}
    finally:
        other.close()


def _facts(line: Line) -> tuple[object, ...]:
    return (line.number, line.title, line.quantity, line.unit_price, line.state, line.order_status, line.handed,
            line.numbers)


def test_a_row_that_hands_over_more_than_it_has_is_left_out(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "o.csv").write_text("number,date,artist,piece,size,quantity,status,handed_over\n"
                                    "R-9,2026-05-01,Ilse Marwood,Pier,30x40,2,approved,3: 2026-05-04\n")
    [fate] = import_orders(shop.db, Settings(), tmp_path / "o.csv", make_pieces=True).fates
    assert (fate.fate, fate.detail) == ("not understood", "more prints were handed over than the 2 ordered")


@pytest.mark.parametrize(("handed", "words"), [
    ("1 (9): 2026-05-04", "number 9 was handed over, but is not among"), ("2 (6–7): 2026-05-04", ""),
    ("1 (6): 2026-05-04 | 1 (6): 2026-05-05", "number 6 was handed over twice"),
    ("3: 2026-05-04", "than the 2 ordered")])
def test_a_row_hands_over_its_own_numbers_once(db: Database, tmp_path: Path, handed: str, words: str) -> None:
    (tmp_path / "o.csv").write_text(
        "number,date,artist,piece,size,medium,quantity,numbers,handed_over\n"
        f"X-1,2026-05-01,Ilse Marwood,Weir,30x40,rag,2,6-7,{handed}\n")
    [fate] = import_orders(db, Settings(), tmp_path / "o.csv").fates
    assert words in fate.detail and (fate.line_id is None) == bool(words)


def test_a_shops_own_column_of_dates_or_ticks_leaves_no_row_out(db: Database, tmp_path: Path) -> None:
    (tmp_path / "o.csv").write_text("Number,Date,Artist,Piece,Size,Qty,Status,Handed over\n"
                                    "X-1,2026-05-01,Ilse Marwood,Pier,30x40,2,collected,2026-05-04\n"
                                    "X-1,2026-05-01,Ilse Marwood,Pier,50x70,1,printed,\n"
                                    "X-2,2026-05-01,Ilse Marwood,Pier,30x40,2,printed,yes\n")
    fates = import_orders(db, Settings(), tmp_path / "o.csv").fates
    assert [any("under handed over is not imported" in each for each in fate.remarks) for fate in fates] == [
        True, False, True]
    assert [orders.lines_by_number(db, number)[0].status for number in ("X-1", "X-2")] == ["collected", "printed"]
    assert not handovers.of_line(db, fates[0].line_id or 0)


def test_handovers_of_a_line_on_record_are_not_passed_over_in_silence(db: Database, tmp_path: Path) -> None:
    row = "X-1,2026-05-01,Ilse Marwood,Pier,30x40,rag,5,{}\n"
    for handed, count in (("", 0), ("2: 2026-05-04", 1)):
        (tmp_path / "o.csv").write_text("number,date,artist,piece,size,medium,quantity,handed_over\n"
                                        + row.format(handed))
        [fate] = import_orders(db, Settings(), tmp_path / "o.csv").fates
        assert sum("handed over" in remark for remark in fate.remarks) == count
    assert orders.lines_by_number(db, "X-1")[0].handed == 0


def test_a_reprint_that_was_handed_over_and_cancelled_goes_into_another_catalogue(db: Database) -> None:
    editions.destroy(db, 1, [Number("number", 1)], "torn")
    with transaction(db):
        order = orders.add(db, "R-3", "2026-05-20", buyer="Bo Ling")
        orders.add_line(db, order, NewLine(2, 300, 400, 1, "rag", edition_id=1))
        editions.replace(db, 1, [Number("number", 1)], 4)
    operations.hand_over(db, [4])
    operations.cancel_lines(db, [4])
    assert ",cancelled after printing," in tables.orders_csv(db).splitlines()[-1]
