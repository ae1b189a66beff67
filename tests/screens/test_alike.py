"""Judging pairs: aligned pictures, views, verdicts, taking back, merging."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from rich.color import ColorSystem
from textual.geometry import Region
from textual.strip import Strip
from textual.widgets import Static

from catalogue.likeness.evidence import Evidence, Relation
from catalogue.operations.judging import judge_pairs
from catalogue.records import likenesses, orders, pieces, scans
from catalogue.records.database import open_database, transaction
from catalogue.records.likenesses import ComparedScan
from catalogue.screens.app import CatalogueApp
from catalogue.screens.background import screen_cache
from catalogue.screens.dialogs.confirm import Choice, ConfirmDialog
from catalogue.screens.pages.alike import NOTHING_TO_UNDO, VIEWS
from catalogue.screens.pictures.alignment import align_pair, difference
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.alike import NamedScan, told_apart
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import WHOLE, between, burst, painted, running, said, settled, sha, until, words


@pytest.fixture
def pairs(shop: Home) -> Home:
    """Two pairs: a re-scan within one piece, and two pieces that may be one."""
    db = open_database(shop.database)
    with transaction(db):
        for one, two, relation, sure in ((11, 1, Relation.RESCAN, 0.93), (2, 1, Relation.REWORKED, 0.6)):
            evidence = Evidence(relation, sure, ("made up for a test",), overlap_a=1.0, overlap_b=0.9, rotation=0.4,
                                delta_e_median=2.5, correlation=0.9, size_a=(160, 120), size_b=(160, 120), matrix=WHOLE)
            a, b = (scans.by_digest(db, sha(n)) for n in (one, two))
            assert a and b
            likenesses.keep(db, a.id, b.id, relation.value, sure, evidence.to_json())
    db.close()
    return shop


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data)).convert("RGB")


def test_a_shifted_tile_is_laid_on_its_place(tmp_path: Path) -> None:
    """A part cut out of a picture, laid back by its map, is the picture there: their difference is even grey."""
    rng = np.random.default_rng(4)
    few = Image.fromarray(rng.integers(0, 255, (12, 16, 3), dtype=np.uint8))
    whole = few.resize((320, 240), Image.Resampling.BICUBIC)
    part = whole.crop((80, 40, 240, 160))
    for name, picture in (("whole", whole), ("part", part)):
        picture.save(tmp_path / f"{name}.webp", lossless=True)
    found = align_pair(tmp_path / "part.webp", tmp_path / "whole.webp", (1, 0, 80, 0, 1, 40), (160, 120), (320, 240))
    assert found.shape == (160, 120)
    assert found.where == pytest.approx((80 / 320, 40 / 240, 240 / 320, 160 / 240))
    apart = np.asarray(opened(found.difference), np.int16) - 128
    assert np.abs(apart).max() <= 4
    moved = align_pair(tmp_path / "part.webp", tmp_path / "whole.webp", (1, 0, 90, 0, 1, 40), (160, 120), (320, 240))
    assert np.abs(np.asarray(opened(moved.difference), np.int16) - 128).mean() > 20


def test_a_turned_and_scaled_scan_is_laid_upright(tmp_path: Path) -> None:
    """The map of likeness for a picture turned a quarter and halved brings it back."""
    rng = np.random.default_rng(5)
    few = Image.fromarray(rng.integers(0, 255, (9, 12, 3), dtype=np.uint8))
    whole = few.resize((320, 240), Image.Resampling.BICUBIC)
    turned = whole.rotate(-90, expand=True).resize((120, 160), Image.Resampling.LANCZOS)
    whole.save(tmp_path / "b.webp", lossless=True)
    turned.save(tmp_path / "a.webp", lossless=True)
    # a (120×160) is b turned clockwise and halved: x of b is twice y of a, y of b is 240 less twice x of a
    found = align_pair(tmp_path / "a.webp", tmp_path / "b.webp", (0, 2, 0, -2, 0, 240), (120, 160), (320, 240))
    assert found.shape == (320, 240)
    assert np.abs(np.asarray(opened(found.difference), np.int16) - 128).mean() < 16


def test_maps_hold_for_previews_made_smaller(tmp_path: Path) -> None:
    """Evidence names the sizes it was found on; a preview made anew at another size still fits."""
    picture = Image.open(io.BytesIO(painted((50, 90, 130), 320, 240))).convert("RGB")
    picture.save(tmp_path / "b.webp", lossless=True)
    picture.resize((160, 120), Image.Resampling.BOX).save(tmp_path / "a.webp", lossless=True)
    found = align_pair(tmp_path / "a.webp", tmp_path / "b.webp", WHOLE, (320, 240), (320, 240))
    assert found.shape == (320, 240)
    assert np.abs(np.asarray(opened(found.difference), np.int16) - 128).mean() < 6


def test_no_difference_is_grey_and_lighter_is_lighter() -> None:
    dark, light = Image.new("RGB", (4, 4), (60, 60, 60)), Image.new("RGB", (4, 4), (70, 70, 70))
    assert difference(dark, dark).getpixel((0, 0)) == (128, 128, 128)
    assert difference(light, dark).getpixel((0, 0)) == (168, 168, 168)
    assert difference(dark, light).getpixel((0, 0)) == (88, 88, 88)


async def test_pairs_are_seen_judged_and_taken_back(pairs: Home) -> None:
    async with running(pairs, place="alike", size=(160, 44)) as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        text = words(pilot) + str(pilot.app.screen.query_one("#pair-words", Static).content)
        for fact in ("To judge  2", "re-scan", "93%", "made up for a test", "turned 0.4°", "colour difference ΔE00 2.5",
                     VIEWS[0], "? no verdict yet", "old/Harbour 2019 master.tif", "contradiction"):
            assert fact in text, fact
        two = pilot.app.screen.query_one("#pair-two", Picture)
        assert two.display
        for name in VIEWS[1:]:
            await pilot.press("space")
            await settled(pilot)
            assert name in words(pilot)
            assert not two.display
        await pilot.press("w", "b")
        await settled(pilot)
        before = pilot.app.screen._second_shown  # type: ignore[attr-defined]
        await until(pilot, lambda: pilot.app.screen._second_shown != before)  # type: ignore[attr-defined]
        await pilot.press("b", "c")
        await settled(pilot)
        assert table.row_count == 1
        assert [t.startswith("Pair 1 is confirmed") for t in said(pilot) if "re-scan" in t] == [True]
        await pilot.press("a")
        await settled(pilot)
        assert [row.pair.verdict for row in table.rows_held] == ["", "confirmed"]
        await pilot.press("a", "u")
        await settled(pilot)
        assert table.row_count == 2
        await pilot.press("r")
        await settled(pilot)
        assert table.row_count == 1
    db = open_database(pairs.database)
    assert sorted(row.verdict for row in likenesses.listed(db)) == ["", "rejected"]
    db.close()


async def test_a_verdict_of_another_seat_is_not_overwritten_nor_taken_back(pairs: Home) -> None:
    """The list does not follow while somebody judges: what is judged may have been judged meanwhile."""
    db = open_database(pairs.database)
    async with running(pairs, place="alike") as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        first, second = table.rows_held
        judge_pairs(db, [first.pair.id], "rejected")
        await pilot.press("c")
        await settled(pilot)
        assert any(f"Pair {first.pair.id} is now rejected" in t for t in said(pilot))
        assert {row.id: row.verdict for row in likenesses.listed(db)} == {first.pair.id: "rejected", second.pair.id: ""}
        await pilot.press("down", "r")
        await settled(pilot)
        assert {row.id: row.verdict for row in likenesses.listed(db)}[second.pair.id] == "rejected"
        judge_pairs(db, [second.pair.id], "confirmed")
        await pilot.press("u")
        await settled(pilot)
        assert any("(judged, verdict)" in t for t in said(pilot)), said(pilot)
        assert {row.id: row.verdict for row in likenesses.listed(db)} == {first.pair.id: "rejected",
                                                                          second.pair.id: "confirmed"}
        await pilot.press("u")
        assert any(NOTHING_TO_UNDO in t for t in said(pilot))
    db.close()


def filed(home: Home) -> dict[str, tuple[str, ...]]:
    """Titles with the digests that are filed under them."""
    db = open_database(home.database)
    held = {piece.title: tuple(scan.sha256.lstrip("0") for scan in scans.of_piece(db, piece.id))
            for piece in pieces.every(db)}
    db.close()
    return held


async def test_same_piece_files_both_under_the_one_that_is_chosen_and_one_undo_takes_all_back(pairs: Home) -> None:
    """Both pieces have orders, so the person says which stays; its verdict, scans, orders and edition go together."""
    before = filed(pairs)
    async with running(pairs, place="alike") as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        await pilot.press("down", "c")
        await settled(pilot)
        assert isinstance(pilot.app.screen, Choice)
        assert "Keep Harbour, Low Water, Maren Tarnvik" in words(pilot)
        rows = pilot.app.screen.query_one("#choices", RowTable).rows_held
        assert sorted(row[0] for row in rows) == [-2, 1, 2], "of the pieces only the first has another scan"
        await pilot.press("escape")
        await settled(pilot)
        assert filed(pairs) == before
        assert [row.pair.verdict for row in table.rows_held] == ["", ""]
        await pilot.press("c")
        await settled(pilot)
        choices = pilot.app.screen.query_one("#choices", RowTable)
        choices.cursor_row = next(at for at, row in enumerate(choices.rows_held) if row[0] == 1)
        await pilot.press("enter")
        await settled(pilot)
        db = open_database(pairs.database)
        assert "Harbour, Blue Hour" not in filed(pairs)
        assert "2" in filed(pairs)["Harbour, Low Water"]
        assert "A-104" in {line.number for line in orders.lines_of_piece(db, 1)}
        assert sorted(row.verdict for row in likenesses.listed(db)) == ["", "confirmed"]
        await pilot.press("u")
        await settled(pilot)
        assert filed(pairs) == before
        assert [row.verdict for row in likenesses.listed(db)] == ["", ""]
        assert "A-104" in {line.number for line in orders.lines_of_piece(db, 2)}
        await pilot.press("u")
        assert any(NOTHING_TO_UNDO in t for t in said(pilot))
        db.close()


async def test_only_the_scan_may_move_where_its_piece_has_others(pairs: Home) -> None:
    """A scan that is filed wrongly must not draw all of its piece with it."""
    before = filed(pairs)
    async with running(pairs, place="alike") as pilot:
        await pilot.press("down", "c")
        await settled(pilot)
        choices = pilot.app.screen.query_one("#choices", RowTable)
        choices.cursor_row = next(at for at, row in enumerate(choices.rows_held) if row[0] == -2)
        await pilot.press("enter")
        await settled(pilot)
        after = filed(pairs)
        assert set(after["Harbour, Blue Hour"]) == {"1", "2"}
        assert set(after["Harbour, Low Water"]) == set(before["Harbour, Low Water"]) - {"1"}
        await pilot.press("u")
        await settled(pilot)
    assert filed(pairs) == before


async def test_a_group_is_one_row_opened_in_place_and_judged_as_a_whole(shop: Home) -> None:
    """Three scans of one piece: Enter opens the row into its pairs, Esc leads back, ``c`` asks once for all of them."""
    between(shop, (11, 1, Relation.RESCAN, 0.9), (21, 1, Relation.TILE, 0.8), (22, 1, Relation.TILE, 0.97))
    async with running(shop, place="alike", size=(200, 44)) as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        assert table.row_count == 1
        group = table.highlighted
        text = words(pilot)
        for fact in ("▸", "re-scans", "and 3 more files", "tile 1 of 3.tif", "2 pairs to judge",
                     "4 scans of"):
            assert fact in text, fact
        await pilot.press("r")
        await settled(pilot)
        assert any("Enter opens it" in t for t in said(pilot))
        await pilot.press("enter")
        await settled(pilot)
        assert [row.identity for row in table.rows_held] == [group.identity, 1, 2]
        assert table.highlighted.identity == group.identity
        assert "▾" in words(pilot)
        await pilot.press("down", "down", "escape")
        await settled(pilot)
        assert [row.identity for row in table.rows_held] == [group.identity]
        assert table.highlighted.identity == group.identity
        await pilot.press("a", "enter")
        await settled(pilot)
        assert [row.identity for row in table.rows_held] == [group.identity, 1, 2, 3]
        await pilot.press("enter", "a", "c")
        await settled(pilot)
        assert isinstance(pilot.app.screen, ConfirmDialog)
        assert "these 4 scans" in words(pilot)
        assert "tile 2 of 3.tif" in words(pilot)
        await pilot.press("y")
        await settled(pilot)
        assert table.row_count == 0
        assert any(t.startswith("2 pairs confirmed") for t in said(pilot)), said(pilot)
        await pilot.press("u")
        await settled(pilot)
        assert table.row_count == 1
        await pilot.press("p")
        await settled(pilot)
        assert "Harbour, Low Water" in words(pilot)


async def test_a_pair_of_an_opened_group_is_judged_and_the_cursor_goes_on(shop: Home) -> None:
    between(shop, (11, 1, Relation.RESCAN, 0.9), (21, 1, Relation.TILE, 0.8))
    async with running(shop, place="alike") as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        await pilot.press("enter", "down", "c")
        await settled(pilot)
        assert [row.identity for row in table.rows_held][1:] == [2]
        assert table.highlighted.identity == 2
        await pilot.press("c")
        await settled(pilot)
        assert table.row_count == 0


async def test_copies_stand_apart_from_rescans_print_files_and_tiles(shop: Home) -> None:
    between(shop, (2, 1, Relation.SAME_PIXELS, 1.0), (21, 3, Relation.TILE, 0.9), (4, 22, Relation.REWORKED, 0.9),
            (11, 23, Relation.RESCAN, 0.7))
    db = open_database(shop.database)
    with transaction(db):
        scans.set_role(db, scans.by_digest(db, sha(4)).id, "print file")  # type: ignore[union-attr]
    db.close()
    async with running(shop, place="alike") as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        what = table._strips.columns[2]
        assert [what.styled(row)[0] for row in table.rows_held] == ["re-scan", "print file", "tile of", "same pixels"]


HOSTILE = ("[red]not markup[/].tif", "\x1b[31mcolour\x07.tif", "\u202efit.elif.tif", "אור על המים.tif",
           "é" * 125 + ".tif", "line\nbreak.tif")


@pytest.mark.parametrize("name", HOSTILE)
async def test_names_that_have_broken_screens(shop: Home, name: str) -> None:
    """Markup, control signs, direction overrides, right-to-left letters, 254 bytes: one row, drawn as text."""
    between(shop, (11, 1, Relation.RESCAN, 0.9), (21, 1, Relation.TILE, 0.8))
    db = open_database(shop.database)
    with transaction(db):
        db.execute("UPDATE file SET path = 'new/' || ? WHERE path LIKE '%2019 master.tif'", [name])
        db.execute("UPDATE file SET path = 'old/' || ? WHERE path LIKE '%tile 1 of 3.tif'", [name])
    db.close()
    async with running(shop, place="alike", size=(160, 44)) as pilot:
        table = pilot.app.screen.query_one("#pairs", RowTable)
        await pilot.press("enter")
        await settled(pilot)
        text = words(pilot)
        assert not any(sign in text for sign in ("\x1b", "\x07", "\u202e")), name
        assert {len(line) for line in text.splitlines()} <= {160} or not name.isascii()
        assert table.row_count == 3
        await pilot.press("c")
        await settled(pilot)
        assert "not markup" not in name or "[red]not markup[/].tif" in words(pilot)
        await pilot.press("escape")
        await settled(pilot)


def test_files_of_one_name_are_told_apart_by_folder_and_store() -> None:
    scan = ComparedScan(1, "a", "", "TIFF", 1, 1, 8, 300.0, "", "", "master", "", None, "", "[]", "")

    def told(store_a: str, path_a: str, store_b: str, path_b: str) -> tuple[str, str]:
        return told_apart(NamedScan(scan, store_a, path_a, ""), NamedScan(scan, store_b, path_b, ""))

    assert told("nas", "a/Harbour.tif", "nas", "a/Pier.tif") == ("Harbour.tif", "Pier.tif")
    assert told("nas", "a/x/Harbour.tif", "nas", "b/x/Harbour.tif") == ("a/x/Harbour.tif", "b/x/Harbour.tif")
    assert told("nas", "x/Harbour.tif", "nas", "Harbour.tif") == ("x/Harbour.tif", "Harbour.tif")
    assert told("nas", "Harbour.tif", "usb", "Harbour.tif") == ("nas: Harbour.tif", "usb: Harbour.tif")
    assert told("nas", "Harbour.tif", "", "") == ("Harbour.tif", NamedScan(scan, "", "", "").location)


@pytest.mark.parametrize("size", [(120, 40), (160, 48), (200, 60)])
async def test_no_picture_is_larger_than_its_place_where_the_page_was_made_ahead(
        pairs: Home, monkeypatch: pytest.MonkeyPatch, size: tuple[int, int]) -> None:
    """What the terminal gets for each row of a picture is as wide as the picture's place, at the first drawing too."""
    monkeypatch.setattr(screen_cache, "IDLE_SECONDS", 0.01)
    monkeypatch.setattr(screen_cache, "BETWEEN", 0.001)
    drawn: list[tuple[int, int]] = []
    render_lines = Picture.render_lines

    def measured(picture: Picture, crop: Region) -> list[Strip]:
        strips = render_lines(picture, crop)
        if picture.app.screen is picture.screen:
            drawn.extend((strip.render(picture.app.console).count("▀"), crop.width) for strip in strips)
        return strips

    monkeypatch.setattr(Picture, "render_lines", measured)
    async with running(pairs, size=size, ahead=True) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        app.console._color_system = ColorSystem.TRUECOLOR
        await settled(pilot)
        assert app._screen_stacks.get("alike")
        drawn.clear()
        await burst(pilot, "3")
        await settled(pilot)
        assert VIEWS[0] in words(pilot)
    assert len(drawn) > 10
    assert [(blocks, width) for blocks, width in drawn if blocks > width] == []


async def test_a_pair_whose_preview_is_gone_is_told(pairs: Home) -> None:
    pairs.preview(sha(11)).unlink()
    async with running(pairs, place="alike") as pilot:
        assert "A preview is missing" in words(pilot)
