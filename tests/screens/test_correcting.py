"""Correcting artists, pieces and scans with one key, one or several at a time, and taking it back."""

from contextlib import closing
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input, Static

from catalogue.errors import GONE
from catalogue.operations import correcting
from catalogue.records import editions, files, history, pieces, scans, stated_facts
from catalogue.records.database import Database, open_database, transaction
from catalogue.screens.actions.opening import open_piece
from catalogue.screens.app import CatalogueApp
from catalogue.screens.dialogs.confirm import Choice, ConfirmDialog
from catalogue.screens.dialogs.form import FormDialog
from catalogue.screens.pages.piece import PiecePage
from catalogue.screens.widgets.row_table import MARK, RowTable
from catalogue.settings import Home
from tests import recorded
from tests.screens.shop import burst, held_up, reading, running, said, settled, sha, typed, words
from tests.screens.test_snapshots import SIZES, arrived


async def press(pilot: Pilot[None], *keys: str) -> None:
    """As a person who waits after every key."""
    for key in keys:
        await burst(pilot, key)
        await settled(pilot)


async def put(pilot: Pilot[None], name: str, text: str) -> None:
    """Type over a field of the form."""
    box = pilot.app.screen.query_one(f"#form-{name}", Input)
    box.focus()
    await settled(pilot)
    box.value = ""
    await press(pilot, *("space" if letter == " " else letter for letter in text))
    assert box.value == text


def form(pilot: Pilot[None]) -> FormDialog:
    screen = pilot.app.screen
    assert isinstance(screen, FormDialog), words(pilot)
    return screen


def origin(pilot: Pilot[None], name: str) -> str:
    return str(pilot.app.screen.query_one(f"#form-{name}-origin", Static).content)


def catalogue_of(home: Home) -> Database:
    return open_database(home.database)


def titles(home: Home) -> dict[int, str]:
    """``artist: title`` by the piece's number."""
    db = catalogue_of(home)
    found = {piece.id: f"{piece.artist}: {piece.title}" for piece in pieces.every(db)}
    db.close()
    return found


def roles(home: Home, *numbers: int) -> list[tuple[str, int | None]]:
    db = catalogue_of(home)
    found = [(scan.role, scan.piece_id) for number in numbers if (scan := scans.by_digest(db, sha(number)))]
    db.close()
    return found


async def opened_piece(pilot: Pilot[None], piece_id: int = 1) -> RowTable[Any]:
    app = pilot.app
    assert isinstance(app, CatalogueApp)
    open_piece(app, piece_id)
    await settled(pilot)
    assert isinstance(app.screen, PiecePage)
    return app.screen.query_one("#scans", RowTable)


async def test_an_artist_is_renamed_and_taken_back(shop: Home) -> None:
    before = titles(shop)
    async with running(shop) as pilot:
        artists = pilot.app.screen.query_one("#artists", RowTable)
        await press(pilot, "left", "down", "e")
        assert form(pilot)._title == "Artist: Ézéchiel Brun"
        await put(pilot, "name", "Ezechiel Brunel")
        await press(pilot, "enter")
        assert "Ezechiel Brunel" in [row.name for row in artists.rows_held]
        assert any("artist renamed" in text.lower() for text in said(pilot))
        assert titles(shop)[4] == "Ezechiel Brunel: Marché [épreuve]"
        await press(pilot, "u")
        assert "Ézéchiel Brun" in [row.name for row in artists.rows_held]
    assert titles(shop) == before


async def test_two_spellings_of_an_artist_become_one(shop: Home) -> None:
    async with running(shop) as pilot:
        await press(pilot, "left", "down", "e")
        await put(pilot, "join", "tarn")
        assert [row.text for row in form(pilot).query_one("#form-matches", RowTable).rows_held] == ["Maren Tarnvik"]
        await press(pilot, "down")
        assert form(pilot).query_one("#form-join", Input).value == "Maren Tarnvik"
        await press(pilot, "enter")
        assert [row.name for row in pilot.app.screen.query_one("#artists", RowTable).rows_held] == [
            "All artists", "Maren Tarnvik", "Tobin Quarrel"]
    assert titles(shop)[4] == "Maren Tarnvik: Marché [épreuve]"
    db = catalogue_of(shop)
    assert pieces.artist_called(db, "Ézéchiel Brun").name == "Maren Tarnvik"
    db.close()


