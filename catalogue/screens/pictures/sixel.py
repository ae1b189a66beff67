"""Pictures as sixels, encoded off the screen's thread and laid over their cells.

The encoder is textual-image's; its own widget encodes on the screen's thread, a tenth of a second for each picture.
"""

import re
from asyncio import wrap_future
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, cast

from rich.console import Console
from rich.segment import Segment
from textual import events
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from catalogue.screens.background.threads import start_worker

if TYPE_CHECKING:
    from PIL.Image import Image

    from catalogue.screens.app import CatalogueApp

DEFINITION = re.compile(r"#(\d+);2;\d+;\d+;\d+")


def sixels(picture: "Image", columns: int, rows: int) -> str:
    """The picture in this many cells, as sent to the terminal."""
    from textual_image.renderable import SixelImage

    console = Console(width=columns, height=rows, force_terminal=True)
    parts = [segment.text for segment in console.render(SixelImage(picture, columns, rows))]
    data = next(part for part in parts if part.startswith("\x1bP"))
    # For xterm to define a colour is not yet to choose it (as the VT340 has it); the encoder counts on both.
    return DEFINITION.sub(r"\g<0>#\1", data)


class Covered(Strip):
    """Cells that are left as they are, since a picture lies over them; the last of them may bring the picture."""

    __slots__ = ("_brings",)

    def __init__(self, width: int, brings: str = "") -> None:
        super().__init__([Segment(" " * width)], width)
        self._brings = brings

    def render(self, console: Console) -> str:  # noqa: ARG002 - Textual's
        return f"{self._brings}\x1b[{self.cell_length}C" if self.cell_length else self._brings

    def crop(self, start: int, end: int | None = None) -> Strip:
        end = self.cell_length if end is None else min(end, self.cell_length)
        return Covered(max(0, end - max(0, start)), self._brings if end == self.cell_length else "")

    def divide(self, cuts: Iterable[int]) -> Sequence[Strip]:
        ends = [cut for cut in cuts if cut <= self.cell_length]
        return [self.crop(start, end) for start, end in zip([0, *ends], ends, strict=False)]


class SixelPicture(Widget):
    """Shows ``image``, a Pillow picture, once it is encoded; until then what it showed before."""

    def __init__(self, image: object = None) -> None:
        super().__init__()
        self._image = image
        self._data = ""

    @property
    def image(self) -> object:
        return self._image

    @image.setter
    def image(self, picture: object) -> None:
        self._image = picture
        self._encode()

    def on_resize(self, _: events.Resize) -> None:
        self._data = ""
        self._encode()

    def _encode(self) -> None:
        if self._image is not None and self.size.area:
            start_worker(self, self._encoded, group="sixels")

    async def _encoded(self) -> None:
        app = cast("CatalogueApp", self.app)
        picture, (columns, rows) = cast("Image", self._image), self.size
        self._data = await wrap_future(app.plain_threads["pictures"].submit(lambda _: sixels(picture, columns, rows)))
        self.refresh()

    def render(self) -> str:
        return ""

    def render_lines(self, crop: Region) -> list[Strip]:
        if not self._data or self.app.screen is not self.screen:  # nothing shows through a panel
            return super().render_lines(crop)
        region = self.region
        brings = f"\x1b7\x1b[{region.y + 1};{region.x + 1}H{self._data}\x1b8"
        return [*(Covered(crop.width) for _ in range(crop.height - 1)), Covered(crop.width, brings)]
