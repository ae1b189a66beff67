"""A picture drawn into terminal cells: block signs in two colours, or shades where the terminal has few colours.

Pure: knows no widget and no catalogue.
"""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from catalogue.screens.pictures.blocks import ACROSS, BLOCKS, DOWN, Blocks, fit_within
from catalogue.screens.pictures.cells import MOST_BYTES, Cells, Colour, Drawing, Mark, cells, fit_size
from catalogue.screens.pictures.print_drawing import RED, WHITE, drawn_print

if TYPE_CHECKING:
    from catalogue.sheets.layout import PrintLayout

RAMP = " .:-=+*#%@"  # more and more ink, for terminals without colours; plain ASCII reads in every font
PAGE: Colour = (0, 0, 0)
LINE = 2    # samples of a line across a picture, half a cell wide


def draw_file(source: Path | bytes, columns: int, rows: int, *, palette: str, marks: tuple[Mark, ...] = (),
              layout: "PrintLayout | None" = None, blocks: str = "quadrants", page: Colour = PAGE,
              most_bytes: int = MOST_BYTES) -> Drawing:
    """The picture at (or in) ``source`` drawn into at most ``columns`` × ``rows`` cells, with ``marks`` outlined.

    ``palette`` is one of PALETTES, ``blocks`` a name in BLOCKS. ``layout``: draw the print that is made of it.
    ``page``: the colour around it, seen where it ends within a cell. ``most_bytes``: to keep to, about.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    return draw_picture(open_picture(source), columns, rows, palette=palette, marks=marks, layout=layout,
                        blocks=blocks, page=page, most_bytes=most_bytes)


def open_picture(source: Path | bytes) -> Image.Image:
    """The picture at (or in) ``source``, decoded.

    Raises:
        OSError: it cannot be read or is no picture.
    """
    with Image.open(BytesIO(source) if isinstance(source, bytes) else source) as picture:
        return picture.convert("RGB")


def draw_picture(picture: Image.Image, columns: int, rows: int, *, palette: str, marks: tuple[Mark, ...] = (),
                 layout: "PrintLayout | None" = None, blocks: str = "quadrants", page: Colour = PAGE,
                 most_bytes: int = MOST_BYTES) -> Drawing:
    """A picture in memory drawn into at most ``columns`` × ``rows`` cells; see :func:`draw_file`."""
    shape: tuple[float, float] = picture.size if layout is None else layout.extent_size
    width, height = fit_size(shape[0], shape[1], columns, rows)
    if palette != "colours":
        size = (width, max(1, round(height / 2)))
        small = (drawn_print(picture, layout, size, WHITE).convert("L") if layout is not None else
                 picture.convert("L").resize(size, Image.Resampling.BOX))
        _outline(small, marks, 255, 1)
        return Drawing(width, tuple(_shades(small, RAMP if palette == "light on dark" else RAMP[::-1])))
    size = (width * ACROSS, height * DOWN // 2)
    # Means of areas: two colours fitted to them are fitted to the picture itself, as to squared error.
    small = (drawn_print(picture, layout, size, thickness=LINE) if layout is not None else
             picture.resize(size, Image.Resampling.BOX))
    _outline(small, marks, RED, LINE)
    return Drawing(width, tuple(_coloured(small, BLOCKS[blocks], page, most_bytes)))


def _outline(picture: Image.Image, marks: tuple[Mark, ...], foreground: int | Colour, thickness: int) -> None:
    """Outline marks in place. Lines of LINE samples come to lie at the edges of cells and their halves, where a sign
    can draw them whole."""
    width, height = picture.size
    for left, top, right, bottom in marks:
        x, y = min(int(left * width), width - 1), min(int(top * height), height - 1)
        x_end, y_end = max(x, min(int(right * width), width - 1)), max(y, min(int(bottom * height), height - 1))
        if thickness == LINE:
            x, x_end = x - x % LINE, x_end - x_end % LINE + LINE - 1
            y = y - y % DOWN + (0 if y % DOWN < DOWN // 2 else DOWN - LINE)
            y_end = y_end - y_end % DOWN + (LINE if y_end % DOWN < DOWN // 2 else DOWN) - 1
        ImageDraw.Draw(picture).rectangle((x, y, x_end, max(y, y_end)), outline=foreground, width=thickness)


def _coloured(picture: Image.Image, kind: Blocks, page: Colour, most_bytes: int) -> Iterator[Cells]:
    """Rows of cells; the last one may be in part the page's."""
    fitted = fit_within(np.asarray(picture), kind, most_bytes, page)
    for patterns, foreground, background in zip(fitted.patterns.tolist(), fitted.foreground, fitted.background,
                                                strict=True):
        yield cells("".join(map(kind.signs.__getitem__, patterns)), foreground.tobytes(), background.tobytes())


def _shades(picture: Image.Image, ramp: str) -> Iterator[str]:
    width, height = picture.size
    data = picture.tobytes()
    for y in range(height):
        yield "".join(ramp[value * len(ramp) // 256] for value in data[y * width:(y + 1) * width])
