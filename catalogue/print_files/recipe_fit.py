"""The recipe of an old print file, from where its master's picture lies on it and what surrounds the picture. Pure.

Around the picture a recipe puts marks on white, then wrap and bleed (the picture's edge mirrored or stretched, or a
colour) or a white border, as wide on every side. Which of these and how wide is told by drawing each on some rows and
columns of the reduced print file and taking what departs least. What leaves no trace is assumed: the kernel, and a wrap
over which the picture runs on; an order line whose print has this very shape says the latter.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from catalogue.errors import Refused
from catalogue.print_files.layout import CORNER_MARK_MM, FOLD_MARK_MM, MARK_GAP_MM, MARK_WIDTH_MM, layout_of
from catalogue.print_files.placement import Light, Placement, Sides
from catalogue.print_files.recipe import Recipe
from catalogue.print_files.surround import WHITE, Surround, surround_of
from catalogue.reading.printsize import MM_PER_INCH, pixels_for

USUAL_BLEED_MM = 8.0    # a mirrored edge up to here is a bleed, beyond it a wrap; common practice, no source
WHITE_SHARE, MARK_SHARE = 0.97, 0.5  # of the margin that is white; of the ink of corner marks that is there
STEPS_MM = (1.0, 0.5, 0.1, 0.01)     # lengths that people choose, plainest first
SAME_MM = 0.3                       # lengths that differ by less are one length, rounded to pixels
EDGE_APART = 6.0                    # levels of 255 on average that what surrounds the picture may depart by


@dataclass(frozen=True, slots=True)
class PrintShape:
    """Size, border, wrap and edge of a print as an order line says them, its sides in either order."""

    width_mm: float
    height_mm: float
    border_mm: float
    wrap_mm: float


def fit_recipe(placement: Placement, printed: Light, colours: NDArray[np.uint8], size: tuple[int, int], ppi: int,
               plain: Recipe, ordered: Sequence[PrintShape] = ()) -> Recipe:
    """The recipe by which a print file of ``size`` pixels came from its master.

    ``printed``: its lightness, 0–255, reduced; ``colours``: levels of all channels at the same size. ``plain`` holds
    what is known already: master, bits, profile. Raises Refused if no recipe makes such a file.
    """
    precision = max(1.0, size[0] / printed.shape[1])
    margin, bleed, beyond = _marks(printed, size, ppi)
    sides = placement.picture
    insets = (sides[0], sides[1], size[0] - sides[2], size[1] - sides[3])
    whole = _shown_whole(placement, insets, precision)
    if whole:
        edges = placement.whole
        surround = Surround("white", max(0, round(min(edges[0], edges[1], size[0] - edges[2], size[1] - edges[3]))))
    else:
        surround = surround_of(placement, printed, size, margin, precision, ppi, min(insets))
        if surround.deviation > EDGE_APART:
            raise Refused("What surrounds the picture on this file is not border, mirrored or stretched edge, or one"
                          " colour.", hint="Make a new print file from the order: catalogue print.")
    inner = max(0, surround.inset - margin)      # from the marks inwards
    tolerance = precision if whole or margin else 1.0

    def mm(pixels: float) -> float:
        return plain_length(pixels, ppi, tolerance)

    recipe = replace(plain, ppi=ppi, turn=placement.turn, marks=bool(margin), fit="whole" if whole else "fill")
    if surround.kind in ("mirrored", "stretched", "colour"):
        both = inner or beyond
        bleed_px = bleed if margin else both if both * MM_PER_INCH / ppi <= USUAL_BLEED_MM else 0
        recipe = replace(recipe, bleed_mm=mm(bleed_px), wrap_mm=mm(both - bleed_px), edge=surround.kind)
        if surround.kind == "stretched":
            recipe = replace(recipe, stretch_mm=surround.strip_mm)
        if surround.kind == "colour":
            recipe = replace(recipe, edge_colour=_colour(colours, surround.inset / precision))
    else:
        border = inner - beyond if margin else inner
        recipe = replace(recipe, bleed_mm=mm(bleed), wrap_mm=mm(beyond - bleed), border_mm=mm(max(0, border)))
    return _completed(recipe, placement, size, margin, precision, ordered)


def plain_length(pixels: float, ppi: int, tolerance: float) -> float:
    """The plainest length in mm within ``tolerance`` pixels; zero for less than that."""
    if pixels <= tolerance:
        return 0.0
    exact = pixels * MM_PER_INCH / ppi
    near = tolerance * MM_PER_INCH / ppi
    return next((round(exact / step) * step for step in STEPS_MM if abs(round(exact / step) * step - exact) <= near),
                exact)


def _completed(recipe: Recipe, placement: Placement, size: tuple[int, int], margin: int, precision: float,
               ordered: Sequence[PrintShape]) -> Recipe:
    """With the finished size and the crop; a shape that was ordered goes before one that is as likely."""
    def px(length: float) -> int:
        return pixels_for(length, recipe.ppi)

    around = 2 * (margin + px(recipe.wrap_mm) + px(recipe.bleed_mm))
    width, height = (_exact_length(side - around, recipe.ppi) for side in size)
    first = replace(recipe, width_mm=width, height_mm=height)
    for likely in (*_as_ordered(first, ordered), first):
        cropped = _cropped(likely, placement, precision)
        layout = layout_of(cropped, *_upright(placement))
        if (layout.width, layout.height) == size:
            return cropped
    raise Refused("No recipe gives a print file of this size in pixels.")


def _exact_length(pixels: int, ppi: int) -> float:
    exact = pixels * MM_PER_INCH / ppi
    return next((length for length in (round(exact / step) * step for step in STEPS_MM)
                 if pixels_for(length, ppi) == pixels), exact)


def _as_ordered(first: Recipe, ordered: Iterable[PrintShape]) -> Iterator[Recipe]:
    """The recipe with the size, border and wrap of order lines, where its picture is the same."""
    for shape in ordered:
        for sides in ((shape.width_mm, shape.height_mm), (shape.height_mm, shape.width_mm)):
            beyond = first.wrap_mm + first.bleed_mm
            outer = [side + 2 * beyond for side in (first.width_mm, first.height_mm)]
            rest = [(whole - side) / 2 - shape.wrap_mm for whole, side in zip(outer, sides, strict=True)]
            if max(rest) - min(rest) > SAME_MM or rest[0] < -SAME_MM:
                continue
            bleed = round(rest[0], 1) if rest[0] >= SAME_MM else 0.0
            made = replace(first, width_mm=sides[0], height_mm=sides[1], wrap_mm=shape.wrap_mm, bleed_mm=bleed,
                           border_mm=shape.border_mm)
            white = first.border_mm and not shape.border_mm     # a white edge over the wrap, not a border
            if white and abs(first.border_mm - shape.wrap_mm - bleed) < SAME_MM:
                yield replace(made, edge="colour", edge_colour="white")
            elif abs(first.border_mm - shape.border_mm) < SAME_MM:
                yield made


def _cropped(recipe: Recipe, placement: Placement, precision: float) -> Recipe:
    """With the crop that the picture shows, none where it is the master's middle cut to the print's proportions."""
    upright = _upright(placement)
    layout = layout_of(recipe, *upright)
    box = layout.picture
    shown = placement.source_of((box.left, box.top, box.right, box.bottom))
    source = layout.source
    near = max(1.0, 0.5 * precision) * max(1.0, shown[2] / (box.width if recipe.turn in (0, 180) else box.height))
    if np.abs(np.array([source.left, source.top, source.left + source.width, source.top + source.height])
              - [shown[0], shown[1], shown[0] + shown[2], shown[1] + shown[3]]).max() <= near + 0.5:
        return recipe
    left, top = max(0, round(shown[0])), max(0, round(shown[1]))
    return replace(recipe, crop=(left, top, max(1, min(upright[0] - left, round(shown[0] + shown[2]) - left)),
                                 max(1, min(upright[1] - top, round(shown[1] + shown[3]) - top))))


def _upright(placement: Placement) -> tuple[int, int]:
    """The master's size before the turn."""
    return placement.size if placement.turn in (0, 180) else placement.size[::-1]


