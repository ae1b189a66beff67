"""The widget that shows a stored preview: decoded off the thread, cached, quiet while the cursor runs."""

from asyncio import sleep, wrap_future
from collections import OrderedDict
from pathlib import Path
from typing import TYPE_CHECKING, cast

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.strip import Strip
from textual.widget import Widget

from catalogue.screens.drawing import Drawing, draw
from catalogue.screens.wording import safe

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp

SETTLE = 0.06  # seconds the cursor must rest before a picture is decoded
KEPT = 160     # drawings kept; at most about 100 kB each


class Drawings:
    """The drawings made lately, least recently used go first."""

    def __init__(self, kept: int = KEPT) -> None:
        self._kept = kept
        self._made: OrderedDict[tuple[Path, int, int, bool], Drawing] = OrderedDict()

    def get(self, key: tuple[Path, int, int, bool]) -> Drawing | None:
        if key in self._made:
            self._made.move_to_end(key)
        return self._made.get(key)

    def put(self, key: tuple[Path, int, int, bool], drawing: Drawing) -> None:
        self._made[key] = drawing
        while len(self._made) > self._kept:
            self._made.popitem(last=False)


class Picture(Widget):
    """One preview, standing on what is below it; words in its place where there is none."""

    DEFAULT_CSS = "Picture { width: 1fr; height: 1fr; min-height: 4; }"

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._path: Path | None = None
        self._words = ""
        self._drawing: Drawing | None = None

    def show(self, path: Path | None, words: str = "No preview") -> None:
        """Show the picture at ``path``; ``words`` where there is none."""
        if path == self._path and self._drawing is not None:
            return
        self._path, self._words = path, words if path is None else ""
        self._redraw()

    def on_resize(self, _: events.Resize) -> None:
        self._redraw()

    def _redraw(self) -> None:
        if self._path is None or not self.size.area:
            self._drawing = None
            self.workers.cancel_group(self, "drawing")
            self.refresh()
            return
        app = cast("CatalogueApp", self.app)
        key = (self._path, self.size.width, self.size.height, app.has_colours)
        ready = app.drawings.get(key)
        if ready is not None:
            self.workers.cancel_group(self, "drawing")
            self._drawing = ready
            self.refresh()
            return
        self.run_worker(self._decode(key), group="drawing", exclusive=True, exit_on_error=False)

    async def _decode(self, key: tuple[Path, int, int, bool]) -> None:
        app = cast("CatalogueApp", self.app)
        await sleep(SETTLE)
        path, columns, rows, colours = key
        try:
            drawing = await wrap_future(app.picture_lane.ask(
                lambda _: draw(path, columns, rows, colours=colours)))
        except OSError:
            self._drawing, self._words = None, "The preview is not there: index this scan again"
        else:
            app.drawings.put(key, drawing)
            self._drawing = drawing
        self.refresh()

    def render_line(self, y: int) -> Strip:
        width, height = self.size
        style = self.rich_style
        if self._drawing is None:
            words = safe(self._words)[:width]
            return self._padded((Segment(words, style + Style(dim=True)),), len(words), width, style) \
                if y == height - 1 and words else Strip.blank(width, style)
        top = height - len(self._drawing.rows)  # the picture stands on its label
        if not top <= y < top + len(self._drawing.rows):
            return Strip.blank(width, style)
        row = self._drawing.rows[y - top]
        if (row and row[0].style is None) or len(self._drawing.rows) == y - top + 1:
            row = tuple(Segment(text, style + given if given else style) for text, given, _ in row)
        return self._padded(row, self._drawing.width, width, style)

    @staticmethod
    def _padded(row: tuple[Segment, ...], used: int, width: int, style: Style) -> Strip:
        return Strip([*row, Segment(" " * max(0, width - used), style)], max(width, used)).crop(0, width)
