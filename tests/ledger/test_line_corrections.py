"""Lines on record corrected: another piece, size, medium or number of prints; editions and numbers follow."""

import pytest

from catalogue.errors import NotFound, Refused
from catalogue.ledger import editions, repeat
from catalogue.operations import orders as operations
from catalogue.operations.correcting import undo_statement
from catalogue.records import history, orders
from catalogue.records.numbers import Number
from catalogue.records.orders import Line

from .conftest import Shop


@pytest.fixture
def wrong(shop: Shop) -> tuple[Shop, Line, int]:
    """Order R-1: two prints of Kites, one of Salt Field; Harbour was meant for the first. Each has an edition."""
    meant, kites, salt = (shop.piece("Ilse Marwood", title) for title in ("Harbour", "Kites", "Salt Field"))
    for n, piece in enumerate((meant, kites, salt)):
        shop.scan(f"{n}.tif", piece, shade=n, stated_px=(6000, 8400))
        editions.define(shop.db, piece, 10, proofs=2)
    first = repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=meant, width_mm=300, height_mm=420,
                                                  afresh=True), number="R-0", status="printed")
    assert first.numbers == "1"
    lines = [repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=420,
                                                   afresh=True), number="R-1", quantity=count, unit_price="80")
             for piece, count in ((kites, 2), (salt, 1))]
    return shop, lines[0], meant


def taken(shop: Shop) -> list[tuple[int, int, str]]:
    """Edition, number and state of every print."""
    return shop.db.execute("SELECT edition_id, number, state FROM edition_print ORDER BY 1, series, 2").fetchall()


def line_of(shop: Shop, line: Line) -> Line:
    return orders.get_line(shop.db, line.id)


def test_another_piece_brings_its_scan_edition_and_numbers_and_is_one_undo(wrong: tuple[Shop, Line, int]) -> None:
    shop, line, meant = wrong
    before, prints = line, taken(shop)
    done = operations.change_listed(shop.db, [line.id], piece_id=meant)
    now = line_of(shop, line)
    edition = editions.applying(shop.db, meant, 300, 420, "")
    assert edition is not None
    assert (now.title, now.edition_id, now.numbers, now.scan_name) == ("Harbour", edition.id, "2–3", "0.tif")
    assert now.scan_sha256 != before.scan_sha256 and now.repeat_of is None
    assert (now.price, now.quantity, now.number) == ("160.00", 2, "R-1")
    assert [state for *_, state in taken(shop)] == ["printed", "reserved", "reserved", "reserved"]
    assert " ".join(operations.summarize(done)) == (
        "Line 2 of order R-1 is now Harbour by Ilse Marwood, numbers 2–3 instead of 1–2. Its price stays 160.00 EUR.")
    assert done.event is not None
    [said] = [each.detail for each in history.statements(shop.db) if each.id == done.event]
    assert "line 2 of order R-1: piece Kites → Harbour" in said and "numbers 2–3 issued" in said
    undo_statement(shop.db, done.event)
    assert (line_of(shop, line), taken(shop)) == (before, prints)


@pytest.mark.parametrize("status", ["printed", "collected", "cancelled"])
def test_what_was_printed_or_cancelled_keeps_its_piece(wrong: tuple[Shop, Line, int], status: str) -> None:
    shop, line, meant = wrong
    operations.set_order_status(shop.db, "R-1", status)
    before = line_of(shop, line)
    why = "is cancelled" if status == "cancelled" else "'Kites', and a print that was made"
    with pytest.raises(Refused, match=why) as no:
        operations.change_listed(shop.db, [line.id], piece_id=meant)
    assert "record the right piece" in no.value.hint
    assert line_of(shop, line) == before


def test_a_line_that_reprints_a_destroyed_number_keeps_its_piece(wrong: tuple[Shop, Line, int]) -> None:
    shop, _, meant = wrong
    edition = editions.applying(shop.db, meant, 300, 420, "")
    assert edition is not None
    editions.destroy(shop.db, edition.id, [Number("number", 1)], "creased")
    again = repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=meant), number="R-2", quantity=1,
                          replacing=[Number("number", 1)])
    with pytest.raises(Refused, match="prints number 1 again"):
        operations.change_listed(shop.db, [again.id], piece_id=orders.lines_of(shop.db, 2)[0].piece_id)
    with pytest.raises(Refused, match="prints number 1 again"):
        operations.change_listed(shop.db, [again.id], quantity=2)


