"""What a person states stays, whatever is guessed later; what they correct is followed by later runs and undone
exactly."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from catalogue.errors import NotFound, Refused
from catalogue.indexing import corrections
from catalogue.indexing.naming import FORMER_RULES
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.likeness import merging
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.service import judge
from catalogue.records import (
    editions,
    effective_artists,
    files,
    likenesses,
    orders,
    pieces,
    replay,
    scans,
    stale_rows,
    stores,
)
from catalogue.records.database import Database, last_statement, transaction
from catalogue.records.folding import fold_name
from catalogue.records.pieces import Piece
from catalogue.settings import Home
from tests.indexing.test_index_run import threads

Scan = Callable[..., Path]


@dataclass
class Shop:
    db: Database
    home: Home
    scan: Scan

    def index(self, again: bool = False) -> None:
        index(self.db, self.home, [stores.by_id(self.db, 1)], executors=threads, again=again)

    def add(self, *paths: str) -> None:
        for path in paths:
            self.scan(f"main/{path}", seed=len(list(self.root.rglob("*.tif"))) + 1)
        self.index()

    @property
    def root(self) -> Path:
        return Path(stores.by_id(self.db, 1).root)

    def piece(self, artist: str, title: str) -> Piece:
        number = pieces.known_piece(self.db, artist, title)
        found = pieces.by_id(self.db, number) if number is not None else None
        assert found is not None, (artist, title, self.filed())
        return found

    def scan_at(self, path: str) -> scans.Scan:
        file = files.by_path(self.db, 1, path)
        assert file is not None and file.scan_id is not None
        found = scans.by_id(self.db, file.scan_id)
        assert found is not None
        return found

    def filed(self) -> dict[str, str]:
        """``artist: title`` by path, empty where a scan is filed nowhere."""
        return {str(row[0]): str(row[1]) for row in self.db.execute("""
            SELECT f.path, coalesce(a.name || ': ' || p.title, '') FROM file f JOIN scan c ON c.id = f.scan_id
            LEFT JOIN piece p ON p.id = c.piece_id LEFT JOIN artist a ON a.id = p.artist_id ORDER BY f.path""")}

    def everything(self) -> list[tuple[object, ...]]:
        """All that a correction may touch: to compare before and after."""
        return [tuple(row) for table, order in (
            ("artist", "id"), ("piece", "id"), ("order_line", "id"), ("edition", "id"), ("artist_stated", "artist_id"),
            ("piece_stated", "piece_id"), ("scan_stated", "sha256"))
            for row in self.db.execute(f"SELECT * FROM {table} ORDER BY {order}")] + [
                tuple(row) for row in self.db.execute(
                    "SELECT id, role, role_source, piece_id, piece_source, capture FROM scan ORDER BY id")]

    def facts(self) -> list[tuple[object, ...]]:
        """What everything else reads, with all numbers; not the rows that only say by which names a piece is known."""
        return [tuple(row) for sql in (
            "SELECT * FROM artist ORDER BY id", "SELECT * FROM piece ORDER BY id",
            "SELECT * FROM order_line ORDER BY id",
            "SELECT id, role, role_source, piece_id, piece_source, capture FROM scan ORDER BY id")
            for row in self.db.execute(sql)]

    def order(self, piece_id: int) -> None:
        with transaction(self.db):
            number = orders.save(self.db, f"A{piece_id}", "2024-01-01")
            orders.add_line(self.db, number, orders.NewLine(piece_id, 300, 200, 1))


@pytest.fixture
def shop(db: Database, home: Home, scan: Scan, tmp_path: Path) -> Shop:
    (tmp_path / "main").mkdir()
    add_store(db, "main", tmp_path / "main", "primary", consent=True)
    return Shop(db, home, scan)


@pytest.fixture
def ruled_shop(shop: Shop) -> Shop:
    """A shop whose place rules take every path at its word."""
    return Shop(shop.db, replace(shop.home, settings=replace(shop.home.settings, place_rules=FORMER_RULES)), shop.scan)


# --- guesses never touch what was stated ---------------------------------------------------------------


# A family name alone is taken for an artist's where it holds several pieces.
QUILL = ("Quill/Harbour/master.tif", "Quill/Mill/master.tif", "Quill/Pier/master.tif")


def test_a_full_name_met_later_takes_nothing_a_person_said_of_the_short_one(shop: Shop) -> None:
    shop.add(*QUILL, "Quill/Harbour/re-scan 2.tif")
    before = shop.piece("Quill", "Harbour")
    chosen = shop.scan_at("Quill/Harbour/re-scan 2.tif")
    pieces.describe(shop.db, before.id, year="1999", series="Quays", inventory_number="Q-7", width_mm=600.0,
                    height_mm=800.0, relief_mm=2.5, notes="heavy frame")
    pieces.set_current(shop.db, before.id, chosen.id, "person")
    shop.order(before.id)
    shop.add("Ada Quill/Meadow/master.tif")
    after = pieces.by_id(shop.db, before.id)
    assert after is not None
    assert (after.artist, after.title, after.year, after.series, after.inventory_number) == (
        "Ada Quill", "Harbour", "1999", "Quays", "Q-7")
    assert (after.width_mm, after.height_mm, after.relief_mm, after.notes) == (600, 800, 2.5, "heavy frame")
    assert (after.current_scan_id, after.current_source) == (chosen.id, "person")
    assert shop.filed()["Quill/Harbour/master.tif"] == "Ada Quill: Harbour"


def test_an_artist_of_whom_a_person_spoke_keeps_name_and_notes(shop: Shop) -> None:
    shop.add(*QUILL)
    pieces.describe_artist(shop.db, shop.piece("Quill", "Harbour").artist_id, contact="12 Quay Lane", terms="",
                           notes="always in cash")
    shop.add("Ada Quill/Meadow/master.tif")
    quill = pieces.artist_named(shop.db, "Quill")
    assert quill is not None and (quill.name, quill.contact, quill.notes) == ("Quill", "12 Quay Lane", "always in cash")


def test_both_names_having_a_stated_piece_of_one_title_loses_neither(shop: Shop) -> None:
    shop.add(*QUILL)
    short = shop.piece("Quill", "Harbour")
    pieces.describe(shop.db, short.id, year="", series="", inventory_number="", width_mm=None, height_mm=None,
                    relief_mm=None, notes="the small one")
    with transaction(shop.db):
        full = pieces.piece_called(shop.db, pieces.artist_called(shop.db, "Ada Quill").id, "Harbour", "2001")
    shop.add("Ada Quill/Harbour/master.tif")
    assert {p.notes for p in pieces.every(shop.db)} == {"the small one", ""}
    assert {p.year for p in pieces.every(shop.db)} == {"2001", ""}
    assert shop.scan_at("Ada Quill/Harbour/master.tif").piece_id == full


def test_several_words_are_a_name_of_their_own(shop: Shop) -> None:
    shop.add("Mary Anna Lee/Meadow/master.tif", "Anna Lee/Harbour/master.tif")
    assert shop.filed() == {"Mary Anna Lee/Meadow/master.tif": "Mary Anna Lee: Meadow",
                            "Anna Lee/Harbour/master.tif": "Anna Lee: Harbour"}


def guessed_artist(db: Database, name: str) -> int:
    """Id of the artist that a guessed name means, made if new."""
    return effective_artists.artist_for(db, effective_artists.Recomputation(), name, fold_name(name))


def test_a_surname_means_the_one_artist_who_has_it_and_nobody_where_two_have(shop: Shop) -> None:
    with transaction(shop.db):
        ada = pieces.artist_called(shop.db, "Ada Quill").id
        assert guessed_artist(shop.db, "Quill") == ada
        tomas = pieces.artist_called(shop.db, "Tomas Quill").id
        other = guessed_artist(shop.db, "Quill")
    assert len({ada, tomas, other}) == 3
    assert guessed_artist(shop.db, "quill") == other


def test_role_and_piece_stated_hold_through_reading_again(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Meadow/master.tif")
    scan = shop.scan_at("Ada Quill/Harbour/master.tif")
    corrections.set_scans(shop.db, [scan.sha256], role="tile", piece_id=shop.piece("Ada Quill", "Meadow").id)
    shop.index(again=True)
    after = shop.scan_at("Ada Quill/Harbour/master.tif")
    assert (after.role, after.role_source, after.piece_source) == ("tile", "person", "person")
    assert shop.filed()["Ada Quill/Harbour/master.tif"] == "Ada Quill: Meadow"
    assert pieces.known_piece(shop.db, "Ada Quill", "Harbour") is None, "a guess without a scan goes"


def test_a_correction_does_not_keep_the_wrong_guess_s_year(shop: Shop) -> None:
    shop.add("2019/Ada Quill - Harbour/master.tif", "2003/Ada Quill - Meadow/master.tif")
    assert shop.piece("Ada Quill", "Meadow").year == "2003"
    scan = shop.scan_at("2003/Ada Quill - Meadow/master.tif")
    corrections.set_scans(shop.db, [scan.sha256], new_piece=("Ada Quill", "Dunes"))
    assert shop.piece("Ada Quill", "Dunes").year == ""
    corrections.set_piece(shop.db, shop.piece("Ada Quill", "Harbour").id, {"year": ""})
    assert shop.piece("Ada Quill", "Harbour").year == "", "that there is no year can be stated"


# --- merging, splitting, undoing -----------------------------------------------------------------------


def described(shop: Shop, piece_id: int, **said: object) -> None:
    corrections.set_piece(shop.db, piece_id, said)


def test_a_merge_carries_over_all_that_was_stated(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Harbor/master.tif", "Ada Quill/Harbor/re-scan 2.tif")
    keep, gone = shop.piece("Ada Quill", "Harbour"), shop.piece("Ada Quill", "Harbor")
    described(shop, keep.id, series="Quays", notes="frame")
    described(shop, gone.id, year="1999", series="Ports", width_mm=600.0, height_mm=800.0, inventory_number="Q-7",
              notes="varnished")
    chosen = shop.scan_at("Ada Quill/Harbor/re-scan 2.tif")
    pieces.set_current(shop.db, gone.id, chosen.id, "person")
    shop.order(gone.id)
    before = shop.everything()
    done = merging.merge(shop.db, keep.id, gone.id)
    after = shop.piece("Ada Quill", "Harbour")
    assert (after.year, after.series, after.width_mm, after.height_mm, after.inventory_number) == (
        "1999", "Quays", 600, 800, "Q-7")
    assert after.notes == "frame\nvarnished\nFrom Ada Quill: Harbor: series Ports."
    assert (after.current_scan_id, after.current_source) == (chosen.id, "person")
    assert len(orders.lines_of_piece(shop.db, keep.id)) == 1 and pieces.by_id(shop.db, gone.id) is None
    assert set(shop.filed().values()) == {"Ada Quill: Harbour"}
    corrections.undo(shop.db, done.id)
    assert shop.everything() == before and not replay.differences(shop.db)


def test_a_merge_carries_over_a_guessed_year(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "1999/Ada Quill - Harbor/master.tif")
    merging.merge(shop.db, shop.piece("Ada Quill", "Harbour").id, shop.piece("Ada Quill", "Harbor").id)
    assert shop.piece("Ada Quill", "Harbour").year == "1999"


def test_a_merge_is_remembered_and_undone_after_the_old_title_came_back(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Harbor/master.tif")
    keep, gone = shop.piece("Ada Quill", "Harbour"), shop.piece("Ada Quill", "Harbor")
    described(shop, gone.id, year="1999")
    done = merging.merge(shop.db, keep.id, gone.id)
    shop.add("Ada Quill/Harbor/re-scan 2.tif")
    assert set(shop.filed().values()) == {"Ada Quill: Harbour"}, "later runs follow"
    described(shop, keep.id, notes="said later")
    corrections.undo(shop.db, done.id)
    assert shop.filed() == {"Ada Quill/Harbour/master.tif": "Ada Quill: Harbour",
                            "Ada Quill/Harbor/master.tif": "Ada Quill: Harbor",
                            "Ada Quill/Harbor/re-scan 2.tif": "Ada Quill: Harbor"}
    back = pieces.by_id(shop.db, gone.id)
    assert back is not None and back.year == "1999"
    assert shop.piece("Ada Quill", "Harbour").notes == "said later" and shop.piece("Ada Quill", "Harbour").year == ""


def test_scans_guessed_under_a_corrected_title_go_along_when_its_piece_is_merged(shop: Shop) -> None:
    """As after tidying: their folder has the title that a person gave."""
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Quay/master.tif")
    weir, quay = shop.piece("Ada Quill", "Harbour").id, shop.piece("Ada Quill", "Quay").id
    corrections.set_piece(shop.db, weir, {"title": "Weir"})
    shop.add("Ada Quill/Weir/re-scan.tif")
    before = shop.filed()
    done = merging.merge(shop.db, quay, weir)
    assert set(shop.filed().values()) == {"Ada Quill: Quay"}
    shop.add("Ada Quill/Weir/re-scan 2.tif")
    assert set(shop.filed().values()) == {"Ada Quill: Quay"}, "later runs follow"
    corrections.undo(shop.db, done.id)
    assert shop.filed() == {**before, "Ada Quill/Weir/re-scan 2.tif": "Ada Quill: Weir"}


def test_merges_in_a_row_are_undone_in_any_order(shop: Shop) -> None:
    shop.add(*(f"Ada Quill/{title}/master.tif" for title in ("One", "Two", "Three")))
    one, two, three = (shop.piece("Ada Quill", title).id for title in ("One", "Two", "Three"))
    before = shop.filed()
    first = merging.merge(shop.db, two, three)
    second = merging.merge(shop.db, one, two)
    assert set(shop.filed().values()) == {"Ada Quill: One"}
    corrections.undo(shop.db, first.id)
    assert shop.filed()["Ada Quill/Three/master.tif"] == "Ada Quill: Three"
    assert shop.filed()["Ada Quill/Two/master.tif"] == "Ada Quill: One"
    corrections.undo(shop.db, second.id)
    assert shop.filed() == before


def test_a_split_is_undone_after_its_title_was_met_by_an_index_run(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Harbour/re-scan 2.tif")
    piece, scan = shop.piece("Ada Quill", "Harbour"), shop.scan_at("Ada Quill/Harbour/re-scan 2.tif")
    done = merging.split(shop.db, piece.id, [scan.id], "Dunes")
    shop.add("Ada Quill/Dunes/master.tif")
    assert len(scans.of_piece(shop.db, shop.piece("Ada Quill", "Dunes").id)) == 2
    corrections.undo(shop.db, done.id)
    assert shop.filed() == {"Ada Quill/Harbour/master.tif": "Ada Quill: Harbour",
                            "Ada Quill/Harbour/re-scan 2.tif": "Ada Quill: Harbour",
                            "Ada Quill/Dunes/master.tif": "Ada Quill: Dunes"}


def test_a_new_piece_under_an_old_title_takes_no_scan_from_the_piece_that_had_it(shop: Shop) -> None:
    """The scans of a piece renamed to Boats left it when another was called Harbour, as their folder is."""
    shop.add("Ada Quill/Harbour/0.tif", "Ada Quill/Harbour/1.tif")
    piece = shop.piece("Ada Quill", "Harbour")
    corrections.set_piece(shop.db, piece.id, {"title": "Boats"})
    merging.split(shop.db, piece.id, [shop.scan_at("Ada Quill/Harbour/0.tif").id], "Harbour")
    corrections.set_scans(shop.db, [shop.scan_at("Ada Quill/Harbour/1.tif").sha256], role="reference")
    shop.index(again=True)
    assert shop.filed() == {"Ada Quill/Harbour/0.tif": "Ada Quill: Harbour",
                            "Ada Quill/Harbour/1.tif": "Ada Quill: Boats"}


def test_pieces_that_both_have_editions_are_not_merged(shop: Shop) -> None:
    shop.add("Ada Quill/One/master.tif", "Ada Quill/Two/master.tif")
    one, two = (shop.piece("Ada Quill", title).id for title in ("One", "Two"))
    with transaction(shop.db):
        for piece in (one, two):
            editions.add(shop.db, piece, 10)
    with pytest.raises(Refused, match="editions"):
        merging.merge(shop.db, one, two)


def test_a_refused_correction_changes_nothing(shop: Shop) -> None:
    shop.add("Ada Quill/One/master.tif", "Ada Quill/Two/master.tif")
    before = shop.everything()
    with pytest.raises(Refused, match="already"):
        corrections.set_piece(shop.db, shop.piece("Ada Quill", "One").id, {"title": "two", "year": "1999"})
    with pytest.raises(Refused, match="itself"):
        merging.merge(shop.db, 1, 1)
    with pytest.raises(NotFound):
        merging.merge(shop.db, 1, 77)
    with pytest.raises(Refused):
        corrections.set_piece(shop.db, 1, {"title": " "})
    assert shop.everything() == before


def test_artists_who_both_have_an_edition_of_one_title_are_not_merged(shop: Shop) -> None:
    shop.add("Ada Quill/One/master.tif", "Ada Quil/One/master.tif")
    own, other = shop.piece("Ada Quill", "One"), shop.piece("Ada Quil", "One")
    with transaction(shop.db):
        editions.add(shop.db, own.id, 10)
        editions.add(shop.db, other.id, 25)
    before = shop.everything()
    with pytest.raises(Refused, match="with an edition"):
        corrections.merge_artists(shop.db, own.artist_id, other.artist_id)
    assert shop.everything() == before


def test_an_artist_does_not_take_the_name_of_another(shop: Shop) -> None:
    shop.add("Ada Quill/One/master.tif", "Ben Ashe/Two/master.tif")
    before = shop.everything()
    with pytest.raises(Refused, match="'Ben Ashe'"):
        corrections.rename_artist(shop.db, shop.piece("Ada Quill", "One").artist_id, "BEN  Ashe")
    assert shop.everything() == before


# --- artists -------------------------------------------------------------------------------------------


def test_a_renamed_artist_is_followed_by_later_runs(ruled_shop: Shop) -> None:
    shop = ruled_shop
    shop.add("J Quill/Harbour/master.tif")
    artist = shop.piece("J Quill", "Harbour").artist_id
    done = corrections.rename_artist(shop.db, artist, "Jo Quill")
    shop.add("J Quill/Meadow/master.tif", "Jo Quill/Dunes/master.tif")
    assert set(shop.filed().values()) == {"Jo Quill: Harbour", "Jo Quill: Meadow", "Jo Quill: Dunes"}
    corrections.undo(shop.db, done.id)
    assert set(shop.filed().values()) == {"J Quill: Harbour", "J Quill: Meadow", "Jo Quill: Dunes"}


def test_artists_merged_stay_one(ruled_shop: Shop) -> None:
    shop = ruled_shop
    shop.add("J Smithy/Harbour/master.tif", "Jan Smithy/Harbour/master.tif", "J Smithy/Meadow/master.tif")
    short, full = shop.piece("J Smithy", "Harbour"), shop.piece("Jan Smithy", "Harbour")
    described(shop, short.id, year="1999")
    described(shop, full.id, notes="large")
    pieces.describe_artist(shop.db, short.artist_id, contact="12 Quay Lane", terms="", notes="")
    shop.order(short.id)
    before = shop.everything()
    done = corrections.merge_artists(shop.db, full.artist_id, short.artist_id)
    assert shop.filed() == {"J Smithy/Harbour/master.tif": "Jan Smithy: Harbour",
                            "Jan Smithy/Harbour/master.tif": "Jan Smithy: Harbour",
                            "J Smithy/Meadow/master.tif": "Jan Smithy: Meadow"}
    kept = pieces.by_id(shop.db, full.id)
    assert kept is not None and (kept.year, kept.notes) == ("1999", "large")
    assert pieces.artists_whole(shop.db)[0].contact == "12 Quay Lane" and len(pieces.artists_whole(shop.db)) == 1
    assert len(orders.lines_of_piece(shop.db, full.id)) == 1
    corrections.undo(shop.db, done.id)
    assert shop.everything() == before
    corrections.merge_artists(shop.db, full.artist_id, short.artist_id)
    shop.add("J Smithy/Dunes/master.tif")
    assert shop.filed()["J Smithy/Dunes/master.tif"] == "Jan Smithy: Dunes", "later runs follow"


def test_pieces_spoken_of_stay_with_an_artist_renamed_again(ruled_shop: Shop) -> None:
    shop = ruled_shop
    shop.add("J Quill/Harbour/master.tif", "J Quill/Meadow/master.tif")
    artist = shop.piece("J Quill", "Harbour").artist_id
    renamed = corrections.rename_artist(shop.db, artist, "Jo Quil")
    shop.order(shop.piece("Jo Quil", "Harbour").id)
    merging.merge(shop.db, shop.piece("Jo Quil", "Harbour").id, shop.piece("Jo Quil", "Meadow").id)
    again = corrections.rename_artist(shop.db, artist, "Jo Quill")
    shop.add("J Quill/Meadow/re-scan.tif")
    assert set(shop.filed().values()) == {"Jo Quill: Harbour"}
    assert [a.name for a in pieces.artists_whole(shop.db)] == ["Jo Quill"]
    corrections.undo(shop.db, again.id)
    corrections.undo(shop.db, renamed.id)
    assert set(shop.filed().values()) == {"J Quill: Harbour"}
    assert [a.name for a in pieces.artists_whole(shop.db)] == ["J Quill"]


def test_a_piece_spoken_of_under_a_merged_artist_goes_back_with_its_scans(ruled_shop: Shop) -> None:
    shop = ruled_shop
    shop.add("J Smithy/Harbour/master.tif", "Jan Smithy/Meadow/master.tif")
    merged = corrections.merge_artists(shop.db, shop.piece("Jan Smithy", "Meadow").artist_id,
                                       shop.piece("J Smithy", "Harbour").artist_id)
    piece = shop.piece("Jan Smithy", "Harbour")
    shop.order(piece.id)
    corrections.undo(shop.db, merged.id)
    assert shop.filed()["J Smithy/Harbour/master.tif"] == "J Smithy: Harbour"
    assert shop.piece("J Smithy", "Harbour").id == piece.id, "the order is still of the piece that the scan shows"


def test_a_merge_of_pieces_holds_for_whatever_a_merge_of_artists_brings_under_the_title(ruled_shop: Shop) -> None:
    """What is on record is what computing all anew would give."""
    shop = ruled_shop
    shop.add("J Smithy/Harbour/master.tif", "J Smithy/Meadow/master.tif", "Jan Smithy/Meadow/master.tif")
    merging.merge(shop.db, shop.piece("J Smithy", "Harbour").id, shop.piece("J Smithy", "Meadow").id)
    pieces.describe_artist(shop.db, shop.piece("Jan Smithy", "Meadow").artist_id, contact="12 Quay Lane", terms="",
                           notes="")
    corrections.merge_artists(shop.db, shop.piece("Jan Smithy", "Meadow").artist_id,
                              shop.piece("J Smithy", "Harbour").artist_id)
    filed = shop.filed()
    with transaction(shop.db):
        for kind in ("artist", "piece", "scan"):
            stale_rows.mark_stale(shop.db, kind,
                                 [row[0] for row in shop.db.execute(f"SELECT id FROM {kind}").fetchall()])
    assert shop.filed() == filed


def test_the_last_of_two_merges_in_a_row_is_undone_for_all_that_was_merged_before(ruled_shop: Shop) -> None:
    """What was guessed under the first name stayed with the artist merged into last."""
    shop = ruled_shop
    shop.add("J Smithy/Harbour/master.tif", "Jan Smithy/Meadow/master.tif", "Bo Rand/Mill/master.tif",
             "Bo Rand/Pier/master.tif", "Bo Rand/Quay/master.tif", "Bo Rand/Weir/master.tif")
    corrections.set_piece(shop.db, shop.piece("Bo Rand", "Weir").id, {}, artist="J Smithy")
    first, second, third = (shop.piece(*names).artist_id for names in (
        ("J Smithy", "Harbour"), ("Jan Smithy", "Meadow"), ("Bo Rand", "Mill")))
    pieces.describe_artist(shop.db, third, contact="12 Quay Lane", terms="", notes="")
    corrections.merge_artists(shop.db, second, first)
    before = shop.facts()
    done = corrections.merge_artists(shop.db, third, second)
    assert {name.split(":")[0] for name in shop.filed().values()} == {"Bo Rand"}
    corrections.undo(shop.db, done.id)
    assert shop.facts() == before
    mill, pier, quay = (shop.piece("Bo Rand", title).id for title in ("Mill", "Pier", "Quay"))
    merging.merge(shop.db, pier, quay)
    before = shop.facts()
    done = merging.merge(shop.db, mill, pier)
    corrections.undo(shop.db, done.id)
    assert shop.facts() == before


def test_a_piece_moved_to_another_artist(ruled_shop: Shop) -> None:
    shop = ruled_shop
    shop.add("2021/Harbour/master.tif")
    assert shop.filed() == {"2021/Harbour/master.tif": "2021: Harbour"}
    done = corrections.set_piece(shop.db, shop.piece("2021", "Harbour").id, {"title": "Harbour at Dusk"},
                                 artist="Ada Quill")
    assert shop.filed() == {"2021/Harbour/master.tif": "Ada Quill: Harbour at Dusk"}
    assert pieces.artist_named(shop.db, "2021") is None, "a guessed artist without a piece goes"
    shop.add("2021/Harbour/re-scan 2.tif")
    assert set(shop.filed().values()) == {"Ada Quill: Harbour at Dusk"}
    corrections.undo(shop.db, done.id)
    assert set(shop.filed().values()) == {"2021: Harbour"}
    pieces.describe_artist(shop.db, shop.piece("2021", "Harbour").artist_id, contact="12 Quay Lane", terms="", notes="")
    corrections.set_piece(shop.db, shop.piece("2021", "Harbour").id, {}, artist="Ada Quill")
    kept = pieces.artist_named(shop.db, "2021")
    assert kept is not None and kept.contact == "12 Quay Lane", "one of whom a person spoke stays without a piece"


def test_undoing_twice_and_what_was_changed_since_is_refused(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif")
    piece = shop.piece("Ada Quill", "Harbour")
    first = corrections.set_piece(shop.db, piece.id, {"year": "1999"})
    second = corrections.set_piece(shop.db, piece.id, {"year": "2001"})
    with pytest.raises(Refused, match="year"):
        corrections.undo(shop.db, first.id)
    assert corrections.undo(shop.db).id and shop.piece("Ada Quill", "Harbour").year == "1999"
    with pytest.raises(Refused):
        corrections.undo(shop.db, second.id)
    corrections.undo(shop.db)
    assert shop.piece("Ada Quill", "Harbour").year == ""


def test_a_piece_that_was_merged_away_is_under_its_number_again_when_that_is_undone(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Quay/master.tif")
    one, other = shop.piece("Ada Quill", "Harbour"), shop.piece("Ada Quill", "Quay")
    before = shop.everything()
    for keep, gone in ((one, other), (other, one)):
        done = merging.merge(shop.db, keep.id, gone.id)
        merged = shop.everything()
        undone = corrections.undo(shop.db, done.id)
        assert shop.everything() == before
        again = corrections.undo(shop.db, undone.id)
        assert shop.everything() == merged
        corrections.undo(shop.db, again.id)
        assert shop.everything() == before


def test_artists_merged_are_under_their_numbers_again_when_that_is_undone(ruled_shop: Shop) -> None:
    shop = ruled_shop
    shop.add("J Smithy/Harbour/master.tif", "Jan Smithy/Harbour/master.tif", "J Smithy/Meadow/master.tif")
    short, full = shop.piece("J Smithy", "Harbour"), shop.piece("Jan Smithy", "Harbour")
    before = shop.everything()
    done = corrections.merge_artists(shop.db, full.artist_id, short.artist_id)
    merged = shop.everything()
    undone = corrections.undo(shop.db, done.id)
    assert shop.everything() == before
    corrections.undo(shop.db, undone.id)
    assert shop.everything() == merged


@pytest.mark.parametrize("ordered", [False, True])
def test_every_correction_of_a_piece_is_undone_and_its_undoing_too(ruled_shop: Shop, ordered: bool) -> None:
    """A row was removed and pinned anew by the first undoing, which was then refused to be undone in turn."""
    shop = ruled_shop
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Quay/master.tif", "Bo Rand/Mill/master.tif")
    harbour, quay, mill = (shop.piece(*names) for names in (
        ("Ada Quill", "Harbour"), ("Ada Quill", "Quay"), ("Bo Rand", "Mill")))
    scan = shop.scan_at("Ada Quill/Quay/master.tif")
    if ordered:
        for piece in (harbour, quay, mill):
            shop.order(piece.id)
    for work in (
            lambda: corrections.set_piece(shop.db, quay.id, {"title": "Weir", "notes": "on linen"}),
            lambda: corrections.set_piece(shop.db, quay.id, {"year": "1999"}, artist="Cy Ruhl"),
            lambda: corrections.set_piece(shop.db, quay.id, {}, artist="Bo Rand"),
            lambda: corrections.set_scans(shop.db, [scan.sha256], role="reference", piece_id=harbour.id),
            lambda: corrections.set_scans(shop.db, [scan.sha256], new_piece=("Cy Ruhl", "Weir")),
            lambda: merging.split(shop.db, quay.id, [scan.id], "Weir"),
            lambda: merging.merge(shop.db, harbour.id, quay.id),
            lambda: merging.merge(shop.db, mill.id, quay.id),
            lambda: corrections.rename_artist(shop.db, mill.artist_id, "Bo Randall"),
            lambda: corrections.merge_artists(shop.db, mill.artist_id, quay.artist_id)):
        before = shop.facts()
        done = work()
        made = shop.facts()
        for _ in range(2):
            undone = corrections.undo(shop.db, done.id)
            assert shop.facts() == before
            done = corrections.undo(shop.db, undone.id)
            assert shop.facts() == made
        corrections.undo(shop.db, done.id)
        assert shop.facts() == before


def test_what_was_ordered_since_does_not_keep_an_undoing_from_being_undone(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif")
    piece = shop.piece("Ada Quill", "Harbour")
    done = corrections.set_piece(shop.db, piece.id, {"year": "1999", "title": "Weir"})
    undone = corrections.undo(shop.db, done.id)
    shop.order(piece.id)
    corrections.undo(shop.db, undone.id)
    assert (shop.piece("Ada Quill", "Weir").id, shop.piece("Ada Quill", "Weir").year) == (piece.id, "1999")


def test_nothing_left_to_undo_is_said_only_where_it_is_so(shop: Shop) -> None:
    """The last one that stands was looked for among the thirty newest statements alone."""
    shop.add("Ada Quill/Harbour/master.tif")
    piece = shop.piece("Ada Quill", "Harbour").id
    for year in range(1980, 1998):
        corrections.set_piece(shop.db, piece, {"year": str(year)})
    for _ in range(18):
        corrections.undo(shop.db)
    assert shop.piece("Ada Quill", "Harbour").year == ""


def test_an_id_is_never_given_to_another_piece(shop: Shop) -> None:
    """A statement that is undone again must not reach another piece."""
    shop.add("Ada Quill/Harbour/master.tif")
    scan = shop.scan_at("Ada Quill/Harbour/master.tif")
    moved = corrections.set_scans(shop.db, [scan.sha256], new_piece=("Ada Quill", "Dunes"))
    number = shop.piece("Ada Quill", "Dunes").id
    taken_back = corrections.undo(shop.db, moved.id)
    assert pieces.by_id(shop.db, number) is None
    shop.add("Ada Quill/Meadow/master.tif")
    assert shop.piece("Ada Quill", "Meadow").id > number
    corrections.undo(shop.db, taken_back.id)
    assert shop.piece("Ada Quill", "Dunes").id == number


def test_two_pieces_are_never_each_part_of_the_other(shop: Shop) -> None:
    """A merge that was undone, then made the other way round: the first cannot come back beside the second."""
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Quay/master.tif")
    harbour, quay = (shop.scan_at(f"Ada Quill/{title}/master.tif").piece_id for title in ("Harbour", "Quay"))
    assert harbour is not None and quay is not None
    merging.merge(shop.db, quay, harbour)
    corrections.undo(shop.db, last_statement(shop.db) or 0)
    undoing = last_statement(shop.db) or 0
    merging.merge(shop.db, harbour, quay)
    with pytest.raises(Refused, match="since been merged"):
        corrections.undo(shop.db, undoing)
    assert set(shop.filed().values()) == {"Ada Quill: Harbour"}


# --- likeness ------------------------------------------------------------------------------------------


def test_rejecting_one_pair_leaves_a_scan_that_another_confirmed_pair_ties(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Harbour/re-scan 2.tif", "loose.tif")
    one, two, loose = (shop.scan_at(path) for path in (
        "Ada Quill/Harbour/master.tif", "Ada Quill/Harbour/re-scan 2.tif", "loose.tif"))
    assert loose.piece_id is None
    with transaction(shop.db):
        for other in (one, two):
            likenesses.keep(shop.db, other.id, loose.id, "re-scan", 0.9, EVIDENCE)
    judge(shop.db, 1, "confirmed")
    judge(shop.db, 2, "confirmed")
    assert shop.filed()["loose.tif"] == "Ada Quill: Harbour"
    judge(shop.db, 1, "rejected")
    assert shop.filed()["loose.tif"] == "Ada Quill: Harbour"
    judge(shop.db, 2, "rejected")
    assert shop.filed()["loose.tif"] == ""
    judge(shop.db, 2, "confirmed")
    corrections.set_scans(shop.db, [loose.sha256], piece_id=one.piece_id)
    judge(shop.db, 2, "rejected")
    assert shop.filed()["loose.tif"] == "Ada Quill: Harbour", "a person filed it"


def test_a_scan_that_only_likeness_files_follows_the_other_also_after_an_index(shop: Shop) -> None:
    """A guess that repeats what likeness says must not outlast it."""
    shop.add("Ada Quill/Harbour/master.tif", "Ada Quill/Quay/master.tif", "loose.tif")
    one, loose = (shop.scan_at(path).id for path in ("Ada Quill/Harbour/master.tif", "loose.tif"))
    with transaction(shop.db):
        likenesses.keep(shop.db, one, loose, "re-scan", 0.99, EVIDENCE, files_together=True)
    judge(shop.db, 1, "confirmed")
    shop.index(again=True)
    assert shop.filed()["loose.tif"] == "Ada Quill: Harbour"
    corrections.set_scans(shop.db, [shop.scan_at("Ada Quill/Harbour/master.tif").sha256],
                          piece_id=shop.scan_at("Ada Quill/Quay/master.tif").piece_id)
    assert shop.filed()["loose.tif"] == "Ada Quill: Quay"
    judge(shop.db, 1, "rejected")
    assert shop.filed()["loose.tif"] == ""


def test_likeness_to_scans_of_two_pieces_files_under_neither(shop: Shop) -> None:
    shop.add("Ada Quill/One/master.tif", "Ada Quill/Two/master.tif", "loose.tif")
    one, two, loose = (shop.scan_at(path).id for path in (
        "Ada Quill/One/master.tif", "Ada Quill/Two/master.tif", "loose.tif"))
    with transaction(shop.db):
        likenesses.keep(shop.db, one, loose, "re-scan", 0.99, EVIDENCE, files_together=True)
    assert shop.filed()["loose.tif"] == "Ada Quill: One"
    with transaction(shop.db):
        likenesses.keep(shop.db, two, loose, "re-scan", 0.99, EVIDENCE, files_together=True)
    assert shop.filed()["loose.tif"] == ""
    judge(shop.db, 2, "confirmed")
    assert shop.filed()["loose.tif"] == "Ada Quill: Two"


def test_a_chain_of_likeness_ends_where_its_link_is_rejected(shop: Shop) -> None:
    shop.add("Ada Quill/Harbour/master.tif", "loose 1.tif", "loose 2.tif")
    one, two, three = (shop.scan_at(path).id for path in ("Ada Quill/Harbour/master.tif", "loose 1.tif", "loose 2.tif"))
    with transaction(shop.db):
        likenesses.keep(shop.db, two, three, "re-scan", 0.99, EVIDENCE, files_together=True)
    assert shop.filed()["loose 2.tif"] == ""
    with transaction(shop.db):
        likenesses.keep(shop.db, one, two, "re-scan", 0.99, EVIDENCE, files_together=True)
    assert shop.filed()["loose 1.tif"] == shop.filed()["loose 2.tif"] == "Ada Quill: Harbour"
    judge(shop.db, 2, "rejected")
    assert shop.filed()["loose 1.tif"] == shop.filed()["loose 2.tif"] == ""


EVIDENCE = Evidence(Relation.RESCAN, 0.9).to_json()
