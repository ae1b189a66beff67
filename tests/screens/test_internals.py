"""What the screens take for granted of Textual's insides: fails where a new version of it differs."""

import inspect
import os
import re
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import pyte
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from textual._compositor import ChopsUpdate, Compositor, LayoutUpdate
from textual.app import App, ComposeResult
from textual.css.stylesheet import Stylesheet
from textual.dom import DOMNode
from textual.drivers import linux_driver
from textual.geometry import Region
from textual.screen import Screen
from textual.strip import Strip
from textual.widgets import Input, Static

from catalogue.screens import textual_internals
from catalogue.screens.sent_cells import SentCells, in_few_codes
from catalogue.screens.style_codes import shorten_styles


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


class Fielded(Screen[None]):
    def compose(self) -> ComposeResult:
        yield Input("a field asks for the screen when it is mounted")


class FieldFirst(textual_internals.ThriftyApp[None]):
    DEFAULT_MODE = "first"
    MODES = {"first": Fielded}  # noqa: RUF012

    def __init__(self) -> None:
        super().__init__()
        self.stacks: list[list[str]] = []

    def _register(self, parent: Any, *widgets: Any, **where: Any) -> Any:
        self.stacks.append([type(screen).__name__ for screen in self.screen_stack])
        return super()._register(parent, *widgets, **where)


def test_a_strip_makes_the_caches_that_textual_gives_it_when_they_are_asked_for() -> None:
    """By Textual's own source: what is begun with a strip, and how much each of its caches keeps."""
    begun = inspect.getsource(Strip).partition("def __init__")[2].partition("def ")[0]
    caches = re.findall(r"self\.(_\w+)[^=]*= FIFOCache\((\d+)\)", begun)
    assert {name: int(most) for name, most in caches} == textual_internals.STRIP_CACHES
    assert set(re.findall(r"self\.(_\w+)", begun)) - set(textual_internals.STRIP_CACHES) == {
        "_segments", "_cell_length", "_render_cache", "_link_ids", "_cell_count"}
    textual_internals.make_strip_caches_when_asked()
    strip = Strip([Segment("Harbour, "), Segment("Low Water")])
    assert not any(slot in textual_internals.STRIP_CACHES for slot in Strip.__slots__ if is_set(strip, slot))
    assert [part.text for part in strip.divide([3, 18])] == ["Har", "bour, Low Water"]
    assert is_set(strip, "_divide_cache") and not is_set(strip, "_crop_cache")
    assert strip.divide([3, 18])[0] is strip.divide([3, 18])[0], "taken from the cache"
    with pytest.raises(AttributeError):
        _ = strip.nosuch  # type: ignore[attr-defined]


def is_set(strip: Strip, slot: str) -> bool:
    """Whether a slot holds anything, without asking for it by ``__getattr__``."""
    try:
        getattr(Strip, slot).__get__(strip)
    except AttributeError:
        return False
    return True


async def test_the_first_page_is_on_its_stack_before_it_is_mounted() -> None:
    """From Python 3.12 on a field is mounted within the call that registers it."""
    app = FieldFirst()
    async with app.run_test() as pilot:
        await pilot.pause()
        assert app.screen_stack == [app.screen] and isinstance(app.screen, Fielded)
        assert app.stacks and all(stack == ["Fielded"] for stack in app.stacks)


async def test_a_screens_style_sheet_is_loaded_before_its_widgets_are_mounted(tmp_path: Path) -> None:
    """From Python 3.12 on they are styled within the call that registers the screen."""
    sheet = tmp_path / "sheet.tcss"
    sheet.write_text("Static { height: 3; }")

    class Sheeted(Screen[None]):
        CSS_PATH = sheet

    class Thrifty(textual_internals.ThriftyApp[None]):
        def compose(self) -> ComposeResult:
            yield Static("x")

    app = Thrifty()
    async with app.run_test():
        loaded: list[bool] = []
        register = app._register

        def watched(*given: Any, **named: Any) -> Any:
            loaded.append(app.stylesheet.has_source(str(sheet), ""))
            return register(*given, **named)

        app._register = watched  # type: ignore[method-assign]
        await app.push_screen(Sheeted())
        assert loaded[0]


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


