"""Orders and editions from CSV: a fate for every row, linked to the very bytes, nothing twice."""

import csv
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from catalogue.errors import CatalogueError
from catalogue.indexing.stores import add_store
from catalogue.ledger.columns import ORDERS as ORDER_COLUMNS
from catalogue.ledger.columns import kind_of
from catalogue.ledger.editions import close
from catalogue.ledger.importing import RowFate, import_orders
from catalogue.ledger.importing_editions import import_editions
from catalogue.ledger.importing_names import import_artists, import_pieces
from catalogue.ledger.statuses import correct
from catalogue.records import editions, orders, pieces
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.numbers import Number
from catalogue.sheets import tables
from tests import recorded

from .conftest import Shop

ORDERS = (Path(__file__).parent / "books.csv").read_text(encoding="utf-8")  # with a byte order mark
EDITIONS = """artist,title,edition size,proofs,scope,width_cm,height_cm
Ilse Marwood,Harbour at Low Water,25,3,one size,50,70
"""


@pytest.fixture
def stocked(shop: Shop) -> Shop:
    harbour, salt = shop.piece("Ilse Marwood", "Harbour at Low Water"), shop.piece("Tomas Quill", "Salt Field")
    shop.made["harbour"] = shop.scan("marwood/harbour.tif", harbour, shade=1)
    shop.made["salt"] = shop.scan("quill/salt.tif", salt, shade=2)
    return shop


def written(shop: Shop, name: str, text: str, encoding: str = "utf-8") -> Path:
    path = shop.home.folder / name
    path.write_text(text, encoding=encoding)
    return path


def test_every_row_has_its_fate_and_a_second_run_records_nothing(stocked: Shop) -> None:
    path = written(stocked, "orders.csv", ORDERS)
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    first = import_orders(stocked.db, stocked.home.settings, path)
    assert [f.fate for f in first.fates] == [*[RowFate.RECORDED] * 3, RowFate.NO_PIECE, RowFate.NOT_UNDERSTOOD]
    assert "Salt Field" in first.fates[3].detail
    lines = recorded.order_lines(stocked.db)
    assert [(line.number, line.scan_sha256) for line in lines] == [
        ("R-102", stocked.made["salt"]), ("R-102", stocked.made["harbour"]), ("R-101", stocked.made["harbour"])]
    assert [line.numbers for line in lines] == ["", "3", "1–2"]
    assert lines[0].price == "1234.50" and lines[0].width_mm == 600 and lines[0].wrap_mm == 38
    again = import_orders(stocked.db, stocked.home.settings, path)
    assert again.counts == {RowFate.KNOWN: 3, RowFate.NO_PIECE: 1, RowFate.NOT_UNDERSTOOD: 1}
    assert len(recorded.order_lines(stocked.db)) == 3


def test_a_dry_run_tells_the_same_and_keeps_nothing(stocked: Shop) -> None:
    path = written(stocked, "orders.csv", ORDERS)
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    dry = import_orders(stocked.db, stocked.home.settings, path, make_pieces=True, dry_run=True)
    assert recorded.order_lines(stocked.db) == [] and pieces.counts(stocked.db)["piece"] == 2
    assert editions.issued(stocked.db, 1) == []
    real = import_orders(stocked.db, stocked.home.settings, path, make_pieces=True)
    assert [f.fate for f in dry.fates] == [f.fate for f in real.fates]
    assert pieces.known_piece(stocked.db, "Tomas Quill", "Salt Feild") is not None


def test_numbers_without_an_edition_beyond_it_or_out_already_are_refused_whole(stocked: Shop) -> None:
    path = written(stocked, "orders.csv", ORDERS)
    refused = import_orders(stocked.db, stocked.home.settings, path)
    assert [f.fate for f in refused.fates[:3]] == [RowFate.REFUSED, RowFate.REFUSED, RowFate.RECORDED]
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    assert import_orders(stocked.db, stocked.home.settings, path).counts[RowFate.RECORDED] == 2
    head = ORDERS.splitlines()[0]
    rows = [f"R-2{i},2024-01-01,Ilse Marwood,Harbour at Low Water,,50,70,,,,,{q},{n},,,," + ",harbour.tif"
            for i, (q, n) in enumerate([(1, "3"), (1, "26"), (1, "4/30"), (2, "5"), (1, "AP IV"), (1, "AP II")])]
    more = import_orders(stocked.db, stocked.home.settings, written(stocked, "more.csv", "\n".join([head, *rows])))
    assert [f.fate for f in more.fates] == [RowFate.REFUSED] * 5 + [RowFate.RECORDED]
    assert [line.numbers for line in recorded.order_lines(stocked.db)[:1]] == ["AP II"]
    assert orders.find_by_number(stocked.db, "R-20") is None  # the refused row left no empty order behind


