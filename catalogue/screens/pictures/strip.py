"""A row of a picture as a Textual strip, made of the bytes the terminal gets."""

from collections.abc import Iterable, Sequence

from rich.color import ColorSystem
from rich.console import Console
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from catalogue.screens.pictures.cells import Cells


class PictureStrip(Strip):
    """Cells of a picture, at most ``width`` of them, and blanks up to ``width``.

    Nothing is made of single cells unless somebody wants them one by one, such as a picture of the screen.
    """

    __slots__ = ("_cells", "_ground", "_made")

    def __init__(self, cells: Cells, width: int, background: Style) -> None:
        assert len(cells) <= width, "the terminal would get more than there is room for"
        self._cells, self._ground = cells, background
        self._made: list[Segment] = []
        super().__init__((), width)

    @property
    def _segments(self) -> list[Segment]:
        if not self._made:
            self._made = [*self._cells.segments(), Segment(self._blanks, self._ground)]
        return self._made

    @_segments.setter
    def _segments(self, made: list[Segment]) -> None:
        self._made = made

    @property
    def _blanks(self) -> str:
        return " " * (self.cell_length - len(self._cells))

    def render(self, console: Console) -> str:
        if console.color_system != "truecolor":
            return super().render(console)
        return self._cells.sequence + self._ground.render(self._blanks, color_system=ColorSystem.TRUECOLOR)

    def crop(self, start: int, end: int | None = None) -> Strip:
        start, end = max(0, start), self.cell_length if end is None else min(self.cell_length, end)
        if (start, end) == (0, self.cell_length):
            return self
        return PictureStrip(self._cells.part(start, end), max(0, end - start), self._ground)

    def divide(self, cuts: Iterable[int]) -> Sequence[Strip]:
        ends = [cut for cut in cuts if cut <= self.cell_length]
        return [self.crop(start, end) for start, end in zip([0, *ends], ends, strict=False)]
