"""The widget that shows a stored preview: decoded off the UI thread, cached, idle while the cursor moves fast."""

from asyncio import sleep, wrap_future
from collections import OrderedDict
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, cast

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget

from catalogue.screens.background.threads import start_worker
from catalogue.screens.pictures.cells import MOST_BYTES, Cells, Colour, Drawing, Mark, fit_size
from catalogue.screens.pictures.strip import PictureStrip
from catalogue.screens.texts.formats import safe

if TYPE_CHECKING:
    from PIL.Image import Image

    from catalogue.screens.app import CatalogueApp
    from catalogue.sheets.layout import PrintLayout

Source = Path | bytes   # a stored preview, or one just made
# picture, columns, rows, palette, blocks, page's colour, most bytes, marks, layout
Wanted = tuple[Source, int, int, str, str, Colour, int, tuple[Mark, ...], "PrintLayout | None"]
CALM = 5       # rows whose colours are mixed into one while a panel lies over the picture
SETTLE = 0.06  # seconds the cursor must rest before a picture is decoded
SMALLER, SLOW_BYTES, SLOW_SETTLE = 0.6, 7_000, 0.4    # of sides, bytes, seconds: over a slow line
SHARP = 1200   # pixels along the long side of a print drawn for sharp graphics
KEPT = 48      # drawings kept, a fifth of a megabyte each on a large screen


class Drawings:
    """A cache of recent drawings; the least recently used are dropped."""

    def __init__(self, most: int = KEPT) -> None:
        self._most = most
        self._made: OrderedDict[Wanted, Drawing] = OrderedDict()

    def get(self, key: Wanted) -> Drawing | None:
        if key in self._made:
            self._made.move_to_end(key)
        return self._made.get(key)

    def put(self, key: Wanted, drawing: Drawing) -> None:
        self._made[key] = drawing
        while len(self._made) > self._most:
            self._made.popitem(last=False)


