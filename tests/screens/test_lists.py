"""Lists of any length: pages by keyset, the cursor kept, names of any kind, and what the records give for them."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from textual.app import App, ComposeResult

from catalogue.records import browsing, findings, order_list, orders, pieces, upkeep_lists
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.order_list import OrderFilter
from catalogue.screens.app import CatalogueApp
from catalogue.screens.texts.formats import safe
from catalogue.screens.widgets.paged_table import HELD, PAGE, PagedTable
from catalogue.screens.widgets.row_drawing import Column, fitted
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home
from tests.screens.shop import HOSTILE, held_up, running, settled, typed, until, words

COUNT = 900


@pytest.fixture(scope="module")
def long_shop(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """Many pieces by a few artists, one of them three times as long a list as a table holds."""
    home = Home(tmp_path_factory.mktemp("long"))
    db = open_database(home.database)
    with transaction(db):
        ids = [pieces.artist_called(db, f"Artist {n:02d}").id for n in range(3)]
        for number in range(COUNT):
            piece = pieces.piece_called(db, ids[number % 3], f"Work {number:04d}")
            order = orders.save(db, f"N{number}", f"20{number % 20:02d}-01-{number % 28 + 1:02d}")
            orders.add_line(db, order, orders.NewLine(piece, 100, 100, 1))
    db.close()
    return home


@pytest.fixture
def long_db(long_shop: Home) -> Database:
    return open_database(long_shop.database)


@pytest.mark.parametrize("limit", [1, 7, 120, 2000])
def test_pages_forward_and_back_give_the_whole_list(long_db: Database, limit: int) -> None:
    """Each page begins beyond the last row: together they are the list, in order, without a gap or a double."""
    whole = browsing.pieces(long_db, None, None, 5000)
    assert [row.title for row in whole] == [f"Work {n:04d}" for n in range(COUNT)]
    if limit == 1:
        whole = whole[:12]
    onward, row = [], None
    while page := browsing.pieces(long_db, None, row, limit):
        onward += page
        row = page[-1]
        if len(onward) >= len(whole):
            break
    assert [r.id for r in onward[:len(whole)]] == [r.id for r in whole]
    back, row = [], whole[-1]
    while page := browsing.pieces(long_db, None, row, limit, forward=False):
        back = page + back
        row = page[0]
    assert [r.id for r in back] == [r.id for r in whole[:-1]]


def paged(page: Callable[[Any, int, bool], list[Any]], limit: int) -> tuple[list[Any], list[Any]]:
    """Ids of a whole list, asked for page by page from its start, and from its end."""
    there, back, row = [], [], None
    while rows := page(row, limit, True):
        there += rows
        row = rows[-1]
    row = None
    while rows := page(row, limit, False):
        back = rows + back
        row = rows[0]
    return [r.id for r in there], [r.id for r in back]


@pytest.mark.parametrize("limit", [1, 2, 3, 5, 50])
def test_pages_skip_nothing_among_equals(tmp_path: Path, limit: int) -> None:
    """Pieces of one title: nothing but their ids tells them apart."""
    db = open_database(tmp_path / "catalogue.sqlite")
    with transaction(db):
        wanted = [pieces.piece_called(db, pieces.artist_called(db, f"Artist {n}").id, "Untitled") for n in range(7)]
    one, other = paged(lambda row, n, way: browsing.pieces(db, None, row, n, forward=way), limit)
    assert one == other == wanted
    db.close()


@pytest.mark.parametrize("limit", [1, 2, 3, 50])
def test_damage_comes_first_on_every_page(tmp_path: Path, limit: int) -> None:
    db = open_database(tmp_path / "catalogue.sqlite")
    kinds = ("single copy", "truncated", "no profile", "changed", "no profile", "missing", "single copy")
    with transaction(db):
        for number, kind in enumerate(kinds):
            findings.record(db, kind, "made up for a test", path=f"{number}.tif")
    one, other = paged(lambda row, n, way: upkeep_lists.findings(db, "", row, n, forward=way), limit)
    assert one == other
    listed = [row.kind for row in upkeep_lists.findings(db, "", None, 50)]
    assert listed == ["missing", "changed", "truncated", "single copy", "no profile", "no profile", "single copy"]
    kinds = [row.kind for row in upkeep_lists.kinds(db)]
    assert kinds == ["changed", "missing", "truncated", "no profile", "single copy"]
    one, other = paged(lambda row, n, way: upkeep_lists.findings(db, "no profile", row, n, forward=way), limit)
    assert one == other and len(one) == 2
    assert browsing.damaged(db) == 3
    db.close()


def test_no_list_is_sorted_or_scanned_whole(long_db: Database) -> None:
    """Paging stays as quick at the end as at the start only while an index gives the order."""
    plans: list[str] = []
    real = long_db.execute

    def explained(sql: str, parameters: object = ()) -> object:
        plans.extend(str(row[3]) for row in real(f"EXPLAIN QUERY PLAN {sql}", parameters))
        return real(sql, parameters)

    long_db.execute = explained  # type: ignore[method-assign,assignment]
    row = browsing.pieces(long_db, None, None, 1)[0]
    plans.clear()
    browsing.pieces(long_db, None, row, 50)
    browsing.pieces(long_db, row.artist_id, row, 50, forward=False)
    browsing.artists(long_db, None, 50)
    (first,) = order_list.page(long_db, OrderFilter(), limit=1)
    order_list.page(long_db, OrderFilter(), beyond=first.position, limit=50)
    assert sum(plan.startswith("SEARCH piece USING INDEX") for plan in plans) == 2
    assert [plan for plan in plans if "SCAN piece" in plan and "USING INDEX" not in plan] == []
    assert plans.count("USE TEMP B-TREE FOR ORDER BY") <= sum("page" in plan for plan in plans), "the page's rows alone"
    assert [plan for plan in plans if plan.startswith(("SCAN o", "SCAN a")) and "USING INDEX" not in plan] == []


async def test_the_table_walks_the_whole_list_and_holds_little(long_shop: Home) -> None:
    async with running(long_shop, size=(80, 24)) as pilot:
        table = pilot.app.screen.query_one("#pieces", PagedTable)
        await until(pilot, lambda: table.row_count == PAGE)
        seen = [table.highlighted.title]
        while len(seen) < COUNT and not (table.ends and table.cursor_row == table.row_count - 1):
            before = table.highlighted
            for _ in range(10):
                table.action_page_down()
            await settled(pilot)
            assert table.row_count <= HELD
            assert table.highlighted != before
            seen.append(table.highlighted.title)
        assert seen == sorted(seen)
        assert table.highlighted.title == f"Work {COUNT - 1:04d}"
        assert f"Work {COUNT - 1:04d}" in words(pilot)
        await pilot.press("home")
        await until(pilot, lambda: table.highlighted is not None and table.highlighted.title == "Work 0000")
        await pilot.press("end")
        await until(pilot, lambda: table.highlighted is not None and table.highlighted.title == f"Work {COUNT - 1:04d}")
        for _ in range(30):
            table.action_page_up()
            await settled(pilot)
        assert table.highlighted.title < f"Work {COUNT - 300:04d}"
        assert [r.title for r in table.rows_held] == sorted(r.title for r in table.rows_held)
        for _ in range(40):   # the last rows were given up on the way, and come back
            table.action_page_down()
            await settled(pilot)
        assert table.highlighted.title == f"Work {COUNT - 1:04d}"


@pytest.mark.parametrize("way", ["down", "up"])
async def test_the_cursor_stays_on_its_row_when_a_page_comes(long_shop: Home, way: str) -> None:
    """Rows are added on one side and dropped on the other; what is looked at stays where it is."""
    async with running(long_shop, size=(80, 24)) as pilot:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        table = app.screen.query_one("#pieces", PagedTable)
        if way == "up":
            await pilot.press("end")
            await settled(pilot)
        moved = 0
        for _ in range(40):
            first = table.rows_held[0].id
            with held_up(app):
                for _ in range(3):
                    (table.action_page_down if way == "down" else table.action_page_up)()
                here, line = table.highlighted, table.cursor_row - table.scroll_offset.y
            await settled(pilot)
            assert table.highlighted == here
            assert table.cursor_row - table.scroll_offset.y == line
            moved += table.rows_held[0].id != first and table.row_count == HELD
        assert moved > 1, "no page came, or none was dropped"


async def test_a_reload_keeps_the_cursor_on_its_row(long_shop: Home, tmp_path: Path) -> None:
    """The catalogue grows under the screen: what one looks at stays where it is."""
    shop = Home(shutil.copytree(long_shop.folder, tmp_path / "own"))     # it is written to
    async with running(shop, size=(80, 24)) as pilot:
        table = pilot.app.screen.query_one("#pieces", PagedTable)
        for _ in range(20):
            table.action_page_down()
            await settled(pilot)
        here = table.highlighted
        line = table.cursor_row - table.scroll_offset.y
        db = open_database(shop.database)
        with transaction(db):
            new = pieces.piece_called(db, 1, here.title[:-1] + "!")
        db.close()
        pilot.app.screen.catalogue_changed()
        await settled(pilot)
        assert table.highlighted.id == here.id
        assert abs(table.cursor_row - table.scroll_offset.y - line) <= 1
        assert any(row.id == new for row in table.rows_held)


@given(st.text(max_size=80) | st.just(HOSTILE), st.integers(1, 60), st.booleans())
def test_a_cell_is_exactly_as_wide_as_its_column(text: str, width: int, right: bool) -> None:
    """Whatever the name: wide signs, combining ones, emoji; Rich's own measure is the judge."""
    assert cell_len(fitted(safe(text), width, right)) == width + 2


