"""Order books as a spreadsheet has them: dates of several hands, words of its own, names written otherwise, sums."""

from pathlib import Path

import pytest

from catalogue.errors import Refused
from catalogue.ledger.book_dates import BookDates
from catalogue.ledger.importing import RowFate, import_orders
from catalogue.operations import correcting
from catalogue.operations.importing import summarize
from catalogue.records import pieces
from tests import recorded

from .conftest import Shop

USUAL = "%d %b %Y"


@pytest.mark.parametrize(("written", "others", "day"), [
    ("3.4.2024", ["25.4.2024"], "2024-04-03"), ("04/03/24", ["25/11/24"], "2024-03-04"),
    ("04/03/24", ["11/25/24"], "2024-04-03"), ("2024/3/4", [], "2024-03-04"), ("2024-03-04", [], "2024-03-04"),
    ("4 Mar 2024", [], "2024-03-04"), ("13.5.24", [], "2024-05-13"), ("5/5/24", [], "2024-05-05"),
    ("25/11/24", ["11/25/24"], "2024-11-25")])
def test_the_book_tells_which_figure_is_the_day(written: str, others: list[str], day: str) -> None:
    assert BookDates([written, *others], USUAL).day(written) == day


@pytest.mark.parametrize("others", [[], ["25.4.2024"], ["25/4/24", "4/25/24"]])
def test_where_nothing_tells_a_person_is_asked(others: list[str]) -> None:
    """Nothing written, another sign, and two hands that contradict each other."""
    dates = BookDates(["04/03/24", *others], USUAL)
    with pytest.raises(ValueError, match="could be 4 March 2024 or 3 April 2024; say which, with --dates %d/%m/%y or"):
        dates.day("04/03/24")
    if len(others) < 2:
        assert BookDates(["04/03/24", *others], "%m/%d/%Y").day("04/03/24") == "2024-04-03"
    for forms, day in ((["%m/%d/%y"], "2024-04-03"), (["%d.%m.%Y", "%d/%m/%y"], "2024-03-04")):
        assert BookDates(["04/03/24", *others], USUAL, forms).day("04/03/24") == day
    with pytest.raises(ValueError, match="not a date that exists"):
        BookDates(["30/2/24"], USUAL).day("30/2/24")


@pytest.fixture
def stocked(shop: Shop) -> Shop:
    for artist, title in (("Hannelore Weißenbrück", "Großes Blau"), ("Łukasz Brzękowicz", "Dach"),
                          ("Jan Olde", "Quai"), ("Jörn Olde", "Quai")):
        shop.piece(artist, title)
    return shop


def book(shop: Shop, *rows: str, head: str = "number;date;artist;title;size;quantity;price;status") -> Path:
    path = shop.home.folder / "book.csv"
    path.write_text("\n".join((head, *rows)), encoding="utf-8")
    return path


@pytest.mark.parametrize(("artist", "title", "name"), [
    ("Weißenbrück, Hannelore", "Großes Blau", "Hannelore Weißenbrück"),
    ("H. Weissenbrück", "Großes Blau", "Hannelore Weißenbrück"),
    ("Weißenbrück", "Großes Blau", "Hannelore Weißenbrück"),
    ("Lukasz Brzekowicz", "Dach", "Łukasz Brzękowicz"), ("J. Olde", "Quai", ""), ("K. Weißenbrück", "Großes Blau", "")])
def test_a_name_written_otherwise_means_the_one_artist_of_that_title_whom_it_can_mean(
        stocked: Shop, artist: str, title: str, name: str) -> None:
    outcome = import_orders(stocked.db, stocked.home.settings, book(
        stocked, f"1;2024-01-02;{artist};{title};30x40;1;10;paid"))
    assert [line.artist for line in recorded.order_lines(stocked.db)] == ([name] if name else [])
    assert (f"{artist!r} was read as {name!r}" in outcome.fates[0].remarks) == bool(name)


