"""What the screens take for granted of Textual's insides: fails where a new version of it differs."""

import os
import subprocess
import sys
from typing import Any

from textual.app import App, ComposeResult
from textual.drivers import linux_driver
from textual.screen import Screen
from textual.widgets import Static

from catalogue.screens import textual_internals


class Other(Screen[None]):
    def compose(self) -> ComposeResult:
        yield Static("other")


class Small(App[None]):
    MODES = {"first": Screen, "second": Other}  # noqa: RUF012

    def compose(self) -> ComposeResult:
        yield Static("x")


async def test_messages_that_wait_and_a_layout_that_is_due_are_seen() -> None:
    app = Small()
    async with app.run_test() as pilot:
        await pilot.pause()
        widget = app.query_one(Static)
        assert textual_internals.is_laid_out(app.screen) and not textual_internals.has_messages(widget)
        widget.call_later(lambda: None)
        assert textual_internals.has_messages(widget)
        widget.styles.height = 5
        await pilot.pause()
        assert textual_internals.is_laid_out(app.screen) and not textual_internals.has_messages(widget)
        await widget.remove()
        widget.call_next(lambda: None)
        assert not textual_internals.has_messages(widget), "it will never handle them"


async def test_a_screen_is_mounted_and_drawn_before_it_is_seen() -> None:
    app = Small()
    async with app.run_test(size=(40, 4)) as pilot:
        other = Other()
        app.install_screen(other, "other")
        await textual_internals.mount_screen(app, other)
        await pilot.pause()
        assert other.is_running and other is not app.screen
        textual_internals.draw_unseen(other)
        assert "other" in textual_internals.drawn_strips(other)[0].text
        page = await textual_internals.mount_mode(app, "second")
        assert isinstance(page, Other) and page in list(textual_internals.open_screens_of(app))
        assert app.screen in list(textual_internals.open_screens_of(app))


async def test_styles_are_found_again_only_after_the_theme_changed() -> None:
    seen: list[bool] = []

    class Noted(Other):
        def on_screen_resume(self, event: Any) -> None:
            textual_internals.keep_styles(self, event)
            seen.append(event.refresh_styles)

    app = Small()
    async with app.run_test() as pilot:
        screen = Noted()
        app.install_screen(screen, "noted")
        for _ in range(2):
            await app.push_screen("noted")
            await pilot.pause()
            app.pop_screen()
            await pilot.pause()
        app.theme = "textual-light"
        await pilot.pause()
        await app.push_screen("noted")
        await pilot.pause()
    assert seen[1] is False and seen[-1] is True


def test_the_driver_reads_keys_through_our_parser() -> None:
    before = linux_driver.XTermParser
    try:
        textual_internals.tell_lone_escapes_apart()
        assert linux_driver.XTermParser is textual_internals.LoneEscapes
    finally:
        linux_driver.XTermParser = before


def test_a_sequence_that_comes_in_two_parts_is_one_key() -> None:
    """As an arrow key over a slow line, the second part later than an Esc may wait (ECMA-48, cursor up)."""
    parser = textual_internals.LoneEscapes()
    assert [event.key for event in parser.feed("\x1b")] == []  # type: ignore[attr-defined]
    assert [event.key for event in parser.feed("[A")] == ["up"]  # type: ignore[attr-defined]


def test_textual_takes_its_times_from_the_environment() -> None:
    """Set before it is imported; what a person has set stays."""
    words = ("from catalogue.screens import set_textual_defaults; set_textual_defaults();"
             "from textual import constants; print(constants.ESCAPE_DELAY, constants.MAX_FPS)")
    environment = {name: value for name, value in os.environ.items() if name not in ("ESCDELAY", "TEXTUAL_FPS")}
    for own, printed in (({}, "0.025 120"), ({"ESCDELAY": "400"}, "0.4 120")):
        done = subprocess.run([sys.executable, "-c", words], capture_output=True, text=True, check=True,
                              env=environment | own)
        assert done.stdout.strip() == printed
