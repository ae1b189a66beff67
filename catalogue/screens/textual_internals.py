"""Every use of Textual's internals, each with its reason. No other module may have any.

Written against Textual 8.2. ``tests/screens/test_internals.py`` fails if one of them is no longer as assumed.
"""

import re
from collections.abc import Iterable, Iterator
from typing import Any, TypeVar

from rich.console import Console
from rich.segment import Segment
from textual import events
from textual._compositor import ChopsUpdate, CompositorUpdate, LayoutUpdate
from textual._xterm_parser import XTermParser
from textual.app import App
from textual.cache import FIFOCache, LRUCache
from textual.css.stylesheet import Stylesheet
from textual.drivers import linux_driver
from textual.events import ScreenResume
from textual.geometry import Size
from textual.message import Message
from textual.message_pump import MessagePump
from textual.screen import Screen
from textual.strip import Strip
from textual.widget import AwaitMount
from textual.worker import Worker

from catalogue.screens.sent_cells import SentCells, in_few_codes

T = TypeVar("T")
# What may follow Esc in what a terminal sends: sequences of ECMA-48 and xterm, and the end of a string.
_SEQUENCE = "[O]P_^X\\\x1b"
# The caches of a strip, and how much each keeps, as Textual has them.
STRIP_CACHES = {"_divide_cache": 4, "_crop_cache": 16, "_style_cache": 16, "_filter_cache": 4,
                "_line_length_cache": 4, "_crop_extend_cache": 4, "_offsets_cache": 4}
_LONE = re.compile(rf"\x1b(?=[^{re.escape(_SEQUENCE)}])")


def has_messages(node: MessagePump) -> bool:
    """Whether messages wait to be handled by ``node``. One that is being handled just now does not count, nor do those
    of a node that is going: it takes none any more, and some may be left over."""
    return not node._closing and not node._closed and (
        not node._message_queue.empty() or node._pending_message is not None or bool(node._next_callbacks))


def is_laid_out(screen: Screen[object]) -> bool:
    """Whether the screen and all in it are mounted, and no layout is due."""
    return screen.is_mounted and not screen._layout_required


def is_over(worker: Worker[None]) -> bool:
    """Whether a worker has ended, or will never begin since it was cancelled first."""
    return worker.is_finished or worker.is_cancelled


def open_screens_of(app: App[Any]) -> Iterator[Screen[Any]]:
    """The screens of all modes that are open, seen or not."""
    for stack in app._screen_stacks.values():
        yield from stack


async def mount_screen(app: App[Any], screen: Screen[Any]) -> None:
    """Mount and lay out a screen that nobody sees yet. Showing one for the first time costs 100 ms and more; a key
    that opens one made before waits some 30."""
    app._load_screen_css(screen)
    made, mounted = app._get_screen(screen)
    await mounted
    made.post_message(ScreenResume())  # laid out already, for the size there is


async def mount_mode(app: App[Any], mode: str) -> Screen[Any]:
    """As :func:`mount_screen` for the page of a mode; returns that page."""
    await app._init_mode(mode)
    return app._screen_stacks[mode][-1]


def draw_unseen(screen: Screen[Any]) -> None:
    """Draw a screen without showing it, so that Textual's caches of a drawing are filled: 20 to 50 ms."""
    screen._compositor.render_update(full=True)


def drawn_strips(screen: Screen[Any]) -> list[Strip]:
    """A screen as it was drawn last, a strip a row: what lies behind a panel, without drawing its widgets again."""
    return screen._compositor.render_strips()


def keep_styles(screen: Screen[Any], event: ScreenResume) -> None:
    """Textual finds the styles of every widget again whenever a screen is shown: 10 of the 20 ms that takes. They
    differ from last time only if the theme has changed meanwhile."""
    if screen._css_update_count == screen.app._css_update_count:
        event.refresh_styles = False
    screen._css_update_count = screen.app._css_update_count