async def test_styles_of_a_new_screen_are_found_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """It knows the terminal's size and the theme before its widgets are made: nothing finds their styles again."""
    class Settled(Other):
        def compose(self) -> ComposeResult:
            textual_internals.settle_styles(self)
            yield from super().compose()

    found: list[str] = []
    apply = Stylesheet.apply

    def counted(sheet: Stylesheet, node: DOMNode, **given: Any) -> None:
        found.append(type(node.screen).__name__ if isinstance(node, Static) else "")
        apply(sheet, node, **given)

    class Sized(Small):
        HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (120, "-wide")]  # noqa: RUF012

    async with Sized().run_test() as pilot:
        monkeypatch.setattr(Stylesheet, "apply", counted)
        for screen in (Other(), Settled()):
            await pilot.app.push_screen(screen)
            await pilot.pause()
            assert screen.has_class("-narrow")
    assert 0 < found.count("Settled") < found.count("Other")


async def test_a_screen_whose_drawing_is_held_is_laid_out_and_drawn_when_it_is_released(
        monkeypatch: pytest.MonkeyPatch) -> None:
    class Held(textual_internals.HeldScreen[None]):
        drawing_held = True

        def compose(self) -> ComposeResult:
            yield Static("held")

    drawn: list[Screen[Any]] = []
    laid_out: list[Screen[Any]] = []
    refresh, reflow = Screen._compositor_refresh, Compositor.reflow
    monkeypatch.setattr(Screen, "_compositor_refresh", lambda screen: (drawn.append(screen), refresh(screen)))
    monkeypatch.setattr(Compositor, "reflow", lambda self, parent, size: (laid_out.append(parent),
                                                                          reflow(self, parent, size))[1])
    async with Small().run_test() as pilot:
        held = Held()
        await pilot.app.push_screen(held)
        held._compositor_refresh()
        assert drawn and held not in drawn
        await pilot.pause()
        before = laid_out.count(held)
        assert before   # the widgets have sizes
        held.query_one(Static).styles.height = 3
        await pilot.pause()
        assert laid_out.count(held) == before
        held.release_drawing()
        await pilot.pause()
        assert held in drawn
        assert laid_out.count(held) > before and held.query_one(Static).size.height == 3


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


ROWS, COLUMNS = 3, 12


def seen_in(screen: pyte.Screen) -> list[list[tuple[object, ...]]]:
    """Letter, ground and line, and of what is not blank the ink and slant; of a reversed blank the ink too."""
    return [[(cell.data, cell.bg, cell.underscore, cell.reverse,
              None if cell.data == " " and not cell.reverse else (cell.fg, cell.bold, cell.italics))
             for cell in map(screen.buffer[row].__getitem__, range(COLUMNS))] for row in range(ROWS)]


STYLES = (Style(), Style(bold=True), Style(bgcolor="red"), Style(color="#102030", bgcolor="#405060", dim=True),
          Style(color="#102030", bgcolor="#405060"), Style(color="bright_blue", bold=True, italic=True),
          Style(color="color(200)", bgcolor="bright_red", reverse=True), Style(underline=True, bgcolor="#405060"))


@given(st.lists(st.tuples(st.integers(0, ROWS), st.lists(st.integers(0, COLUMNS), min_size=2, max_size=4),
                          st.lists(st.tuples(st.sampled_from(["a", "ab", "b a", "画"]), st.sampled_from(STYLES)),
                                   min_size=1, max_size=4)), max_size=8))
def test_a_terminal_that_gets_changes_alone_shows_the_same(
        updates: list[tuple[int, list[int], list[tuple[str, Style]]]]) -> None:
    """Checked with pyte, a terminal model, beside what Textual writes: whole layouts and stretches of a row in turn,
    which begin and end anywhere, with signs that take two cells among them."""
    console = Console(color_system="truecolor", force_terminal=True, no_color=False, legacy_windows=False)
    sent = SentCells()
    plain, thrifty = pyte.Screen(COLUMNS, ROWS), pyte.Screen(COLUMNS, ROWS)
    for row, edges, texts in updates:
        line = Strip([Segment(text * 3, style) for text, style in texts]).adjust_cell_length(COLUMNS)
        cuts = sorted({0, *edges, COLUMNS})
        chops = {start: line.crop(start, end) for start, end in pairwise(cuts)}
        update: LayoutUpdate | ChopsUpdate
        if row == ROWS:
            update = LayoutUpdate([list(chops.values())] * ROWS, Region(0, 0, COLUMNS, ROWS))
        else:
            first, last = cuts[0], cuts[-2] or COLUMNS
            update = ChopsUpdate([chops] * ROWS, [(row, first, last)], [cuts[1:]] * ROWS)
        pyte.Stream(plain).feed(update.render_segments(console).replace("\n", "\r\n"))
        pyte.Stream(thrifty).feed(textual_internals.ChangedCells(update, sent).render_segments(console))
        assert seen_in(thrifty) == seen_in(plain)
        assert textual_internals.ChangedCells(update, sent).render_segments(console) == "", "all of it is there"