def test_old_books_name_numbers_of_an_edition_that_is_closed_by_now(stocked: Shop) -> None:
    """What was printed before stays printed; only further numbers are refused."""
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    close(stocked.db, 1)
    known = editions.by_id(stocked.db, 1)
    assert known is not None and known.closed
    done = import_orders(stocked.db, stocked.home.settings, written(stocked, "orders.csv", ORDERS))
    assert [f.fate for f in done.fates[:3]] == [RowFate.RECORDED, RowFate.RECORDED, RowFate.RECORDED]
    assert [one.number for one in editions.issued(stocked.db, 1)] == [1, 2, 3]


def test_a_loss_that_a_row_tells_is_recorded_with_its_numbers(stocked: Shop) -> None:
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    done = import_orders(stocked.db, stocked.home.settings, written(
        stocked, "orders.csv", "date,artist,title,size,medium,quantity,edition numbers,destroyed\n"
        "2021-03-04,Ilse Marwood,Harbour at Low Water,50x70,Cotton rag 310,2,1-2,2: 2021-05-06 creased in the post\n"))
    assert done.counts == {RowFate.RECORDED: 1}
    assert editions.losses(stocked.db, 1) == {(Number("number", 2), "2021-05-06")}


def test_a_title_that_two_artists_have_and_the_next_of_a_series_are_left_to_a_person(stocked: Shop) -> None:
    for artist, title in (("Ada Quill", "Tides 2"), ("Ilse Marwood", "Untitled"), ("Tomas Quill", "Untitled")):
        stocked.piece(artist, title)
    done = import_orders(stocked.db, stocked.home.settings, written(
        stocked, "orders.csv", "date,artist,title,size\n2021-03-04,,Untitled,50x70\n"
        "2021-03-04,Ada Quill,Tides 3,50x70\n2021-03-04,Ada Quill,Tidse 2,50x70\n"))
    assert [f.fate for f in done.fates] == [RowFate.NO_PIECE] * 3
    assert done.fates[0].detail.startswith("2 artists have ")
    assert "'Tides 2'" not in done.fates[1].detail
    assert "'Tides 2' by Ada Quill?" in done.fates[2].detail


def test_rows_that_say_the_same_are_as_many_prints(stocked: Shop) -> None:
    """A row may rightly stand twice in one file; it is the second *import* that must record nothing."""
    row = "R-9,2024-01-01,Tomas Quill,Salt Field,,60,60,Canvas,,,,1,,,,,,salt.tif"
    path = written(stocked, "twice.csv", "\n".join([ORDERS.splitlines()[0], row, row]))
    assert import_orders(stocked.db, stocked.home.settings, path).counts == {RowFate.RECORDED: 2}
    assert import_orders(stocked.db, stocked.home.settings, path).counts == {RowFate.KNOWN: 2}


def test_a_file_name_links_only_where_it_stands_for_one_content(stocked: Shop) -> None:
    salt = pieces.known_piece(stocked.db, "Tomas Quill", "Salt Field")
    other = stocked.scan("quill/second/salt.tif", salt, shade=9)
    stocked.scan("quill/accent/Se\u0301pia.TIF", salt, shade=10)
    rows = [f"R-{i},2024-01-0{i},Tomas Quill,Salt Field,,60,60,,,,,1,,,,,,{name}" for i, name in enumerate(
        ["salt.tif", "quill/second/salt.tif", "gone.tif", "", "s\u00e9pia.tif"], 1)]
    path = written(stocked, "names.csv", "\n".join([ORDERS.splitlines()[0], *rows]))
    fates = import_orders(stocked.db, stocked.home.settings, path).fates
    linked = [orders.line(stocked.db, f.line_id or 0) for f in fates]
    assert [line and line.scan_sha256 for line in linked][:4] == ["", other, "", ""]
    assert linked[4] and len(linked[4].scan_sha256) == 64
    assert [bool(f.remarks) for f in fates] == [True, False, True, True, False]
    assert linked[0] and linked[0].scan_name == "salt.tif"