def _shown_whole(placement: Placement, insets: Sides, precision: float) -> bool:
    """Whether the whole master is shown, with more white on two sides than on the others."""
    near = 2 * precision + 2
    ends = [abs(a - b) for a, b in zip(placement.whole, placement.picture, strict=True)]
    uneven = abs(insets[0] - insets[1]) > 2 * near
    return uneven and max(ends) <= near and abs(insets[0] - insets[2]) <= near and abs(insets[1] - insets[3]) <= near


def _marks(printed: Light, size: tuple[int, int], ppi: int) -> tuple[int, int, int]:
    """Pixels of the margin with marks, of the bleed, and of wrap and bleed together as fold marks tell; zeros where
    there are no marks."""
    length, thick = pixels_for(CORNER_MARK_MM, ppi), max(1, pixels_for(MARK_WIDTH_MM, ppi))
    margin = length + pixels_for(MARK_GAP_MM, ppi)
    scale = printed.shape[1] / size[0]
    rows = max(1, int(length * scale))
    if 2 * margin >= min(size):
        return 0, 0, 0
    coverage = np.clip(1 - printed[:rows].astype(np.float64) / WHITE, 0, 1)
    if (coverage < 0.02).mean() < WHITE_SHARE - 8 * thick / size[0]:
        return 0, 0, 0
    columns = coverage.mean(axis=0)[: printed.shape[1] // 2] / scale      # in full pixels of ink across
    spots = []
    for start, stop in _runs(columns > 0.1 * thick):
        weight = columns[start:stop]
        if weight.sum() >= MARK_SHARE * thick * FOLD_MARK_MM / CORNER_MARK_MM:
            centre = float((weight * (np.arange(start, stop) + 0.5)).sum() / weight.sum()) / scale
            spots.append((max(0, round(centre + thick / 2 - margin)), float(weight.sum())))
    if not spots or max(weight for _, weight in spots) < MARK_SHARE * thick:
        return 0, 0, 0
    bleed = spots[0][0]
    return margin, bleed, spots[1][0] if len(spots) > 1 else bleed


def _runs(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def _colour(colours: NDArray[np.uint8], inset: float) -> str:
    middle = max(0, int(inset / 2))
    levels = np.median(colours[len(colours) // 4 : -len(colours) // 4, middle : middle + 1], axis=(0, 1))
    if (levels >= 254).all():
        return "white"
    return "black" if (levels <= 1).all() else ",".join(str(round(float(level))) for level in levels)