async def test_an_artist_who_is_not_there_is_not_joined_into(shop: Home) -> None:
    async with running(shop) as pilot:
        await press(pilot, "left", "down", "e")
        await put(pilot, "join", "Nobody")
        await press(pilot, "ctrl+s")
        assert "'Nobody'" in words(pilot)
        await put(pilot, "join", "")
        await put(pilot, "name", "Tobin Quarrel")
        await press(pilot, "ctrl+s")
        assert "enter that name under Merge into" in " ".join(words(pilot).split())
        await press(pilot, "escape")
    assert "Ézéchiel Brun: Marché [épreuve]" in titles(shop).values()


async def test_a_piece_is_corrected_and_its_facts_say_where_they_come_from(shop: Home) -> None:
    async with running(shop) as pilot:
        table = pilot.app.screen.query_one("#pieces", RowTable)
        await press(pilot, "end", "e")
        assert form(pilot)._title == "Piece: Three Kites, Tobin Quarrel"
        assert (origin(pilot, "title"), origin(pilot, "medium")) == ("stated", "")
        for name, text in (("title", "Four Kites"), ("medium", "gouache on paper"), ("size", "60x45"),
                           ("relief_mm", "1.5"), ("edition", "25 + 3"), ("series", "Winds")):
            await put(pilot, name, text)
        await press(pilot, "ctrl+s")
        assert not isinstance(pilot.app.screen, FormDialog)
        assert "Four Kites" in [row.title for row in table.rows_held]
        db = catalogue_of(shop)
        piece = pieces.by_id(db, 3)
        assert piece is not None
        assert (piece.title, piece.medium, piece.width_mm, piece.height_mm, piece.relief_mm, piece.series, piece.year) \
            == ("Four Kites", "gouache on paper", 600, 450, 1.5, "Winds", "2020")
        assert [(one.size_limit, one.proofs) for one in editions.of_piece(db, 3)] == [(25, 3)]
        assert len([one for one in history.statements(db) if "Three Kites" in one.detail]) == 1
        await press(pilot, "u")
        piece = pieces.by_id(db, 3)
        assert piece is not None and (piece.title, piece.width_mm, editions.of_piece(db, 3)) == (
            "Three Kites", None, [])
        db.close()


@pytest.mark.parametrize(("name", "text", "told"), [
    ("size", "big", "'big'"), ("edition", "many", "'many'"),
    ("relief_mm", "deep", "'deep'"),
    ("title", "Harbour, Blue Hour", "mark both in Browse"), ("artist", "", "An artist needs a name")])
async def test_what_cannot_be_is_said_in_the_form_and_nothing_recorded(shop: Home, name: str, text: str,
                                                                       told: str) -> None:
    before = titles(shop)
    async with running(shop, size=(80, 24)) as pilot:
        await opened_piece(pilot)
        await press(pilot, "E")
        await put(pilot, name, text)
        await press(pilot, "ctrl+s")
        assert told in " ".join(words(pilot).split())
        assert isinstance(pilot.app.screen, FormDialog)
    assert titles(shop) == before


async def test_a_stated_fact_is_given_back_to_the_guess(shop: Home) -> None:
    async with running(shop) as pilot:
        scans_table = await opened_piece(pilot)
        await press(pilot, "down", "e")
        assert (origin(pilot, "role"), form(pilot).query_one("#form-role", Input).value) == ("guessed", "master")
        await put(pilot, "role", "ref")
        await press(pilot, "enter")
        assert [row.scan.role for row in scans_table.rows_held].count("reference") == 1
        scans_table.cursor_row = next(i for i, row in enumerate(scans_table.rows_held) if row.scan.sha256 == sha(11))
        await press(pilot, "e")
        assert origin(pilot, "role") == "stated"
        await press(pilot, "ctrl+g")
        assert origin(pilot, "role") == "as guessed"
        await press(pilot, "ctrl+s")
    assert roles(shop, 11) == [("master", 1)]
    db = catalogue_of(shop)
    row = stated_facts.stated_row(db, "scan_stated", sha(11))
    assert row is None or row["role"] is None
    db.close()