def test_of_differing_copies_that_of_the_primary_store_was_printed(stocked: Shop, tmp_path: Path) -> None:
    """A copy rotten on another disk must not cut an order off from its master; the difference is said."""
    (tmp_path / "copy").mkdir()
    copy = add_store(stocked.db, "copy", tmp_path / "copy", "copy", consent=True)
    with transaction(stocked.db):
        rotten = stocked.scan("rotten.tif", pieces.known_piece(stocked.db, "Tomas Quill", "Salt Field"), shade=77)
        stocked.db.execute("UPDATE file SET store_id = ?, path = 'quill/salt.tif' WHERE path = 'rotten.tif'", [copy.id])
    path = written(stocked, "orders.csv", ORDERS)
    fate = import_orders(stocked.db, stocked.home.settings, path).fates[2]
    line = orders.line(stocked.db, fate.line_id or 0)
    assert line is not None and line.scan_sha256 == stocked.made["salt"] != rotten
    assert "primary store is used" in fate.remarks[0]


def test_other_headings_separator_encoding_dates_and_sizes_in_mm(stocked: Shop) -> None:
    text = ("Rechnung;Datum;Künstler;Motiv;Format mm;Menge;Betrag\n"
            "7;04.03.2021;Tomas Quill;Salt Field;600 x 400;3;1.270,00 €\n")
    path = written(stocked, "de.csv", text, "cp1252")
    with pytest.raises(CatalogueError, match="piece"):
        import_orders(stocked.db, stocked.home.settings, path)
    mapping = {"number": "Rechnung", "date": "Datum", "artist": "Künstler", "piece": "Motiv", "quantity": "Menge",
               "price": "Betrag"}
    outcome = import_orders(stocked.db, stocked.home.settings, path, mapping=mapping, dates=["%d.%m.%Y"])
    assert outcome.encoding == "Windows-1252" and outcome.counts == {RowFate.RECORDED: 1}
    line = recorded.order_lines(stocked.db)[0]
    assert (line.placed, line.width_mm, line.height_mm, line.quantity, line.price, line.status) == (
        "2021-03-04", 600, 400, 3, "1270.00", "collected")
    with pytest.raises(CatalogueError, match="Betrog"):
        import_orders(stocked.db, stocked.home.settings, path, mapping={"price": "Betrog"})


def test_a_price_finer_than_the_coin_is_never_taken_for_thousands(stocked: Shop) -> None:
    """A spreadsheet writes a third of a hundred as 33,333 beside 12,50; in a book of whole amounts it is thousands."""
    head = "number;date;artist;title;size;quantity;price each;currency\n"
    row = "{};2023-05-09;Tomas Quill;Salt Field;60 x 40;3;{};EUR\n"
    book = written(stocked, "book.csv", head + "".join(
        row.format(*cells) for cells in ((1, "12,50"), (2, "33,333"), (3, "33,330"), (4, "1.080"), (5, "2.033,33"))))
    outcome = import_orders(stocked.db, stocked.home.settings, book)
    assert [fate.fate for fate in outcome.fates] == [
        RowFate.RECORDED, RowFate.REFUSED, RowFate.RECORDED, RowFate.RECORDED, RowFate.RECORDED]
    assert outcome.fates[1].detail == "'33,333' is not a price in EUR: it has 2 decimals."
    assert {line.number: line.unit_price for line in recorded.order_lines(stocked.db)} == {
        "1": "12.50", "3": "33.33", "4": "1080.00", "5": "2033.33"}
    whole = written(stocked, "whole.csv", head + row.format(6, "33,333"))
    assert import_orders(stocked.db, stocked.home.settings, whole).counts == {RowFate.RECORDED: 1}
    assert next(line.unit_price for line in recorded.order_lines(stocked.db) if line.number == "6") == "33333.00"