class Picture(Widget):
    """One preview, as high as its proportions ask; words in its place where there is none.

    ``below`` rows are left for what stands under it. ``most_bytes`` may go to the terminal for it, and it is drawn once
    it is wanted for ``settle_seconds``: less and later where it is a detail of something that moves fast.
    """

    DEFAULT_CSS = "Picture { width: 1fr; height: auto; min-height: 2; }"

    def __init__(self, *, below: int = 0, most_bytes: int = MOST_BYTES, settle_seconds: float = SETTLE,
                 id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._most_bytes, self._settle_seconds = most_bytes, settle_seconds
        self._below = below
        self._shape: tuple[int, int] | None = None
        self._path: Source | None = None
        self._words = ""
        self._marks: tuple[Mark, ...] = ()
        self._layout: PrintLayout | None = None
        self._drawing: Drawing | None = None
        self._sharp: Widget | None = None
        self._strips: list[Strip] | None = None
        self._strips_shown = True
        self._look: tuple[str, Style] | None = None     # palette and style it was drawn with

    def show(self, path: Source | None, words: str = "No preview", shape: tuple[int | None, int | None] | None = None,
             marks: tuple[Mark, ...] = (), layout: "PrintLayout | None" = None) -> None:
        """Show the picture at ``path``, of proportions ``shape`` (width, height); ``words`` where there is none.

        ``marks`` are rectangles to outline, as fractions of the picture. ``layout``: show the print made of it.
        """
        if path is not None and (path, marks, layout) == (self._path, self._marks, self._layout) \
                and self._drawing is not None:
            return
        self._marks, self._layout = marks, layout
        if layout is not None:
            shape = (round(layout.extent_size[0]), round(layout.extent_size[1]))
        self._path, self._words = path, words if path is None else ""
        known = (shape[0] or 0, shape[1] or 0) if shape else (0, 0)
        before = self._shape
        self._shape = known if all(known) else None
        if self._shape != before:
            self._drawing = None
            self._changed(layout=True)
        elif self.is_attached and self.app.screen is not self.screen:
            self._drawing = None    # a page that is about to be seen does not send the picture of the one before
            self._changed()
        self._redraw()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:  # noqa: ARG002 - Textual's
        """Rows for the picture's proportions at this width."""
        room = max(2, container.height - self._below)
        if self._shape is None or not width:
            return room
        return min(room, -(-fit_size(*self._shape, width, room)[1] // 2))

    def on_resize(self, _: events.Resize) -> None:
        self._redraw()

    def _redraw(self) -> None:
        if self._path is None or self._marks:
            self._clear_sharp()
        if self._path is None or not self.size.area:
            self._drawing = None
            self.workers.cancel_group(self, "drawing")
            self._changed()
            return
        app = cast("CatalogueApp", self.app)
        if app.sharp is not None and not self._marks:
            source, layout, columns, rows = self._path, self._layout, self.size.width, self.size.height
            start_worker(self, lambda: self._sharpen(source, layout, columns, rows), group="drawing")
            return
        background = self.background_colors[1]
        columns, rows, most_bytes = self.size.width, self.size.height, self._most_bytes
        if app.line_speed.slow:
            columns, rows = max(1, int(columns * SMALLER)), max(1, int(rows * SMALLER))
            most_bytes = min(most_bytes, SLOW_BYTES)
        key = (self._path, columns, rows, app.palette, app.blocks, background.rgb, most_bytes, self._marks,
               self._layout)
        ready = app.drawings.get(key)
        if ready is not None:
            self.workers.cancel_group(self, "drawing")
            self._drawing = ready
            self._changed()
            return
        start_worker(self, lambda: self._decode(key), group="drawing")

    async def _decode(self, key: Wanted) -> None:
        app = cast("CatalogueApp", self.app)
        await sleep(max(self._settle_seconds, SLOW_SETTLE if app.line_speed.slow else 0))
        try:
            drawing = await wrap_future(app.plain_threads["pictures"].submit(lambda _: _drawn(key)))
        except OSError:
            self._drawing, self._words = None, "The preview is missing: index this scan again"
        else:
            app.drawings.put(key, drawing)
            self._drawing = drawing
        self._changed()

    async def _sharpen(self, source: Source, layout: "PrintLayout | None", columns: int, rows: int) -> None:
        """Hand the decoded picture to the terminal's own graphics, in a widget over this one."""
        app = cast("CatalogueApp", self.app)
        await sleep(SETTLE)
        try:
            picture = await wrap_future(app.plain_threads["pictures"].submit(lambda _: _sharp_picture(source, layout)))
        except OSError:
            self._clear_sharp()
            self._drawing, self._words = None, "The preview is missing: index this scan again"
            self._changed()
            return
        assert app.sharp is not None
        width, height = fit_size(*picture.size, columns, rows)
        if self._sharp is None:
            self._sharp = app.sharp()
            await self.mount(self._sharp)
        self._sharp.styles.width, self._sharp.styles.height = width, max(1, height // 2)
        self._sharp.image = picture  # type: ignore[attr-defined]

    def _clear_sharp(self) -> None:
        if self._sharp is not None:
            self._sharp.remove()
            self._sharp = None

    def render_line(self, y: int) -> Strip:
        strips = self._rows()
        return strips[y] if y < len(strips) else Strip.blank(self.size.width, self.rich_style)

    def render_lines(self, crop: Region) -> list[Strip]:
        # Pictures have no border and know their colours: the rows go to the terminal as they are.
        drawn = self._rows()
        rows = [strip.crop(crop.x, crop.right) for strip in drawn[crop.y:crop.bottom]]
        return rows + [Strip.blank(crop.width, self.rich_style)] * (crop.height - len(rows))

    def _rows(self) -> list[Strip]:
        """Rows on the present background, made once for every drawing; calm while a panel lies over them."""
        shown = self.app.screen is self.screen
        if self._strips is None or self._strips_shown != shown:
            self._strips, self._strips_shown = self._drawn(self.rich_style, shown), shown
        return self._strips

    def notify_style_update(self) -> None:
        super().notify_style_update()
        if not self.is_attached or not self.size.area:
            self._strips = None
            return
        look = cast("CatalogueApp", self.app).palette, self.rich_style
        if look != self._look:      # Textual finds styles again whenever any screen is made; a theme changes them
            self._look = look
            self._strips = None
            self._redraw()

    def _changed(self, *, layout: bool = False) -> None:
        self._strips = None
        self.refresh(layout=layout)

    def _drawn(self, style: Style, shown: bool) -> list[Strip]:
        width = self.size.width
        if self._drawing is None:
            words = safe(self._words)
            rows = [Strip([Segment(words, style + Style(dim=True))])] if words else []
            return [row.crop_extend(0, width, style) for row in rows]
        drawn = self._drawing.rows
        if not shown:
            tones = calm_tones([row.mean for row in drawn if isinstance(row, Cells)])
            if tones:
                return [Strip([Segment(" " * min(self._drawing.width, width), Style(bgcolor=f"rgb({r},{g},{b})"))]
                              ).crop_extend(0, width, style) for r, g, b in tones]
        return [Strip([Segment(row, style)]).crop_extend(0, width, style) if isinstance(row, str)
                else PictureStrip(row if len(row) <= width else row.part(0, width), width, style) for row in drawn]


def calm_tones(means: Sequence[Colour]) -> list[Colour]:
    """What stands for each row of a picture behind a panel: one tone, that of a few rows around it.

    A panel may be over it for long and be drawn many times: a tone a row costs next to nothing, and does not distract.
    """
    tones = []
    for at in range(len(means)):
        near = means[max(0, at - CALM // 2):at + CALM // 2 + 1]
        red, green, blue = (sum(channel) // len(near) for channel in zip(*near, strict=True))
        tones.append((red, green, blue))
    return tones


def _drawn(wanted: Wanted) -> Drawing:
    """The drawing. Raises OSError."""
    from catalogue.screens.pictures.drawing import draw_file  # loaded in the drawing thread, after the first list

    path, columns, rows, palette, blocks, page, most_bytes, marks, layout = wanted
    return draw_file(path, columns, rows, palette=palette, blocks=blocks, page=page, marks=marks, layout=layout,
                     most_bytes=most_bytes)


def _sharp_picture(source: Source, layout: "PrintLayout | None") -> "Image":
    """The picture for the terminal's own graphics. Raises OSError."""
    from catalogue.screens.pictures.drawing import open_picture
    from catalogue.screens.pictures.print_drawing import drawn_print

    picture = open_picture(source)
    if layout is None:
        return picture
    across, down = layout.extent_size
    scale = SHARP / max(across, down)
    return drawn_print(picture, layout, (max(1, round(across * scale)), max(1, round(down * scale))))