def settle_styles(screen: Screen[Any]) -> None:
    """Before the widgets of a screen are made: give it the classes of the terminal's size and the count of the present
    theme, so that the widgets' styles are found once. Textual tells of both when they are made, and finds all styles
    again each time: 6 ms of the first page, some 50 of the first showing of another."""
    app, size = screen.app, screen.app.size
    for length, breakpoints in ((size.width, app.HORIZONTAL_BREAKPOINTS), (size.height, app.VERTICAL_BREAKPOINTS)):
        screen.add_class(*screen._get_breakpoint_classes(length, breakpoints or []))
    screen._css_update_count = app._css_update_count


class ChangedCells(CompositorUpdate):
    """An update of which only what differs from what the terminal has is sent."""

    def __init__(self, update: LayoutUpdate | ChopsUpdate, sent: SentCells) -> None:
        self._update, self._sent = update, sent
        self.size = 0   # bytes sent

    def render_segments(self, console: Console) -> str:
        """As Textual's, which moves to every stretch of a row and writes it."""
        sequences = in_few_codes((y, change) for y, x, strip in _positioned_strips(self._update)
                                 for change in self._sent.changes(y, x, strip, console))
        self.size = len(sequences.encode())
        return sequences


def _positioned_strips(update: LayoutUpdate | ChopsUpdate) -> Iterator[tuple[int, int, Strip]]:
    """The stretches of an update: row, column, and what stands there."""
    if isinstance(update, LayoutUpdate):
        for y, line in enumerate(update.strips, update.region.y):
            x = update.region.x
            for strip in line:
                yield y, x, strip
                x += strip.cell_length
        return
    for y, first, last in update.spans:
        for end, (x, part) in zip(update.chop_ends[y], update.chops[y].items(), strict=False):
            if part is None or x > last or end <= first:
                continue
            yield y, x, part if first <= x < last and end <= last else part.crop(0, min(end, last) - x)


def make_strip_caches_when_asked() -> None:
    """Have a strip make each of its seven caches when it is first asked for. Most strips are cut once and thrown away,
    and a screen is thousands of them: to make the caches with each is a tenth of all drawing."""

    def begin(strip: Strip, segments: Iterable[Segment], cell_length: int | None = None) -> None:
        strip._segments = list(segments)
        strip._cell_length = cell_length
        strip._render_cache = strip._link_ids = strip._cell_count = None

    def make_cache(strip: Strip, name: str) -> FIFOCache[Any, Any]:
        if name not in STRIP_CACHES:
            raise AttributeError(name)
        cache: FIFOCache[Any, Any] = FIFOCache(STRIP_CACHES[name])
        setattr(strip, name, cache)
        return cache

    Strip.__init__ = begin  # type: ignore[method-assign, assignment]
    Strip.__getattr__ = make_cache  # type: ignore[attr-defined]


class ThriftyApp(App[T]):
    """An app that sends the terminal only what changes there.

    Textual draws all of a screen again for whatever moves in it, and every few seconds for what does not: over a slow
    line a person waits for that. ``overlaid``: pictures lie over the cells, which then must be sent whole.
    """

    overlaid = False

    def __init__(self) -> None:
        super().__init__()
        make_strip_caches_when_asked()
        self._sent_cells = SentCells()
        self._sent_size = self.size

    def forget_sent(self) -> None:
        """Send everything next time: another program may have used the terminal meanwhile."""
        self._sent_cells.forget()

    def _display(self, screen: Screen[Any], renderable: Any) -> None:
        if self.size != self._sent_size:
            self._sent_size = self.size
            self.forget_sent()
        if not self.overlaid and isinstance(renderable, LayoutUpdate | ChopsUpdate):
            renderable = ChangedCells(renderable, self._sent_cells)
        elif renderable is not None:
            self.forget_sent()
        super()._display(screen, renderable)
        if isinstance(renderable, ChangedCells) and renderable.size:
            self.update_sent(renderable.size)

    def _get_screen(self, screen: Screen[Any] | str) -> tuple[Screen[Any], AwaitMount]:
        """As Textual's, but a screen's style sheet is loaded, and the app's first page is on its stack, before its
        widgets are mounted: from Python 3.12 on Textual's tasks begin at once, so that widgets would be styled without
        the sheet, and a field that is mounted asks for the screen."""
        if isinstance(screen, str):
            return super()._get_screen(screen)
        stack = self._screen_stacks[self._current_mode]
        first = not stack
        if first:
            stack.append(screen)
        try:
            self._load_screen_css(screen)
            return super()._get_screen(screen)
        finally:
            if first:
                stack.remove(screen)    # Textual appends it next

    def update_sent(self, size: int) -> None:
        """Called with the number of bytes just sent to the terminal."""

    def ask_terminal(self) -> None:
        """Have the terminal answer, after all it was sent, with what it told at the start too (DECRQM of mode 2026)."""
        if self._driver is not None:
            self._driver.write("\x1b[?2026$p")
            self._driver.flush()