@given(st.text(max_size=200) | st.just(HOSTILE))
def test_no_name_moves_the_cursor_or_turns_the_line(text: str) -> None:
    plain, _ = Column("Name", 0, str).styled(text)
    assert not any(ord(c) < 32 or 0x7F <= ord(c) < 0xA0 for c in plain)
    assert not set(plain) & set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
    assert len(plain) == len(text)


async def test_mouse_and_keys_move_and_choose() -> None:
    class Shown(App[None]):
        chosen: str = ""

        def compose(self) -> ComposeResult:
            yield RowTable[str]([Column("Name", 0, str), Column("Length", 6, len, right=True)], id="t")

        def on_mount(self) -> None:
            self.query_one(RowTable).set_rows([f"row {n}" for n in range(50)])
            self.query_one(RowTable).focus()

        def on_row_table_selected(self, event: RowTable.Selected) -> None:
            self.chosen = event.row

    app = Shown()
    async with app.run_test(size=(40, 12)) as pilot:
        table = app.query_one(RowTable)
        await pilot.click(RowTable, offset=(5, 4))
        assert (table.highlighted, app.chosen) == ("row 3", "")
        await pilot.click(RowTable, offset=(5, 4))
        await pilot.pause()
        assert app.chosen == "row 3"
        await pilot.press("end")
        assert table.highlighted == "row 49"
        assert table.scroll_offset.y == 50 - 11
        await pilot.press("pageup", "up", "k", "j")
        assert table.highlighted == "row 38"
        await pilot.press("home")
        assert table.scroll_offset.y == 0


async def test_hostile_names_are_shown_and_searched(tmp_path: Path) -> None:
    home = Home(tmp_path)
    db = open_database(home.database)
    with transaction(db):
        pieces.piece_called(db, pieces.artist_called(db, HOSTILE).id, HOSTILE, "2020")
    db.close()
    for size in ((80, 24), (200, 60)):
        async with running(home, size=size) as pilot:
            assert "[red]Not markup[/]" in words(pilot)
            await pilot.press("enter")
            await settled(pilot)
            assert "[red]Not markup[/]" in words(pilot)
            await pilot.press("slash")
            await typed(pilot, "not mark")
            assert "2 matches found" in words(pilot)
            await pilot.press("escape", "question_mark")
            await settled(pilot)
            assert "Repeat this order line" in words(pilot)