def test_an_artist_of_that_very_name_is_nobody_else(stocked: Shop) -> None:
    stocked.piece("H. Weißenbrück", "Moor")
    outcome = import_orders(stocked.db, stocked.home.settings, book(
        stocked, "1;2024-01-02;H. Weißenbrück;Großes Blau;30x40;1;10;paid"))
    assert outcome.counts == {RowFate.NO_PIECE: 1}


def test_a_book_is_taken_in_its_own_words_and_what_is_no_order_is_said(stocked: Shop) -> None:
    rows = ["1;3.4.2024;Weißenbrück;Großes Blau;30x40;2;1.234,50 €;bezahlt",
            "2;25.4.2024;;Dach;30x40;1;10,00 €;storniert",
            "3;25.4.2024;;Dach;30x40;-1;-10,00 €;Retoure", "4;26.4.2024;;Anzahlung;;1;300,00 €;bezahlt",
            ";;;;;412;38.112,50 €;"]
    first = import_orders(stocked.db, stocked.home.settings, book(stocked, *rows), dry_run=True)
    assert first.fates[0].detail == (
        "'bezahlt' is not a state of an order; say what it means, such as --map-status bezahlt=collected"
        " (ours are requested, approved, printed, collected, cancelled)")
    outcome = import_orders(stocked.db, stocked.home.settings, book(stocked, *rows),
                            status_words={"bezahlt": "collected", "storniert": "cancelled", "retoure": "cancelled"})
    assert [fate.fate for fate in outcome.fates] == [*[RowFate.RECORDED] * 2, *[RowFate.NOT_UNDERSTOOD] * 3]
    assert [fate.detail for fate in outcome.fates[2:]] == [
        "'-1' is not a quantity; for a return, cancel the order line that was returned", "the row gives no size",
        "the row names no piece; perhaps it is a total"]
    assert [(line.placed, line.price, line.status) for line in recorded.order_lines(stocked.db)] == [
        ("2024-04-25", "10.00", "cancelled"), ("2024-04-03", "1234.50", "collected")]
    text = "\n".join(summarize(outcome))
    assert "Dates with '.' were read with the day first, as in 25.4.2024." in text


def test_a_book_without_a_price_and_repeated_faults_are_said_once(stocked: Shop) -> None:
    rows = [f"{n};2024-01-02;;Dach;30x40;1;;offen" for n in range(4)]
    path = book(stocked, *rows, head="number;date;artist;title;size;quantity;netto;status")
    text = summarize(import_orders(stocked.db, stocked.home.settings, path))
    assert any(line.startswith("No column gives a price; map one, such as --map price=netto") for line in text)
    assert sum("'offen' is not a state of an order" in line for line in text) == 1
    assert any(line.startswith("4 × 'offen' is not a state of an order") for line in text)


def test_another_spelling_of_an_artist_is_stated_once_and_undone(stocked: Shop) -> None:
    row = "1;2024-01-02;Yama;Dach;30x40;1;10;paid"
    [fate] = import_orders(stocked.db, stocked.home.settings, book(stocked, row)).fates
    assert fate.detail.endswith("Is it by Łukasz Brzękowicz? Then: catalogue artist also 'Łukasz Brzękowicz' Yama")
    artist = next(a for a in pieces.artists(stocked.db) if a.name == "Łukasz Brzękowicz")
    done = correcting.add_spelling(stocked.db, artist.id, "Yama")
    assert correcting.summarize(done) == ["Łukasz Brzękowicz is also written Yama."]
    assert not correcting.add_spelling(stocked.db, artist.id, "yama").id, "it is on record"
    with pytest.raises(Refused, match="another artist on record"):
        correcting.add_spelling(stocked.db, artist.id, "Jan Olde")
    assert import_orders(stocked.db, stocked.home.settings, book(stocked, row), dry_run=True).left_out == 0
    before = len(pieces.artists(stocked.db))
    correcting.undo_statement(stocked.db, done.id)
    assert import_orders(stocked.db, stocked.home.settings, book(stocked, row), dry_run=True).left_out == 1
    assert len(pieces.artists(stocked.db)) == before