@pytest.mark.parametrize(("on_record", "written_as"), [("森下千波", "森下 千波"), ("森下 千波", "森下千波"),
                                                       ("森下千波", "森下\u3000千波"), ("김하늘", "김 하늘")])
def test_an_east_asian_name_is_the_same_with_and_without_its_space(stocked: Shop, on_record: str,
                                                                   written_as: str) -> None:
    artist = pieces.artist_called(stocked.db, on_record).id
    stocked.piece(on_record, "潮の音")
    book = written(stocked, "book.csv", f"number;date;artist;title;size\n1;2023-05-09;{written_as};潮の音;60 x 40\n")
    assert import_orders(stocked.db, stocked.home.settings, book, make_pieces=True).counts == {RowFate.RECORDED: 1}
    assert [line.artist for line in recorded.order_lines(stocked.db)] == [on_record]
    assert [known.id for known in pieces.artists_matching(stocked.db, written_as)] == [artist]
    assert pieces.artist_called(stocked.db, "山田 花子").id != pieces.artist_called(stocked.db, "山田花").id


def test_a_book_may_name_paper_sizes(stocked: Shop) -> None:
    book = written(stocked, "book.csv", "number,date,artist,title,size mm\n1,2023-05-09,Tomas Quill,Salt Field,A3\n")
    assert import_orders(stocked.db, stocked.home.settings, book).counts == {RowFate.RECORDED: 1}
    (line,) = recorded.order_lines(stocked.db)
    assert (line.width_mm, line.height_mm) == (297, 420)


def test_a_date_after_today_is_remarked(stocked: Shop) -> None:
    book = written(stocked, "book.csv", "number,date,artist,title,size\n1,9999-12-31,Tomas Quill,Salt Field,60 x 40\n"
                                        "2,2020-12-31,Tomas Quill,Salt Field,60 x 40\n")
    future, past = import_orders(stocked.db, stocked.home.settings, book).fates
    assert "its date is after today" in future.remarks and "its date is after today" not in past.remarks


def test_one_row_cancelled_leaves_its_order_standing(stocked: Shop) -> None:
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    rows = ["R-7,2024-01-01,Ilse Marwood,Harbour at Low Water,,50,70,,,,,1,1,,,cancelled,,harbour.tif",
            "R-7,2024-01-01,Tomas Quill,Salt Field,,60,60,,,,,1,,,,collected,,salt.tif",
            "R-8,2024-01-02,Tomas Quill,Salt Field,,60,60,,,,,1,,,,cancelled,,salt.tif"]
    path = written(stocked, "c.csv", "\n".join([ORDERS.splitlines()[0], *rows]))
    outcome = import_orders(stocked.db, stocked.home.settings, path)
    assert outcome.counts == {RowFate.RECORDED: 3}
    assert {line.title + line.number: line.status for line in orders.all_lines(stocked.db)} == {
        "Harbour at Low WaterR-7": "cancelled", "Salt FieldR-7": "collected", "Salt FieldR-8": "cancelled"}
    assert [orders.by_number(stocked.db, n).status for n in ("R-7", "R-8")] == ["collected", "cancelled"]
    assert editions.issued(stocked.db, 1) == []
    assert import_orders(stocked.db, stocked.home.settings, path).counts == {RowFate.KNOWN: 3}


@pytest.mark.parametrize("dry_run", [True, False])
@pytest.mark.parametrize(("given", "status"), [("", "collected"), ("1", "cancelled")])
def test_a_loss_without_an_edition_number_to_book_it_under_is_said(
        stocked: Shop, given: str, status: str, dry_run: bool) -> None:
    """It was once passed over in silence."""
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    text = ("number,date,artist,piece,size,quantity,edition numbers,status,lost\n"
            f"R-1,2024-01-01,Ilse Marwood,Harbour at Low Water,50x70,1,{given},{status},1: 2024-02-03 torn\n")
    (fate,) = import_orders(stocked.db, stocked.home.settings, written(stocked, "l.csv", text), dry_run=dry_run).fates
    assert fate.fate == "recorded"
    assert any("loss" in remark and "1: 03 Feb 2024 torn" in remark for remark in fate.remarks)
    assert editions.issued(stocked.db, 1) == []


