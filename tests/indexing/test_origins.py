"""Where each fact comes from: stated, read from the file or guessed; in the table of files, and after corrections."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from catalogue.errors import Refused
from catalogue.indexing.stores import add_store
from catalogue.operations import correcting
from catalogue.operations.exporting import export_table
from catalogue.records import editions, provenance
from catalogue.records.database import Database
from catalogue.records.provenance import TAGS, Origin, origins_of, reasons_text
from catalogue.settings import Home
from tests.indexing.test_corrections import Shop

Scan = Callable[..., Path]
XMP = b"""<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">Weir</rdf:li>
</rdf:Alt></dc:title><dc:creator><rdf:Seq><rdf:li>Cy Dove</rdf:li></rdf:Seq></dc:creator></rdf:Description></rdf:RDF>
</x:xmpmeta>"""


@pytest.fixture
def shop(db: Database, home: Home, scan: Scan, tmp_path: Path) -> Shop:
    (tmp_path / "main").mkdir()
    add_store(db, "main", tmp_path / "main", "primary", consent=True)
    shop = Shop(db, home, scan)
    scan("main/misc/0001.tif", seed=50, extratags=[(700, 1, len(XMP), XMP, True)])
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Harbour/tile 1 of 2.tif", "Ada Quill/Meadow/master.tif",
             "Ben Ashe/Pier 2019/master.tif")
    return shop


def table(shop: Shop, tmp_path: Path, name: str) -> dict[str, dict[str, str]]:
    """The table of files as Python's csv reads it, by path."""
    with export_table(shop.db, "files", tmp_path / name).open(encoding="utf-8", newline="") as lines:
        return {row["path"]: row for row in csv.DictReader(lines)}


def test_the_table_of_files_says_of_each_fact_where_it_comes_from(shop: Shop, tmp_path: Path) -> None:
    before = table(shop, tmp_path, "before.csv")
    assert len(before) == 5
    read = before["misc/0001.tif"]
    assert (read["artist"], read["title"], read["artist origin"], read["title origin"]) == (
        "Cy Dove", "Weir", "read", "read")
    assert read["artist reason"] == TAGS
    one = before["Ada Quill/Harbour/master.tif"]
    assert (one["store"], one["role"], one["artist"], one["title"]) == ("main", "master", "Ada Quill", "Harbour")
    assert {one[f"{name} origin"] for name in ("role", "artist", "title")} == {"guessed"}
    assert all(one[f"{name} reason"] for name in ("role", "artist", "title"))
    assert (one["year"], one["year origin"]) == ("", "")
    harbour, meadow = shop.piece("Ada Quill", "Harbour"), shop.piece("Ada Quill", "Meadow")
    correcting.describe_pieces(shop.db, [harbour.id], {"title": "The Harbour", "year": "2001"})
    correcting.rename_artist(shop.db, harbour.artist_id, "Adela Quill")
    correcting.describe_scans(shop.db, [shop.scan_at("Ada Quill/Harbour/tile 1 of 2.tif").sha256], role="reference",
                              piece_id=meadow.id)
    after = table(shop, tmp_path, "after.csv")
    one, moved = after["Ada Quill/Harbour/master.tif"], after["Ada Quill/Harbour/tile 1 of 2.tif"]
    assert (one["artist"], one["title"], one["year"]) == ("Adela Quill", "The Harbour", "2001")
    assert [one[f"{name} origin"] for name in ("artist", "title", "year", "role")] == [
        "stated", "stated", "stated", "guessed"]
    assert (moved["title"], moved["title origin"], moved["role"], moved["role origin"]) == (
        "Meadow", "stated", "reference", "stated")


def test_the_origins_of_a_piece_a_scan_and_an_artist(shop: Shop) -> None:
    piece = shop.piece("Ada Quill", "Harbour")
    assert {name: origin.source for name, origin in provenance.of_piece(shop.db, piece.id).items() if origin.source} \
        == {"artist": "guessed", "title": "guessed"}
    correcting.describe_pieces(shop.db, [piece.id], {"medium": "oil on board", "relief_mm": 2.0}, edition=(25, 3))
    origins = provenance.of_piece(shop.db, piece.id)
    assert {name for name, origin in origins.items() if origin == Origin("stated")} == {"medium", "relief_mm"}
    assert provenance.of_artist(shop.db, piece.artist_id)["name"].source == "guessed"
    scan = shop.scan_at("Ada Quill/Harbour/master.tif")
    assert {name: o.source for name, o in provenance.of_scan(shop.db, scan.sha256).items()} == {
        "role": "guessed", "piece": "guessed"}
    known = editions.of_piece(shop.db, piece.id)
    assert [(e.size_limit, e.proofs, e.scope) for e in known] == [(25, 3, "all sizes")]


