"""Which pieces want a new scan, and which capture notes are offered for it."""

from dataclasses import replace

import pytest

from catalogue.errors import Refused
from catalogue.ledger.rescans import advice, captures
from catalogue.operations.capturing import note_capture
from catalogue.records import orders, pieces, scans
from catalogue.records.database import transaction
from catalogue.records.demand import captured_like
from catalogue.records.orders import NewLine

from .conftest import Shop


def ordered(shop: Shop, piece: int, width: float, height: float, quantity: int, medium: str = "Rag",
            placed: str = "2024-05-05") -> None:
    with transaction(shop.db):
        order = orders.save(shop.db, orders.next_number(shop.db, placed[:4]), placed)
        orders.add_line(shop.db, order, NewLine(piece, width, height, quantity, medium))


def test_pieces_that_fall_short_come_by_demand(shop: Shop) -> None:
    names = ("Pier", "Kiln", "Marsh", "Loft")
    pier, kiln, marsh, loft = (shop.piece("Ilse Marwood", name) for name in names)
    for i, (piece, px) in enumerate(((pier, (2000, 2000)), (kiln, (2000, 2000)), (marsh, (6000, 6000)))):
        shop.scan(f"{i}.tif", piece, shade=i, stated_px=px)
    ordered(shop, pier, 508, 508, 2)                      # 100 ppi, too little for paper
    ordered(shop, pier, 254, 254, 50)                     # 200 ppi, enough: no demand for a re-scan
    ordered(shop, kiln, 508, 508, 3)
    ordered(shop, kiln, 508, 508, 1, "Canvas", "2025-01-01")
    ordered(shop, marsh, 508, 508, 9)                     # 300 ppi
    ordered(shop, loft, 300, 300, 1)                      # no master at all
    found = advice(shop.db, shop.home.settings)
    assert [(one.title, one.prints) for one in found] == [("Kiln", 4), ("Pier", 2), ("Loft", 1)]
    assert [(s.width_mm, s.prints, round(s.ppi), s.least_ppi) for s in found[0].sizes] == [(508, 4, 100, 200)]
    assert found[0].last == "2025-01-01" and found[2].sizes == ()


def test_the_scan_ppi_that_would_serve_follows_from_the_masters_own(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    sha256 = shop.scan("p.tif", piece, stated_px=(2000, 2000))
    shop.db.execute("UPDATE scan SET ppi_x = 300, ppi_y = 300 WHERE sha256 = ?", [sha256])
    ordered(shop, piece, 508, 508, 1)
    assert advice(shop.db, shop.home.settings)[0].scan_ppi == pytest.approx(600)  # 100 ppi, 200 wanted


def test_notes_of_the_same_artist_come_by_likeness_of_relief(shop: Shop) -> None:
    for name, artist, relief in (("Pier", "Ilse Marwood", 3.0), ("Kiln", "Ilse Marwood", 2.5),
                                 ("Marsh", "Ilse Marwood", 20.0), ("Dune", "Ilse Marwood", None),
                                 ("Salt", "Tomas Quill", 3.0)):
        piece = shop.piece(artist, name)
        shop.scan(f"{name}.tif", piece, shade=len(name) + ord(name[0]))
        note_capture(shop.db, piece, {"light": f"raking, {name}", "scanner settings": "plain"}, relief_mm=relief)
    chosen = pieces.known_piece(shop.db, "Ilse Marwood", "Kiln")
    assert chosen is not None
    assert [one.title for one in captured_like(shop.db, chosen)] == ["Kiln", "Pier", "Marsh", "Dune"]


@pytest.mark.parametrize(("size", "bed", "least", "most"), [
    ((594, 841), (297, 420), 9, 12), ((594, 841), (420, 594), 4, 6), ((600, 600), (297, 420), 4, 6),
    ((600, 600), (420, 594), 4, 4), ((200, 280), (297, 420), 1, 1)])
def test_captures_to_expect(shop: Shop, size: tuple[float, float], bed: tuple[int, int], least: int,
                            most: int) -> None:
    """An A1 original takes 9 to 12 captures on an A3 bed and 4 to 6 on an A2 bed (ISO 216); a square of 60 cm takes 4
    to 6 and 4: common practice, no source."""
    piece = shop.piece("Ilse Marwood", "Pier")
    settings = replace(shop.home.settings, bed_mm=bed)
    assert captures(shop.db, settings, piece) is None
    pieces.describe(shop.db, piece, year="", series="", inventory_number="", width_mm=size[0], height_mm=size[1],
                    relief_mm=None, notes="")
    found = captures(shop.db, settings, piece)
    assert found is not None and least <= found.across * found.down <= most


def test_capture_notes_merge_and_an_empty_value_takes_a_field_away(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    with pytest.raises(Refused):
        note_capture(shop.db, piece, {"light": "left"})
    shop.scan("p.tif", piece)
    note_capture(shop.db, piece, {"light": "left", "relief depth": "3 mm"})
    note_capture(shop.db, piece, {"light": "", "tiles": "9"})
    found = pieces.by_id(shop.db, piece)
    assert found and found.current_scan_id
    assert scans.capture(shop.db, found.current_scan_id) == {"relief depth": "3 mm", "tiles": "9"}
