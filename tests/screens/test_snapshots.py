"""The main screens as pictures, at two sizes. Look at a changed one before accepting it with --snapshot-update."""

from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from textual.pilot import Pilot
from textual.widgets import Input

from catalogue.records.browsing import Coverage
from catalogue.screens.app import CatalogueApp
from catalogue.settings import Home
from tests.screens.shop import listed, settled, until

SIZES = {"small": (80, 24), "large": (200, 60)}


def arrived(place: str, *keys: str) -> Callable[[Pilot[None]], Awaitable[None]]:
    """Go to a place, press keys, wait until all is still."""

    async def run(pilot: Pilot[None]) -> None:
        app = pilot.app
        assert isinstance(app, CatalogueApp)
        Input.cursor_blink = False  # type: ignore[assignment]
        await until(pilot, lambda: app.current_mode == "browse" and listed(app, "#pieces") and len(app.online) == 2)
        if place != "browse":
            await app.action_place(place)
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
    monkeypatch.setattr("catalogue.records.browsing.coverage",
                        lambda _: Coverage(9, 9, 0, 0, 0, 0))
    assert snap_compare(CatalogueApp(shop, colours=True), terminal_size=SIZES["small"], run_before=arrived(place))


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