def test_a_loss_told_of_a_line_that_is_on_record_without_it_is_said(stocked: Shop) -> None:
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    head = "number,date,artist,piece,size,quantity,edition numbers,status,lost,notes\n"
    row = "R-1,2024-01-01,Ilse Marwood,Harbour at Low Water,50x70,1,1,collected,"
    fates = [import_orders(stocked.db, stocked.home.settings, written(stocked, name, head + row + lost)).fates[0]
             for name, lost in (("a.csv", ","), ("b.csv", "1: 2024-02-03 torn,"))]
    assert [f.fate for f in fates] == [RowFate.RECORDED, RowFate.KNOWN]
    told = [[r for r in f.remarks if "catalogue edition destroy" in r] for f in fates]
    assert [len(t) for t in told] == [0, 1] and "1: 03 Feb 2024 torn" in told[1][0]
    with transaction(stocked.db):
        editions.destroy(stocked.db, 1, Number("number", 1), "2024-02-03", "torn")
    (again,) = import_orders(stocked.db, stocked.home.settings, written(
        stocked, "c.csv", head + row + "1: 2024-02-03  torn,")).fates
    assert again.fate == RowFate.KNOWN and not any("destroy" in remark for remark in again.remarks)


def test_an_order_typed_by_hand_is_known_when_the_books_are_taken_in(stocked: Shop) -> None:
    salt = pieces.known_piece(stocked.db, "Tomas Quill", "Salt Field")
    assert salt is not None
    with transaction(stocked.db):
        order = orders.save(stocked.db, "R-102", "2022-05-06", buyer="hall", status="collected", currency="EUR")
        orders.add_line(stocked.db, order, orders.NewLine(salt, 600, 600, 1, "Canvas", wrap_mm=38, price="1234.50"))
    outcome = import_orders(stocked.db, stocked.home.settings, written(stocked, "orders.csv", ORDERS))
    assert outcome.fates[2].fate == RowFate.KNOWN


def test_editions_are_told_from_orders_and_kept_once(stocked: Shop) -> None:
    path = written(stocked, "editions.csv", EDITIONS)
    foreign = written(stocked, "foreign.csv", "Titel,Datum\nHarbour,2021-05-03\n")
    assert kind_of(foreign, {"piece": "Titel", "date": "Datum"}) == "orders", "pieces have no date"
    assert kind_of(path, {}) == "editions" and kind_of(written(stocked, "orders.csv", ORDERS), {}) == "orders"
    assert import_editions(stocked.db, stocked.home.settings, path).counts == {RowFate.RECORDED: 1}
    assert import_editions(stocked.db, stocked.home.settings, path).counts == {RowFate.KNOWN: 1}
    edition = editions.listed(stocked.db)[0]
    assert (edition.size_limit, edition.proofs, edition.scope, edition.width_mm, edition.height_mm) == (
        25, 3, "one size", 500, 700)


@pytest.mark.parametrize("content", [b"", b"\n\n", b"II*\0" * 100, b'a,"b\nc', b"\xff\xfe\x00"])
def test_what_is_no_csv_is_said_plainly(shop: Shop, content: bytes) -> None:
    path = shop.home.folder / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(CatalogueError):
        import_orders(shop.db, shop.home.settings, path)


def test_books_saved_anew_by_another_program_are_known_again(stocked: Shop) -> None:
    """Our own table of the same orders has other columns, units and decimals; it must record nothing twice."""
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    import_orders(stocked.db, stocked.home.settings, written(stocked, "orders.csv", ORDERS))
    ours = written(stocked, "ours.csv", tables.orders_csv(stocked.db))
    assert import_orders(stocked.db, stocked.home.settings, ours).counts == {RowFate.KNOWN: 3}
    assert import_orders(stocked.db, stocked.home.settings, ours).counts == {RowFate.KNOWN: 3}