class HeldScreen(Screen[T]):
    """A screen that can put off its drawing: what is made step by step is laid out again and drawn once, when it is
    whole."""

    drawing_held = False

    def release_drawing(self) -> None:
        """Draw from now on, and at once what is there."""
        if self.drawing_held:
            self.drawing_held = False
            self.refresh(layout=True)

    def _refresh_layout(self, size: Size | None = None, scroll: bool = False) -> None:
        if not self.drawing_held or (size or self.outer_size) != self._compositor.size:
            super()._refresh_layout(size, scroll)

    def _compositor_refresh(self) -> None:
        if self.drawing_held:
            self._dirty_widgets.clear()     # all is drawn in the end; else Textual tries again until it is
        else:
            super()._compositor_refresh()


class CachedStylesheet(Stylesheet):
    """Parses a style sheet once for each set of colours.

    Textual parses all of them again whenever a screen is first shown, though the variables are what they were: five
    times until the first list is drawn, a third of all that takes. It keeps 64 sheets, and a widget's class is one.
    """

    def __init__(self, *, variables: dict[str, str] | None = None) -> None:
        super().__init__(variables=variables)
        self._parse_cache = LRUCache(1024)

    def set_variables(self, variables: dict[str, str]) -> None:
        """As Textual's, which forgets what is parsed; variables that are the same change nothing."""
        if variables != self._variables:
            super().set_variables(variables)

    def reparse(self) -> None:
        """As Textual's, but what is parsed with these variables is taken from the cache."""
        self.parse()


class LoneEscapes(XTermParser):
    """Esc and a letter that come at once are two keys.

    A terminal sends the same for Alt and that letter, and Textual reads it so, or as another key altogether ("Esc 1" as
    "¡", "Esc /" as "/"). There are no keys with Alt here, but people who press Esc and go on. A sequence that comes
    in two parts stays one: what may follow an Esc is left to Textual.
    """

    _pasting = False
    _escape_last = False

    def feed(self, data: str) -> Iterable[Message]:
        """As Textual's, with Esc as a key of its own unless a sequence can follow."""
        if self._escape_last and data and data[0] not in _SEQUENCE:
            yield from self._release()
        self._escape_last = False
        if not self._pasting and "\x1b[200~" not in data:
            start = 0
            for match in _LONE.finditer(data):
                yield from super().feed(data[start:match.start()]) if match.start() > start else ()
                yield from self._release()
                yield events.Key("escape", "\x1b")
                start = match.end()
            self._escape_last = data.endswith("\x1b")
            data = data[start:]
            if not data and start:
                return
        self._pasting = data.rfind("\x1b[200~") > data.rfind("\x1b[201~") or \
            (self._pasting and "\x1b[201~" not in data)
        yield from super().feed(data)

    def _release(self) -> Iterable[Message]:
        """Give an Esc that was held back as the possible start of a sequence."""
        if self._timeout_time is not None:
            self._timeout_time = 0.0
            yield from self.tick()


def tell_lone_escapes_apart() -> None:
    """Before the app runs: have the terminal's driver read keys through :class:`LoneEscapes`."""
    linux_driver.XTermParser = LoneEscapes  # type: ignore[attr-defined]