def test_a_row_is_sent_once_however_it_is_cut() -> None:
    console, sent = Console(color_system="truecolor", force_terminal=True), SentCells()
    line = Strip([Segment(" Harbour, Blue Hour   ", Style(bold=True)), Segment("1990")])
    assert sent.changes(0, 0, line, console) == [(0, line.render(console))]
    for cuts in ((0, 5, 26), (0, 26), (0, 22, 23, 26)):
        assert [sent.changes(0, start, line.crop(start, end), console) for start, end in pairwise(cuts)] \
            == [[]] * (len(cuts) - 1)
    other = Strip([Segment(" Harbour, Blue Dawn   ", Style(bold=True)), Segment("1990")])
    assert sent.changes(0, 0, other, console) == [(15, "\x1b[1mDawn\x1b[0m")]


def test_of_a_row_that_changes_here_and_there_only_that_is_sent() -> None:
    """Columns of a table with room between them, as while searching: neither the room nor the colours go out again."""
    def line(*texts: str) -> Strip:
        return Strip([Segment(text.ljust(60), Style(color="#102030", bgcolor="#405060")) for text in texts])

    console, sent = Console(color_system="truecolor", force_terminal=True), SentCells()
    textual_internals.ChangedCells(LayoutUpdate([[line("Harbour", "1990", "paper")]], Region(0, 4, 180, 1)),
                                   sent).render_segments(console)
    update = LayoutUpdate([[line("Meadow", "1991", "paper")]], Region(0, 4, 180, 1))
    assert textual_internals.ChangedCells(update, sent).render_segments(console) == \
        "\x1b[5;1H\x1b[38;2;16;32;48;48;2;64;80;96mMeadow \x1b[64G1\x1b[0m"


def test_changes_of_one_style_are_sent_after_each_other() -> None:
    """Two columns of two rows: each style is told once."""
    changes = [(row, (column, f"\x1b[{style}m{text}\x1b[0m")) for row in (2, 3)
               for column, style, text in ((0, "38;2;1;1;1", "kind"), (20, "1", "name"))]
    assert in_few_codes(changes) == ("\x1b[3;1H\x1b[38;2;1;1;1mkind\x1b[4;1Hkind"
                                     "\x1b[3;21H\x1b[0;1mname\x1b[4;21Hname\x1b[0m")


async def test_a_style_sheet_is_parsed_once_for_each_set_of_colours() -> None:
    sheet = textual_internals.CachedStylesheet(variables={"ink": "red"})
    sheet.add_source("Static { color: $ink; }", read_from=("a", ""))
    sheet.parse()
    first = sheet.rules[0]
    sheet.set_variables({"ink": "red"})
    sheet.reparse()
    assert sheet.rules[0] is first
    sheet.set_variables({"ink": "blue"})
    sheet.reparse()
    assert sheet.rules[0] is not first and sheet.rules[0].styles.color != first.styles.color


def test_codes_of_styles_are_as_few_as_will_do() -> None:
    """ECMA-48, SGR: 22 is normal weight, 0 nothing of all; colours as ISO 8613-6 has them."""
    grey, blue = "38;2;9;9;9", "38;2;0;0;255"
    ground = "48;2;1;2;3"
    row = (f"\x1b[{grey};{ground}m piece \x1b[0m\x1b[1;{blue};{ground}m Harbour \x1b[0m"
           f"\x1b[{blue};{ground}m 1990 \x1b[0m")
    assert shorten_styles(f"\x1b[1;1H{row}\x1b[2;1H{row}") == (
        f"\x1b[1;1H\x1b[{grey};{ground}m piece \x1b[1;{blue}m Harbour \x1b[22m 1990 \x1b[2;1H"
        f"\x1b[{grey}m piece \x1b[1;{blue}m Harbour \x1b[22m 1990 \x1b[0m")
    assert shorten_styles("\x1b[7mx\x1b[0my") == "\x1b[7mx\x1b[0my"
    assert shorten_styles("plain") == "plain"
