"""Holdings pages and certificate lists: whole in themselves, telling what they should and nothing more."""

import base64
import csv
from collections.abc import Callable
from io import BytesIO, StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from catalogue.errors import NotFound, Refused
from catalogue.ledger import editions, repeat
from catalogue.ledger.statuses import set_status
from catalogue.records import pieces
from catalogue.records.database import transaction
from catalogue.records.numbers import Number
from catalogue.sheets.certificates import certificates
from catalogue.sheets.holdings import PICTURE_SIDE, holdings
from catalogue.sheets.writing import safe_name, write_new, write_sheet

from .conftest import Reader, Shop, preview


@pytest.fixture
def stocked(shop: Shop) -> Shop:
    """Two pieces, one in an edition of 12 of which four are out, one lost and printed anew."""
    pier = shop.piece("Ilse Marwood", "Pier <at> dusk")
    shop.piece("Ilse Marwood", "Kiln")
    preview(shop, shop.scan("pier.tif", pier, shade=1, stated_px=(7016, 9921)), (724, 1024))
    shop.piece("Tomas Quill", "Salt Field")
    edition = editions.define(shop.db, pier, 12, proofs=2)
    with transaction(shop.db):
        pieces.describe_artist(shop.db, 1, contact="12 Quay Lane", terms="half and half", notes="")
    proposal = repeat.propose(shop.db, shop.home, piece_id=pier, width_mm=297, height_mm=420, afresh=True)
    repeat.record(shop.db, proposal, quantity=3, number="R-1", buyer="Secret Buyer", price="431.07",
                  status="collected", placed="2026-01-02")
    repeat.record(shop.db, proposal, quantity=1, proofs=True, number="R-2", status="printed")
    editions.destroy(shop.db, edition, [Number("number", 2)], "creased", day="2026-02-01")
    repeat.record(shop.db, proposal, quantity=1, replacing=[Number("number", 2)], number="R-3")
    editions.destroy(shop.db, edition, [Number("number", 3)], "stolen", day="2026-02-02")
    return shop


def test_holdings_show_pictures_sizes_and_what_is_left(stocked: Shop, read: Callable[[str], Reader]) -> None:
    page = read(holdings(stocked.db, stocked.home, 1))
    text = " ".join(" ".join(page.text).split())
    for fact in ("Ilse Marwood", "Pier <at> dusk", "Kiln", "2 works", "59.4 × 84 cm", "300 ppi", "150 ppi",
                 "Edition of 12 + 2 AP, all sizes", "3 issued, 9 left; 1 AP left", "No master scan yet",
                 "kept in 1 copy"):
        assert fact in text, fact  # 7016 × 9921 px fill A2 at 300 ppi less a rounding: ISO 216
    for secret in ("Secret Buyer", "431", "Quay Lane", "half and half", "Salt Field"):
        assert secret not in text, secret
    assert len(page.pictures) == 1
    data = base64.b64decode(page.pictures[0].partition(",")[2])
    assert max(Image.open(BytesIO(data)).size) == PICTURE_SIDE


def test_holdings_tell_a_closed_edition_and_no_numbers_left(stocked: Shop, read: Callable[[str], Reader]) -> None:
    editions.close(stocked.db, 1, "2026-03-04")
    text = " ".join(" ".join(read(holdings(stocked.db, stocked.home, 1)).text).split())
    assert "closed 04 Mar 2026, 3 issued" in text
    assert "left" not in text


def test_holdings_count_what_was_printed_and_nothing_else(stocked: Shop) -> None:
    """Of quantities 3 (collected), 1 (printed), 1 (requested, in the fixture), 20 (approved) and 300 (cancelled)."""
    piece = pieces.known_piece(stocked.db, "Ilse Marwood", "Pier <at> dusk")
    assert piece is not None
    proposal = repeat.propose(stocked.db, stocked.home, piece_id=piece, width_mm=297, height_mm=420, afresh=True)
    repeat.record(stocked.db, proposal, quantity=20, number="R-4", status="approved", unnumbered=True)
    repeat.record(stocked.db, proposal, quantity=300, number="R-5", unnumbered=True)
    set_status(stocked.db, "R-5", "cancelled")
    page = holdings(stocked.db, stocked.home, 1)
    assert "4 prints so far" in page
    assert page.count("so far") == 1
    set_status(stocked.db, "R-4", "printed")
    assert "24 prints so far" in holdings(stocked.db, stocked.home, 1)


def test_holdings_of_nobody_and_of_nothing(shop: Shop, read: Callable[[str], Reader]) -> None:
    with pytest.raises(NotFound):
        holdings(shop.db, shop.home, 5)
    with transaction(shop.db):
        artist = pieces.artist_called(shop.db, "Nobody Yet").id
    assert "No works yet" in " ".join(read(holdings(shop.db, shop.home, artist)).text)


def test_holdings_page_through_more_works_than_a_page(shop: Shop) -> None:
    """Paging by folded title: a title that folds to nothing of its own must not stop or repeat the list."""
    with transaction(shop.db):
        artist = pieces.artist_called(shop.db, "Ilse Marwood").id
        for i in range(520):
            pieces.piece_called(shop.db, artist, f"Study – {i:03}")
        pieces.piece_called(shop.db, artist, "!!!")
    assert "521 works" in holdings(shop.db, shop.home, artist)


def test_the_certificate_list_tells_each_print_and_its_loss(stocked: Shop, read: Callable[[str], Reader]) -> None:
    sheet = certificates(stocked.db, stocked.home.settings, 1)
    rows = list(csv.DictReader(StringIO(sheet.as_csv)))
    assert [row["number"] for row in rows] == ["1/12", "2/12", "3/12", "AP I/II"]
    assert rows[0]["buyer"] == "Secret Buyer" and rows[0]["size"] == "29.7 × 42 cm" and len(rows[0]["sha256"]) == 64
    assert (rows[1]["order"], rows[1]["buyer"], rows[0]["order"]) == ("R-3", "", "R-1"), "the print that there is"
    assert rows[1]["remarks"] == "printed in order R-1, destroyed 01 Feb 2026: creased; reprinted in order R-3"
    assert rows[2]["remarks"] == "destroyed 02 Feb 2026: stolen"
    assert [row.lost for row in sheet.rows] == [False, False, True, False]
    text = " ".join(read(sheet.as_html).text)
    assert "Pier <at> dusk" in text and "3 issued, 9 left" in text
    with pytest.raises(NotFound):
        certificates(stocked.db, stocked.home.settings, 99)


def test_sheets_go_over_nothing_and_into_no_store(shop: Shop) -> None:
    path = shop.home.folder / "list.csv"
    assert write_new(path, "a\n").read_text() == "a\n"
    with pytest.raises(Refused):
        write_new(path, "b\n")
    with pytest.raises(Refused, match="store"):
        write_sheet(shop.db, shop.root / "list.csv", "a")
    assert path.read_text() == "a\n" and not (shop.root / "list.csv").exists()


@given(st.text(max_size=200))
def test_safe_names_are_names(text: str) -> None:
    name = safe_name(text)
    assert name and len(name) <= 80 and not set(name) & set('/\\:*?"<>|\0\n') and name.strip(" .") == name