async def test_a_scan_goes_to_another_piece_or_a_new_one(shop: Home) -> None:
    async with running(shop) as pilot:
        table = await opened_piece(pilot)
        meant = table.rows_held[2].scan.sha256
        await press(pilot, "down", "down", "e")
        await put(pilot, "piece", "kites")
        matches = form(pilot).query_one("#form-matches", RowTable).rows_held
        assert [(row.text, row.id) for row in matches] == [("kites", None), ("Three Kites", 3)]
        await press(pilot, "down", "enter")
        assert meant not in [row.scan.sha256 for row in table.rows_held]
        assert roles(shop, int(meant, 16)) == [("tile", 3)]
        await press(pilot, "down", "e")
        meant = table.highlighted.scan.sha256
        await put(pilot, "piece", "Jetty")
        await press(pilot, "enter")
    filed = {v: k for k, v in titles(shop).items()}
    assert roles(shop, int(meant, 16)) == [("tile", filed["Maren Tarnvik: Jetty"])]


async def test_marked_scans_are_corrected_at_once_and_taken_back_at_once(shop: Home) -> None:
    async with running(shop) as pilot:
        table = await opened_piece(pilot)
        tiles = [i for i, row in enumerate(table.rows_held) if row.scan.role == "tile"]
        table.cursor_row = tiles[0]
        await press(pilot, "space", "space", "space")
        assert "3 marked" in words(pilot)
        assert words(pilot).count(MARK) == 4     # before three rows and in the title
        await press(pilot, "e")
        assert form(pilot)._title == "3 scans"
        await put(pilot, "role", "print file")
        await put(pilot, "piece", "Shed")
        await press(pilot, "ctrl+s")
        assert "marked" not in words(pilot)
        filed = {v: k for k, v in titles(shop).items()}
        assert set(roles(shop, 21, 22, 23)) == {("print file", filed["Maren Tarnvik: Shed"])}
        await press(pilot, "u")
    assert set(roles(shop, 21, 22, 23)) == {("tile", 1)}


async def test_marks_outlast_paging_and_belong_to_the_piece(shop: Home) -> None:
    db = catalogue_of(shop)
    with transaction(db):
        for number in range(700):
            pieces.piece_called(db, 1, f"Study {number:03}")
    db.close()
    async with running(shop) as pilot:
        table = pilot.app.screen.query_one("#pieces", RowTable)
        first = table.rows_held[0].id
        await press(pilot, "space", "end", "space")
        last = table.rows_held[-1].id
        assert first not in [row.id for row in table.rows_held]
        assert "2 marked" in words(pilot)
        db = catalogue_of(shop)
        correcting.describe_pieces(db, [first], {"title": "Aardvark"})
        db.close()
        await press(pilot, "e")
        assert form(pilot)._title == "2 pieces"
        await put(pilot, "series", "Coast")
        await press(pilot, "ctrl+s")
        await press(pilot, "home")
        assert MARK not in words(pilot)
    db = catalogue_of(shop)
    assert {piece.id for piece in pieces.every(db) if piece.series == "Coast"} == {first, last}
    db.close()


@pytest.mark.parametrize("keys", [(), ("down",)])
async def test_two_pieces_become_one_in_the_direction_chosen(shop: Home, keys: tuple[str, ...]) -> None:
    before = titles(shop)
    async with running(shop) as pilot:
        table = pilot.app.screen.query_one("#pieces", RowTable)
        one, other = table.rows_held[0], table.rows_held[2]
        await press(pilot, "m")
        assert any("Mark one piece" in text for text in said(pilot))
        await press(pilot, "space", "down", "m")
        assert isinstance(pilot.app.screen, Choice)
        assert one.title in words(pilot) and other.title in words(pilot)
        await press(pilot, *keys, "enter")
        gone, stays = (one, other) if keys else (other, one)
        assert (gone.id in titles(shop), stays.id in titles(shop)) == (False, True)
        assert gone.id not in [row.id for row in table.rows_held] and MARK not in words(pilot)
        await press(pilot, "u")
    assert titles(shop) == before


