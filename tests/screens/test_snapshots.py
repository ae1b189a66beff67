"""The main screens as pictures, at two sizes. Look at a changed one before accepting it with --snapshot-update."""

from collections.abc import Awaitable, Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from catalogue.filing.model import Guessed
from catalogue.intake.arrivals import Arrival
from catalogue.intake.mosaic import TileMap
from catalogue.intake.proposals import Item, Kind, Plan, Proposal
from catalogue.intake.watching import News, Watch
from catalogue.likeness.evidence import Relation
from catalogue.likeness.tiles import TilePosition
from catalogue.records.upkeep_lists import Coverage
from catalogue.screens.app import CatalogueApp
from catalogue.screens.pages import intake
from catalogue.screens.widgets.intake_tables import WatchedTable
from catalogue.settings import Home
from tests.screens.shop import between, listed, painted, reading, settled, until

SIZES = {"small": (80, 24), "large": (200, 60)}


def arrived(place: str, *keys: str) -> Callable[[Pilot[None]], Awaitable[None]]:
    """Go to a place, press keys, wait until all is still."""

    async def run(pilot: Pilot[None]) -> None:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        Input.cursor_blink = False  # type: ignore[assignment]
        await until(pilot, lambda: app.current_mode == "browse" and listed(app, "#pieces")
                    and len(app.changes.online) == 2)
        if place != "browse":
            await app.action_show_page(place)
        await settled(pilot)
        for key in keys:
            await pilot.press(key)
            await settled(pilot)

    return run


@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize("screen", ["browse", "piece", "repeat"])
def test_main_screens(shop: Home, snap_compare: Any, screen: str, size: str) -> None:
    keys = {"browse": ("down",), "piece": ("down", "enter"), "repeat": ("down", "r")}[screen]
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES[size],
                        run_before=arrived("browse", *keys))


@pytest.mark.parametrize("place", ["orders", "audit", "health"])
def test_places(shop: Home, snap_compare: Any, place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.records.upkeep_lists.coverage",
                        lambda _: Coverage(9, 9, 0, 0, 0, 0))
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES["small"], run_before=arrived(place))


@pytest.mark.parametrize("size", list(SIZES))
@pytest.mark.parametrize("keys", [("enter", "down"), ("end", "c")], ids=["opened", "which stays"])
def test_alike(shop: Home, snap_compare: Any, keys: tuple[str, ...], size: str) -> None:
    """A group opened into its pairs; the question which of two pieces stays."""
    between(shop, (11, 1, Relation.RESCAN, 0.9), (21, 1, Relation.TILE, 0.8), (22, 1, Relation.TILE, 0.97),
            (2, 3, Relation.REWORKED, 0.7), (4, 23, Relation.SAME_PIXELS, 1.0))
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES[size],
                        run_before=arrived("alike", *keys))


def tiles_proposed(tmp: Path) -> Plan:
    """Four tiles with their stitched master, and one scan nobody knows."""
    def item(number: int, name: str, role: str, colour: tuple[int, int, int]) -> Item:
        path = tmp / name
        read = reading(number, str(path), painted(colour))
        target = f"Tobin Quarrel/Red Barn/Tobin Quarrel - Red Barn - {role} {number}.tif"
        return Item(Arrival(path, name, read, datetime(2026, 1, 30, 10, number)), role, number, target)

    tiles = [item(n, f"scan_000{n}.tif", "tile", (150, 60 + 20 * n, 50)) for n in range(1, 5)]
    positions = tuple(TilePosition(f"scan_000{n}.tif", ((x, y), (x + .6, y), (x + .6, y + .6), (x, y + .6)), 0.0)
                      for n, (x, y) in enumerate(((0, 0), (.4, 0), (0, .4), (.4, .4)), 1))
    sure = Guessed("Tobin Quarrel", 0.95, "a re-scan of what is held")
    set_ = Proposal(Kind.TILES_AND_MASTER, (*tiles, item(5, "barn [all].tif", "master", (170, 70, 40))), sure,
                    Guessed("Red Barn", 0.95, "a re-scan of what is held"), tiles=TileMap(positions, 4 / 3),
                    capture=(("device", "flatbed"), ("relief mm", "2.5")), reasons=("4 overlaps seen",),
                    warnings=("scan_0003.tif overlaps its neighbours by 9% at most; 25% is wanted.",))
    alone = Proposal(Kind.MASTER, (item(6, "scan_0006.tif", "master", (40, 90, 140)),), Guessed(), Guessed())
    return Plan(tmp, 1, "main disk", tmp, (set_, alone))


@pytest.mark.parametrize("size", list(SIZES))
def test_new_scans(shop: Home, snap_compare: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: str) -> None:
    def proposed(_: Any, __: Path, ___: str, ____: Any, then: Any) -> bool:
        then(tiles_proposed(tmp_path))
        return True

    monkeypatch.setattr(intake, "start_proposing", proposed)

    async def run(pilot: Pilot[None]) -> None:
        await arrived("intake")(pilot)
        pilot.app.screen.query_one("#intake-folder", Input).value = "key"
        await pilot.press("enter")
        await settled(pilot)

    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES[size], run_before=run)


def test_under_watch(shop: Home, snap_compare: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    proposal = tiles_proposed(tmp_path).proposals[0]

    def look(watch: Watch) -> Iterator[News]:
        if not watch.arrivals:
            for number, item in enumerate(proposal.items[:3], 1):
                watch.arrivals[item.arrival.inside] = item.arrival
                yield News("arrived", item.arrival.path, f"{item.arrival.inside}: lies on the others", item.arrival,
                           TileMap(proposal.tiles.positions[:number], 4 / 3) if proposal.tiles else None)
            yield News("warning", item.arrival.path, "scan_0003.tif is turned 90° against scan_0001.tif: the weave "
                                                     "will not match. Scan it again, turned like the others.")

    monkeypatch.setattr(Watch, "look", look)

    async def run(pilot: Pilot[None]) -> None:
        await arrived("intake")(pilot)
        pilot.app.screen.query_one("#intake-folder", Input).value = "key"
        await pilot.press("escape", "w")
        await until(pilot, lambda: any(s.state == "warning" for s in pilot.app.screen.query_one(WatchedTable).scans))
        pilot.app.clear_notifications()
        await settled(pilot)

    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES["small"], run_before=run)


def test_search(shop: Home, snap_compare: Any) -> None:
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES["small"],
                        run_before=arrived("browse", "slash", *"harb"))


def test_help(shop: Home, snap_compare: Any) -> None:
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES["small"],
                        run_before=arrived("browse", "question_mark"))


def test_without_colours_and_light(shop: Home, snap_compare: Any) -> None:
    """As with NO_COLOR: the picture in signs, nothing told by colour alone."""
    assert snap_compare(CatalogueApp(shop, colours=False), terminal_size=SIZES["small"],
                        run_before=arrived("browse", "down", "t"))