def test_the_table_of_orders_read_into_an_empty_catalogue_gives_the_same_lines(stocked: Shop, tmp_path: Path) -> None:
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    text = ORDERS.replace("deeper blue", "=HYPERLINK(1)")
    import_orders(stocked.db, stocked.home.settings, written(stocked, "orders.csv", text))
    priced = recorded.order_lines(stocked.db)[0]
    correct(stocked.db, priced.number, {}, line_id=priced.id, line={"unit_price": "95"})
    other = open_database(tmp_path / "other" / "catalogue.sqlite")
    for name, table in (("e.csv", tables.editions_csv(stocked.db)), ("o.csv", tables.orders_csv(stocked.db))):
        path = written(stocked, name, table)
        taken = (import_editions if name == "e.csv" else import_orders)(
            other, stocked.home.settings, path, make_pieces=True)
        assert taken.left_out == 0
    assert "'=HYPERLINK" in tables.orders_csv(stocked.db)  # no spreadsheet runs it
    def said(db: Database) -> list[object]:
        return [(o.number, o.placed, o.buyer, o.artist, o.title, o.width_mm, o.height_mm, o.medium, o.border_mm,
                 o.wrap_mm, o.edge, o.quantity, o.numbers, o.price, o.unit_price, o.notes, o.scan_sha256, o.scan_name)
                for o in orders.all_lines(db)]
    assert said(other) == said(stocked.db) and len(said(other)) == 3
    other.close()


def test_a_line_taken_in_before_its_scan_was_indexed_is_tied_to_it_later(stocked: Shop) -> None:
    row = "R-9,2024-01-01,Tomas Quill,Salt Field,,60,60,Canvas,,,,1,,,,,,late.tif"
    path = written(stocked, "late.csv", "\n".join([ORDERS.splitlines()[0], row]))
    assert import_orders(stocked.db, stocked.home.settings, path).fates[0].remarks
    salt = pieces.known_piece(stocked.db, "Tomas Quill", "Salt Field")
    late = stocked.scan("quill/late.tif", salt, shade=40)
    again = import_orders(stocked.db, stocked.home.settings, path)
    assert again.counts == {RowFate.KNOWN: 1} and again.fates[0].remarks == ("now linked to its scan",)
    assert recorded.order_lines(stocked.db)[0].scan_sha256 == late


def test_artists_and_pieces_come_and_go_as_tables(stocked: Shop, tmp_path: Path) -> None:
    artists = written(stocked, "a.csv", "name,address,terms\nIlse Marwood,\"12 Quay Lane, Dunmore\",half\nNew One,,\n")
    originals = written(stocked, "p.csv", "artist,title,year,original_size_cm,relief_mm,series,inventory no\n"
                        "Ilse Marwood,Harbour at Low Water,2019,60x80,2.5,Quays,IM-7\nIlse Marwood,Unknown,,,,,\n"
                        "Tomas Quill,Salt Field,,big,,,\n")
    assert kind_of(artists, {}) == "artists" and kind_of(originals, {}) == "pieces"
    assert import_artists(stocked.db, artists, dry_run=True).counts == {RowFate.RECORDED: 2}
    assert len(pieces.artists_whole(stocked.db)) == 2
    assert import_artists(stocked.db, artists).counts == {RowFate.RECORDED: 2}
    assert import_artists(stocked.db, artists).counts == {RowFate.KNOWN: 2}
    assert [f.fate for f in import_pieces(stocked.db, originals).fates] == [
        RowFate.RECORDED, RowFate.NO_PIECE, RowFate.NOT_UNDERSTOOD]
    assert import_pieces(stocked.db, originals).counts[RowFate.KNOWN] == 1
    piece = pieces.by_id(stocked.db, 1)
    assert piece and (piece.year, piece.width_mm, piece.height_mm, piece.relief_mm, piece.series,
                      piece.inventory_number) == ("2019", 600, 800, 2.5, "Quays", "IM-7")
    other = open_database(tmp_path / "other.sqlite")
    import_artists(other, written(stocked, "a2.csv", tables.artists_csv(stocked.db)))
    import_pieces(other, written(stocked, "p2.csv", tables.pieces_csv(stocked.db)), make_pieces=True)
    assert pieces.artists_whole(other)[0].contact == "12 Quay Lane, Dunmore"
    assert [(p.title, p.width_mm, p.relief_mm) for p in pieces.every(other)] == [
        (p.title, p.width_mm, p.relief_mm) for p in pieces.every(stocked.db)]
    other.close()