def test_what_was_stated_is_given_back_to_the_guess(shop: Shop) -> None:
    before = shop.filed()
    piece = shop.piece("Ada Quill", "Harbour")
    correcting.describe_pieces(shop.db, [piece.id], {"title": "Quay", "year": "1990", "width_mm": 600.0},
                               artist="Ben Ashe")
    assert shop.piece("Ben Ashe", "Quay").year == "1990"
    done = correcting.describe_pieces(shop.db, [piece.id], dict.fromkeys(("title", "year", "width_mm", "artist_id")))
    assert "guessed again" in done.detail
    assert shop.filed() == before and shop.piece("Ada Quill", "Harbour").width_mm is None
    correcting.undo_statement(shop.db, done.id)
    assert shop.piece("Ben Ashe", "Quay").width_mm == 600
    scan = shop.scan_at("Ada Quill/Meadow/master.tif")
    correcting.describe_scans(shop.db, [scan.sha256], role="reference", new_piece=("Cy Dove", "Fog"))
    correcting.describe_scans(shop.db, [scan.sha256], to_guess=("role", "piece"))
    again = shop.scan_at("Ada Quill/Meadow/master.tif")
    assert (again.role, again.piece_id) == (scan.role, shop.piece("Ada Quill", "Meadow").id)
    artist_id = shop.piece("Ada Quill", "Meadow").artist_id
    correcting.correct_artist(shop.db, artist_id, name="Adele Quill")
    assert provenance.of_artist(shop.db, artist_id)["name"] == Origin("stated")
    correcting.correct_artist(shop.db, artist_id, name="")
    assert shop.piece("Ada Quill", "Meadow")


def test_several_at_once_are_one_statement_and_one_undo(shop: Shop) -> None:
    before, roles = shop.filed(), [scan.role for scan in map(shop.scan_at, shop.filed())]
    masters = [shop.scan_at(path).sha256 for path in ("Ada Quill/Meadow/master.tif", "Ben Ashe/Pier 2019/master.tif")]
    done = correcting.describe_scans(shop.db, masters, role="print file", artist="Cy Dove")
    assert shop.filed()["Ada Quill/Meadow/master.tif"] == "Cy Dove: Meadow"
    assert shop.scan_at("Ben Ashe/Pier 2019/master.tif").role == "print file"
    correcting.undo_statement(shop.db, done.id)
    assert (shop.filed(), [scan.role for scan in map(shop.scan_at, shop.filed())]) == (before, roles)
    ids = [shop.piece("Ada Quill", "Harbour").id, shop.piece("Ada Quill", "Meadow").id]
    done = correcting.describe_pieces(shop.db, ids, {"series": "Shores"}, artist="Nell Orrin")
    assert shop.piece("Nell Orrin", "Harbour").series == shop.piece("Nell Orrin", "Meadow").series == "Shores"
    correcting.undo_statement(shop.db, done.id)
    assert shop.piece("Ada Quill", "Harbour").series == ""


def test_of_several_none_is_changed_where_one_cannot_be(shop: Shop) -> None:
    harbour, meadow = shop.piece("Ada Quill", "Harbour"), shop.piece("Ada Quill", "Meadow")
    with pytest.raises(Refused, match="Shore"):
        correcting.describe_pieces(shop.db, [harbour.id, meadow.id], {"title": "Shore"})
    with pytest.raises(Refused, match="prints"):
        correcting.describe_pieces(shop.db, [harbour.id], {"title": "Shore"}, edition=(0, 0))
    assert shop.piece("Ada Quill", "Harbour").id == harbour.id


def test_an_artist_is_renamed_noted_and_joined_as_one(shop: Shop) -> None:
    ada, ben = shop.piece("Ada Quill", "Harbour").artist_id, shop.piece("Ben Ashe", "Pier").artist_id
    before = shop.filed()
    done = correcting.correct_artist(shop.db, ada, facts={"contact": "12 Quay St"}, join_into=ben)
    assert set(shop.filed().values()) == {"Ben Ashe: Harbour", "Ben Ashe: Meadow", "Ben Ashe: Pier", "Cy Dove: Weir"}
    shop.add("Ada Quill/Gate/master.tif")
    assert shop.filed()["Ada Quill/Gate/master.tif"] == "Ben Ashe: Gate"
    correcting.undo_statement(shop.db, done.id)
    assert shop.filed() == before | {"Ada Quill/Gate/master.tif": "Ada Quill: Gate"}


def test_reasons_are_read_as_written_now_and_by_older_versions() -> None:
    origins = {"artist": Origin("read", TAGS), "role": Origin("guessed", "its name; says (raw): 2")}
    assert origins_of(reasons_text(origins)) == origins
    assert reasons_text({"title": Origin("guessed", "one\nartist (read): two")}).count("\n") == 0
    assert origins_of("artist: the folder says 'A; B'; title: its name; role: x") == {
        "artist": Origin("guessed", "the folder says 'A; B'"), "title": Origin("guessed", "its name"),
        "role": Origin("guessed", "x")}
    assert origins_of("title from the tags; artist from the path") == {
        "title": Origin("read", TAGS), "artist": Origin("guessed", "its path")}
    assert origins_of("") == {}