def test_no_number_is_left_and_nothing_changes(wrong: tuple[Shop, Line, int]) -> None:
    shop, line, meant = wrong
    repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=meant), number="R-3", quantity=8)
    before = line_of(shop, line), taken(shop)
    with pytest.raises(Refused, match="1 number left; 2 are needed"):
        operations.change_listed(shop.db, [line.id], piece_id=meant)
    assert (line_of(shop, line), taken(shop)) == before
    with pytest.raises(NotFound):
        operations.change_listed(shop.db, [line.id], piece_id=999)


def test_proofs_stay_proofs_and_what_was_unnumbered_on_purpose_stays_so(wrong: tuple[Shop, Line, int]) -> None:
    shop, line, meant = wrong
    proposal = repeat.propose(shop.db, shop.home, line_id=line.id)
    proof = repeat.record(shop.db, proposal, number="R-4", quantity=1, proofs=True)
    plain = repeat.record(shop.db, proposal, number="R-5", quantity=1, unnumbered=True)
    for each in (proof, plain):
        operations.change_listed(shop.db, [each.id], piece_id=meant)
    assert line_of(shop, proof).numbers == "AP I"
    operations.change_listed(shop.db, [proof.id], quantity=2)
    assert line_of(shop, proof).numbers == "AP I–II", "a line of proofs has nothing but proofs"
    assert (line_of(shop, plain).numbers, line_of(shop, plain).edition_id) == ("", None)
    other = shop.piece("Ilse Marwood", "No Edition")
    operations.change_listed(shop.db, [line.id], piece_id=other)
    now = line_of(shop, line)
    assert (now.numbers, now.edition_id, now.scan_sha256) == ("", None, "")
    operations.change_listed(shop.db, [line.id], piece_id=meant)
    assert line_of(shop, line).numbers == "2–3", "it had no edition; now it has one"


def test_prints_and_size_of_a_numbered_line_can_be_corrected_until_it_is_printed(wrong: tuple[Shop, Line, int]) -> None:
    shop, line, _ = wrong
    small = editions.define(shop.db, line.piece_id, 5, scope="one size", width_mm=200, height_mm=280)
    done = operations.change_listed(shop.db, [line.id], quantity=3)
    assert (line_of(shop, line).numbers, line_of(shop, line).price) == ("1–3", "240.00")
    assert operations.summarize(done) == ["Changed 1 order line.", "Line 2 of order R-1: numbers 1–3 instead of 1–2."]
    operations.change_listed(shop.db, [line.id], quantity=1)
    assert line_of(shop, line).numbers == "1", "the numbers that were given first stay"
    operations.change_listed(shop.db, [line.id], size=(280, 200))
    assert (line_of(shop, line).numbers, line_of(shop, line).edition_id) == ("1", small)
    operations.set_order_status(shop.db, "R-1", "printed")
    for changes in ({"quantity": 2}, {"size": (300.0, 420.0)}):
        with pytest.raises(Refused, match="was printed with edition number 1"):
            operations.change_listed(shop.db, [line.id], **changes)  # type: ignore[arg-type]


def test_lines_are_cancelled_together_and_are_one_undo(wrong: tuple[Shop, Line, int]) -> None:
    shop, line, _ = wrong
    before, prints = orders.lines_of(shop.db, line.order_id), taken(shop)
    done = operations.cancel_lines(shop.db, [line.id])
    assert [each.status for each in orders.lines_of(shop.db, line.order_id)] == ["cancelled", "requested"]
    assert operations.summarize(done) == [
        "Line 2 of order R-1 is cancelled; numbers 1–2 are free again. The order's other line stays."]
    all_of_it = operations.cancel_lines(shop.db, [each.id for each in before])
    assert orders.by_number(shop.db, "R-1").status == "cancelled"
    assert all_of_it.event is not None and done.event is not None
    undo_statement(shop.db, all_of_it.event)
    undo_statement(shop.db, done.event)
    assert (orders.lines_of(shop.db, line.order_id), taken(shop)) == (before, prints)
