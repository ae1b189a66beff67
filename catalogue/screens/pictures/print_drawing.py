"""A print as it will be, drawn over its scan: what is cropped dimmed, border, wrap and bleed, folds, marks.

Pure: knows no widget and no catalogue. The places are those of the job sheet, :mod:`catalogue.sheets.layout`.
"""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from PIL.ImageDraw import ImageDraw as Pen

from catalogue.screens.pictures.cells import Colour

if TYPE_CHECKING:
    from catalogue.sheets.layout import PrintLayout, Rect

Box = tuple[int, int, int, int]     # left, top, right, bottom in pixels, right and bottom not in it

RED: Colour = (255, 60, 40)
WHITE: Colour = (255, 255, 255)
BLACK: Colour = (0, 0, 0)
BARE: Colour = (242, 242, 242)      # canvas without picture, as on the job sheet
AROUND: Colour = (96, 96, 96)
CROPPED = 0.65                      # how far what is cropped fades into AROUND


def drawn_print(picture: Image.Image, layout: "PrintLayout", size: tuple[int, int], line: Colour = RED,
                thickness: int = 0) -> Image.Image:
    """``picture`` (RGB, the whole scan) laid out and marked, ``size`` pixels across and down.

    ``thickness`` of the lines in pixels; 0 is a 300th of the width.

    The edge of the finished print is a solid line where it is a fold or a cut through the picture; where a wrap ends,
    or a bleed is cut off, the line is broken.
    """
    extent = layout.extent
    across, down = size[0] / layout.extent_size[0], size[1] / layout.extent_size[1]

    def box(rect: "Rect") -> Box:
        left, top = round((rect[0] - extent[0]) * across), round((rect[1] - extent[1]) * down)
        return (left, top, max(left + 1, round((rect[2] - extent[0]) * across)),
                max(top + 1, round((rect[3] - extent[1]) * down)))

    scan, seen = box(layout.scan), box(layout.picture)
    turned = picture.rotate(-layout.turn, expand=True) if layout.turn else picture
    whole = turned.resize((scan[2] - scan[0], scan[3] - scan[1]), Image.Resampling.LANCZOS)
    made = Image.new("RGB", size, AROUND)
    made.paste(Image.blend(whole, Image.new("RGB", whole.size, AROUND), CROPPED), scan[:2])
    if layout.paper:
        made.paste(WHITE, box(layout.paper))
    elif layout.wrapped:
        made.paste(BARE, box(layout.sheet))
    if layout.bordered:
        made.paste(WHITE, box(layout.finished))
    if layout.edge_levels and layout.bleed:
        made.paste(_colour(layout.edge_levels), box(layout.bleed))
    part = whole.crop((seen[0] - scan[0], seen[1] - scan[1], seen[2] - scan[0], seen[3] - scan[1]))
    if layout.stretch and layout.bleed:
        made.paste(_with_edge(part, seen, box(layout.bleed), layout.stretch), box(layout.bleed)[:2])
    else:
        made.paste(part, seen[:2])
    thick = thickness or max(1, size[0] // 300)
    pen = ImageDraw.Draw(made)
    if layout.wrapped or layout.bleed:
        _broken(pen, box(layout.sheet), line, thick)
    if layout.wrapped or (layout.cropped and not layout.bordered):
        left, top, right, bottom = box(layout.finished)
        pen.rectangle((left, top, right - 1, bottom - 1), outline=line, width=thick)
    for mark in layout.marks:
        made.paste(BLACK, box(mark))
    return made


def _with_edge(part: Image.Image, seen: Box, filled: Box, stretch: float) -> Image.Image:
    """``part``, which is at ``seen``, continued to ``filled`` by its mirrored edge, of which ``stretch`` pixels
    cover one."""
    def taken(start: int, stop: int, size: int) -> NDArray[np.intp]:
        positions = np.arange(start, stop) + 0.5
        inside = np.where(positions < 0, -positions * stretch,
                          np.where(positions > size, size - (positions - size) * stretch, positions))
        return np.clip(np.floor(inside), 0, size - 1).astype(np.intp)

    rows = taken(filled[1] - seen[1], filled[3] - seen[1], part.height)
    columns = taken(filled[0] - seen[0], filled[2] - seen[0], part.width)
    return Image.fromarray(np.asarray(part)[np.ix_(rows, columns)])


def _colour(levels: tuple[int, ...]) -> Colour:
    """Levels of grey, RGB or CMYK as they look on screen, about."""
    if len(levels) == 4:
        red, green, blue = ((255 - level) * (255 - levels[3]) // 255 for level in levels[:3])
    else:
        red, green, blue = levels if len(levels) == 3 else levels[:1] * 3
    return red, green, blue


def _broken(pen: Pen, box: Box, line: Colour, thick: int) -> None:
    """A rectangle's outline in dashes of three thicknesses and gaps of two."""
    left, top, right, bottom = box[0], box[1], box[2] - 1, box[3] - 1
    dash, step = 3 * thick - 1, 5 * thick
    for x in range(left, right + 1, step):
        end = min(x + dash, right)
        pen.rectangle((x, top, end, top + thick - 1), fill=line)
        pen.rectangle((x, bottom - thick + 1, end, bottom), fill=line)
    for y in range(top, bottom + 1, step):
        end = min(y + dash, bottom)
        pen.rectangle((left, y, left + thick - 1, end), fill=line)
        pen.rectangle((right - thick + 1, y, right, end), fill=line)
