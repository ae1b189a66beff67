"""Where everything is on a print: the finished size, the border or wrap, the picture, what is cropped. Pure."""

from dataclasses import dataclass

from catalogue.ledger.fit import picture_wraps
from catalogue.print_files.layout import Box, Layout, layout_of, turned_part
from catalogue.print_files.recipe import Recipe
from catalogue.reading.printsize import MM_PER_INCH

Rect = tuple[float, float, float, float]    # left, top, right, bottom


@dataclass(frozen=True, slots=True)
class PrintLayout:
    """Rectangles in mm, right and down from the top left corner of the finished print.

    ``sheet`` is the paper or canvas with what wraps round the edges; ``picture`` is where the picture is printed;
    ``scan`` is where the whole scan would lie, after its ``turn`` (degrees clockwise): what reaches beyond ``picture``
    is cropped. Folds, where there is a wrap, run along ``finished``. The rest is known of a print file's recipe:
    ``paper`` is the whole file, ``bleed`` reaches over wrap and bleed; there the picture's edge is mirrored, with
    ``stretch`` millimetres for one of the edge's, or one colour is laid (``edge_levels``); ``marks`` are black.
    """

    finished: Rect
    sheet: Rect
    picture: Rect
    scan: Rect
    turn: int = 0
    paper: Rect | None = None
    bleed: Rect | None = None
    stretch: float = 0.0
    edge_levels: tuple[int, ...] = ()
    marks: tuple[Rect, ...] = ()

    @property
    def wrapped(self) -> bool:
        """Whether the edges are folded over the stretcher."""
        return self.sheet != self.finished

    @property
    def bordered(self) -> bool:
        """Whether a white border lies round the picture."""
        return self.picture[0] > self.finished[0]

    @property
    def cropped(self) -> bool:
        """Whether a strip at least half a per cent of the scan's width is cropped."""
        across, down = width(self.scan), height(self.scan)
        return across - width(self.picture) > 0.005 * across or down - height(self.picture) > 0.005 * down

    @property
    def extent(self) -> Rect:
        """What a drawing of all of it needs: paper and scan."""
        paper = self.paper or self.sheet
        return (min(paper[0], self.scan[0]), min(paper[1], self.scan[1]),
                max(paper[2], self.scan[2]), max(paper[3], self.scan[3]))

    @property
    def part(self) -> Rect:
        """What is printed of the scan after its turn, as fractions of it."""
        left, top, across, down = *self.scan[:2], width(self.scan), height(self.scan)
        return ((self.picture[0] - left) / across, (self.picture[1] - top) / down,
                (self.picture[2] - left) / across, (self.picture[3] - top) / down)

    @property
    def extent_size(self) -> tuple[float, float]:
        """Width and height of the extent in mm."""
        return width(self.extent), height(self.extent)


def width(rect: Rect) -> float:
    return rect[2] - rect[0]


def height(rect: Rect) -> float:
    return rect[3] - rect[1]


def grown(rect: Rect, margin: float) -> Rect:
    """``rect`` enlarged by ``margin`` on every side; reduced if it is negative."""
    return rect[0] - margin, rect[1] - margin, rect[2] + margin, rect[3] + margin


def print_layout(width_mm: float, height_mm: float, *, border_mm: float = 0.0, wrap_mm: float = 0.0, edge: str = "",
                 scan_size: tuple[float, float] | None = None) -> PrintLayout:
    """The layout of a print of finished size ``width_mm`` × ``height_mm``, as it hangs.

    A border lies within the finished size, a wrap beyond it. The picture fills what the border leaves, or runs over
    the wrap unless ``edge`` is mirrored or plain. A scan of other proportions is centred and cropped; ``scan_size``
    is its width and height in any unit, and without it nothing is cropped.
    """
    finished = (0.0, 0.0, width_mm, height_mm)
    picture = grown(finished, -border_mm if border_mm else wrap_mm if picture_wraps(edge) else 0.0)
    scan = picture
    if scan_size is not None:
        across, down = width(picture), height(picture)
        scale = max(across / scan_size[0], down / scan_size[1])
        beside, above = (scan_size[0] * scale - across) / 2, (scan_size[1] * scale - down) / 2
        scan = (picture[0] - beside, picture[1] - above, picture[2] + beside, picture[3] + above)
    return PrintLayout(finished, grown(finished, wrap_mm), picture, scan)


def in_mm(box: Box, layout: Layout, ppi: int) -> Rect:
    """A box of a print file in mm from the top left corner of the finished print."""
    mm, left, top = MM_PER_INCH / ppi, layout.finished.left, layout.finished.top
    return (box.left - left) * mm, (box.top - top) * mm, (box.right - left) * mm, (box.bottom - top) * mm


def recipe_layout(recipe: Recipe, scan_width: int, scan_height: int) -> PrintLayout:
    """The layout of a recipe's print file, with its rounding to whole pixels, for a scan of that size as shown.

    Raises Refused as :func:`catalogue.print_files.layout.layout_of`.
    """
    made = layout_of(recipe, scan_width, scan_height)
    finished, picture = in_mm(made.finished, made, recipe.ppi), in_mm(made.picture, made, recipe.ppi)
    source = made.source
    left, top, across, down = turned_part((source.left, source.top, source.width, source.height), recipe.turn,
                                          (scan_width, scan_height))
    size = (scan_width, scan_height) if recipe.turn in (0, 180) else (scan_height, scan_width)
    x, y = width(picture) / across, height(picture) / down      # mm of a pixel of the scan
    scan_left, scan_top = picture[0] - left * x, picture[1] - top * y
    outer = grown(finished, recipe.wrap_mm + recipe.bleed_mm)
    beyond, stretch = recipe.wrap_mm + recipe.bleed_mm, 0.0
    if made.filled != made.picture and beyond:
        stretch = recipe.stretch_mm / beyond if recipe.edge == "stretched" else 1.0
    return PrintLayout(
        finished, grown(finished, recipe.wrap_mm), picture,
        (scan_left, scan_top, scan_left + size[0] * x, scan_top + size[1] * y), recipe.turn,
        in_mm(Box(0, 0, made.width, made.height), made, recipe.ppi), outer if beyond else None, stretch,
        (recipe.levels or ((255,) if recipe.edge_colour == "white" else (0,))) if made.colour else (),
        tuple(in_mm(mark, made, recipe.ppi) for mark in made.marks))