def test_counts_beyond_reason_are_slips(stocked: Shop) -> None:
    rows = [f"R-{i},2024-01-01,Tomas Quill,Salt Field,,60,60,,,,,{quantity},,,,,,salt.tif"
            for i, quantity in enumerate(["100001", "1" + "0" * 40, "0", "-3", "2.5", "²"])]
    path = written(stocked, "many.csv", "\n".join([ORDERS.splitlines()[0], *rows]))
    assert import_orders(stocked.db, stocked.home.settings, path).counts == {RowFate.NOT_UNDERSTOOD: 6}
    path = written(stocked, "e.csv", "artist,title,edition size\nTomas Quill,Salt Field," + "9" * 30 + "\n")
    assert import_editions(stocked.db, stocked.home.settings, path).counts == {RowFate.NOT_UNDERSTOOD: 1}


CELL = st.one_of(st.text(max_size=12), st.integers(-5, 10**30).map(str), st.sampled_from(
    ["50x70", "1e9x2", "inf", "nan", "²", "٣", "1-99999", "AP IV", "0", "2024-02-30", "2024-05-05", "'=1", "IIII",
     "Ilse Marwood", "Harbour at Low Water", "harbour.tif", "7: 2024-01-01 torn", "cancelled after printing"]))


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(cells=st.lists(st.tuples(st.sampled_from([*ORDER_COLUMNS]), CELL), max_size=12))
def test_whatever_a_row_says_it_has_a_fate_and_a_dry_run_leaves_no_trace(
        stocked: Shop, cells: list[tuple[str, str]]) -> None:
    sound = {"number": "R-1", "date": "2024-05-05", "artist": "Ilse Marwood", "piece": "Harbour at Low Water",
             "size": "50x70", "quantity": "1"} | dict(cells)
    path = stocked.home.folder / "any.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerows([sound.keys(), sound.values()])
    if editions.listed(stocked.db) == []:
        import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    try:
        outcome = import_orders(stocked.db, stocked.home.settings, path, dry_run=True, make_pieces=True)
    except CatalogueError:
        assert not any(sound.values()) or any("\n" in v or "\r" in v or "\0" in v for v in sound.values())
    else:
        assert len(outcome.fates) <= 1 and orders.all_lines(stocked.db) == []
        assert pieces.counts(stocked.db)["piece"] == 2


@pytest.mark.parametrize("column", ["numbers", "replacing", "lost"])
def test_an_edition_number_no_edition_can_hold_is_not_understood(stocked: Shop, column: str) -> None:
    """2^63 is the first whole number SQLite cannot hold; it once ended the whole import."""
    text = f"{2**63}: 2024-01-01 torn" if column == "lost" else str(2**63)
    path = stocked.home.folder / "giant.csv"
    import_editions(stocked.db, stocked.home.settings, written(stocked, "editions.csv", EDITIONS))
    sound = {"number": "R-1", "date": "2024-05-05", "artist": "Ilse Marwood", "piece": "Harbour at Low Water",
             "size": "50x70", "quantity": "1", column: text}
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([sound.keys(), sound.values()])
    assert import_orders(stocked.db, stocked.home.settings, path).counts == {RowFate.NOT_UNDERSTOOD: 1}


@pytest.mark.parametrize("word", ["requested", "asked", "Ordered", "new"])
def test_an_order_that_is_only_requested_is_understood_however_a_book_calls_it(stocked: Shop, word: str) -> None:
    """Exports of this program said "asked" until schema 21."""
    text = ("number,date,artist,piece,size,quantity,status\n"
            f"R-1,2024-01-01,Ilse Marwood,Harbour at Low Water,50x70,1,{word}\n")
    import_orders(stocked.db, stocked.home.settings, written(stocked, "orders.csv", text))
    assert orders.by_number(stocked.db, "R-1").status == "requested"
