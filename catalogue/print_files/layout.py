"""Where everything is on a print file, in whole pixels, and which part of the master it shows. Pure."""

from collections.abc import Callable
from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.print_files.recipe import Recipe
from catalogue.reading.printsize import pixels_for

MOST_PIXELS = 1 << 33
ENLARGED = 1.005    # less than half a percent is rounding
# Corner and fold marks: common practice, for ISO 12647 was not at hand. CSS 2 (W3C 1998, 13.2.3) has crop marks just
# outside the edge that is cut; DocBook XSL 1.78's are 0.5 pt thick and run from 6 to 24 pt (2.1 to 8.5 mm) beyond it.
MARK_GAP_MM, CORNER_MARK_MM, FOLD_MARK_MM, MARK_WIDTH_MM = 2.0, 6.0, 3.0, 0.1


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle in pixels, right and down from the top left corner."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.left + self.width

    @property
    def bottom(self) -> int:
        return self.top + self.height

    def grown(self, margin: int) -> "Box":
        """With ``margin`` more on every side."""
        return Box(self.left - margin, self.top - margin, self.width + 2 * margin, self.height + 2 * margin)


@dataclass(frozen=True, slots=True)
class Source:
    """The part of the master as shown that is printed: left, top, width, height, in pixels and fractions of them."""

    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Layout:
    """A print file in pixels. ``picture`` is where the master's part lies; ``filled`` reaches over wrap and bleed where
    these are made from the picture's edge; ``colour`` is the area that has the edge's colour, if any. Outside them the
    file is white. ``marks`` are black. ``ppi_there`` is what the master has at this size, the lesser of both ways."""

    width: int
    height: int
    finished: Box
    picture: Box
    filled: Box
    colour: Box | None
    marks: tuple[Box, ...]
    source: Source
    strip: int              # pixels of the picture's edge that are stretched over wrap and bleed
    ppi_there: float

    @property
    def picture_alone(self) -> bool:
        """Whether the picture has no surround."""
        return self.filled == self.picture == Box(0, 0, self.width, self.height)


def layout_of(recipe: Recipe, width: int, height: int) -> Layout:
    """The layout for a master that is ``width`` × ``height`` pixels as shown.

    Raises Refused if the crop reaches beyond the master, or nothing is left to print.
    """
    def px(mm: float) -> int:
        return pixels_for(mm, recipe.ppi)

    beyond = px(recipe.wrap_mm) + px(recipe.bleed_mm)
    margin = px(CORNER_MARK_MM) + px(MARK_GAP_MM) if recipe.marks else 0
    finished = Box(beyond + margin, beyond + margin, px(recipe.width_mm), px(recipe.height_mm))
    border = px(recipe.border_mm)
    outer = finished.grown(beyond)
    runs_on = recipe.edge == "continued" and not border
    room = finished.grown(-border) if border else outer if runs_on else finished
    if room.width < 1 or room.height < 1:
        raise Refused(f"A border of {recipe.border_mm:g} mm leaves no room for the picture." if border
                      else "At this resolution the print has no pixels.")
    total = outer.grown(margin)
    if total.width * total.height > MOST_PIXELS:
        raise Refused(f"{total.width:,} × {total.height:,} pixels are too many for a print file.",
                      hint="Lower the resolution.")
    source, picture = _source_and_picture(recipe, width, height, room)
    from_edge = recipe.edge in ("mirrored", "stretched") and not border
    if from_edge and picture != room:
        raise Refused("A picture that is shown whole on white has no edge to mirror.",
                      hint="Fill the print, or choose a colour for the edge.")
    strip = px(recipe.stretch_mm) if recipe.edge == "stretched" else beyond
    if from_edge and beyond and not 1 <= strip <= min(picture.width, picture.height):
        raise Refused("The picture is too small for its edge to cover wrap and bleed.")
    across = (source.width, source.height) if recipe.turn in (0, 180) else (source.height, source.width)
    there = min(across[0] / picture.width, across[1] / picture.height) * recipe.ppi
    return Layout(total.width, total.height, finished, picture, outer if from_edge else picture,
                  outer if recipe.edge == "colour" and not border and beyond else None,
                  _marks(recipe, finished, outer, px), source, strip, there)


def _source_and_picture(recipe: Recipe, width: int, height: int, room: Box) -> tuple[Source, Box]:
    """The part of the master and where it lies: cut centrally to the room's proportions, or whole within it."""
    left, top, across, down = recipe.crop or (0, 0, width, height)
    if left + across > width or top + down > height:
        raise Refused(f"The crop reaches beyond the master, which has {width:,} × {height:,} pixels.")
    upright = recipe.turn in (0, 180)
    wide, high = (room.width, room.height) if upright else (room.height, room.width)   # in the master's directions
    if recipe.fit == "whole":
        scale = min(wide / across, high / down)
        size = max(1, min(wide, round(across * scale))), max(1, min(high, round(down * scale)))
        shown = size if upright else size[::-1]
        return Source(left, top, across, down), Box(room.left + (room.width - shown[0]) // 2,
                                                    room.top + (room.height - shown[1]) // 2, *shown)
    part_across, part_down = min(across, down * wide / high), min(down, across * high / wide)
    return Source(left + (across - part_across) / 2, top + (down - part_down) / 2, part_across, part_down), room


def _marks(recipe: Recipe, finished: Box, outer: Box, px: Callable[[float], int]) -> tuple[Box, ...]:
    """Corner marks at the lines of cutting (the wrap's outer edge, without bleed), fold marks at the finished edges;
    all of them outside wrap and bleed."""
    if not recipe.marks:
        return ()
    cut = outer.grown(-px(recipe.bleed_mm))
    made = _ticks(cut, outer, px(MARK_GAP_MM), px(CORNER_MARK_MM), max(1, px(MARK_WIDTH_MM)))
    if recipe.wrap_mm:
        made += _ticks(finished, outer, px(MARK_GAP_MM), px(FOLD_MARK_MM), max(1, px(MARK_WIDTH_MM)))
    return tuple(box for box in made if box.width > 0 and box.height > 0)


def _ticks(lines: Box, outer: Box, gap: int, length: int, thick: int) -> list[Box]:
    """Eight ticks that point at the corners of ``lines`` from outside ``outer``. A tick lies on the outer side of its
    line, so that a cut along its inner side is a cut along the line."""
    made = []
    for x in (lines.left - thick, lines.right):
        made += [Box(x, outer.top - gap - length, thick, length), Box(x, outer.bottom + gap, thick, length)]
    for y in (lines.top - thick, lines.bottom):
        made += [Box(outer.left - gap - length, y, length, thick), Box(outer.right + gap, y, length, thick)]
    return made


def turned_part(part: tuple[float, float, float, float], degrees: int, size: tuple[float, float]
                ) -> tuple[float, float, float, float]:
    """A part (left, top, width, height) of a picture of ``size``, on the picture once it is turned clockwise by
    quarters."""
    left, top, width, height = part
    right, below = size[0] - left - width, size[1] - top - height
    return {0: part, 90: (below, left, height, width), 180: (right, below, width, height),
            270: (top, right, height, width)}[degrees % 360]