async def test_what_the_search_found_is_corrected_there(shop: Home) -> None:
    with closing(open_database(shop.database)) as db, transaction(db):
        files.save(db, 1, "unfiled.tif", 199, 99, recorded.save_scan(
            db, reading(99, "unfiled.tif", None), role="master", piece_id=None),
                   verified=True)
    async with running(shop) as pilot:
        await press(pilot, "slash")
        await typed(pilot, "kites")
        await press(pilot, "f2")
        await put(pilot, "title", "Seven Kites")
        await press(pilot, "ctrl+s")
        assert "Seven Kites" in words(pilot)
        await typed(pilot, "quarrel")
        await press(pilot, "down", "f2")
        assert form(pilot)._title == "Artist: Tobin Quarrel"
        await press(pilot, "escape")
        await typed(pilot, "tile 2 of 3")
        await press(pilot, "f2")
        assert form(pilot)._title == "Scan: tile 2 of 3.tif"
        await press(pilot, "escape")
        await typed(pilot, "unfiled")
        await press(pilot, "enter")
        assert form(pilot)._title == "Scan: unfiled.tif", "a file without a piece is filed from here"


async def test_a_form_filled_at_once_is_filled_as_by_a_slow_typist(shop: Home) -> None:
    """Enter waits for what the letters before it match."""
    async with running(shop) as pilot:
        await opened_piece(pilot)
        with held_up(pilot.app):  # type: ignore[arg-type]
            await burst(pilot, "down", "e", *"ref", "tab", "tab", *["backspace"] * 20, *"kites", "down", "enter")
        await settled(pilot)
        assert not isinstance(pilot.app.screen, FormDialog), words(pilot)
    assert roles(shop, 11) == [("reference", 3)]


async def test_what_another_seat_took_away_meanwhile_is_not_made_anew(shop: Home) -> None:
    async with running(shop) as pilot:
        await press(pilot, "end", "e")
        db = catalogue_of(shop)
        correcting.merge_pieces(db, 1, 3)
        db.close()
        await put(pilot, "title", "Nine Kites")
        await press(pilot, "ctrl+s")
        assert "piece number 3" in words(pilot)
        await press(pilot, "escape")
    assert "Nine Kites" not in str(titles(shop))


async def test_a_page_whose_piece_went_is_left(shop: Home) -> None:
    """The only scan of a guessed piece is moved: the piece is gone with it."""
    db = catalogue_of(shop)
    with transaction(db):
        scan = scans.by_digest(db, sha(23))
        assert scan is not None
        correcting.describe_scans(db, [scan.sha256], new_piece=("Tobin Quarrel", "Barn"))
    made = next(number for number, name in titles(shop).items() if name == "Tobin Quarrel: Barn")
    async with running(shop) as pilot:
        await opened_piece(pilot, made)
        correcting.undo_statement(db)
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        app.changed()
        await settled(pilot)
        assert not isinstance(app.screen, PiecePage)
        assert any(GONE in text for text in said(pilot))
    db.close()


async def test_without_a_correction_the_last_statement_is_asked_about(shop: Home) -> None:
    db = catalogue_of(shop)
    correcting.describe_pieces(db, [3], {"title": "Two Kites"})
    async with running(shop) as pilot:
        await press(pilot, "u")
        assert isinstance(pilot.app.screen, ConfirmDialog)
        assert "Three Kites" in words(pilot) and "title stated" in words(pilot)
        await press(pilot, "n")
        assert titles(shop)[3] == "Tobin Quarrel: Two Kites"
        await press(pilot, "u", "y")
    assert titles(shop)[3] == "Tobin Quarrel: Three Kites"
    db.close()


async def test_a_doubtful_master_is_said_where_it_is_shown(shop: Home) -> None:
    db = catalogue_of(shop)
    for number in (1, 11):
        chosen = scans.by_digest(db, sha(number))
        assert chosen is not None
        if number == 1:
            pieces.set_current(db, 1, chosen.id, "person")
            files.mark_missing(db, [file.id for file in files.of_scan(db, chosen.id)])
    db.close()
    async with running(shop, size=(80, 24)) as pilot:
        await press(pilot, "down")
        assert "another scan could be current" in words(pilot)
        await opened_piece(pilot)
        assert "You chose this master, but" in " ".join(words(pilot).split())


@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize("kind", ["piece", "scan"])
def test_the_forms(shop: Home, snap_compare: Any, kind: str, size: str) -> None:
    keys = {"piece": ("down", "e"), "scan": ("down", "enter", "down", "e")}[kind]
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES[size],
                        run_before=arrived("browse", *keys))
