"""The recipe of an old print file, from where its master's picture lies on it and what surrounds the picture. Pure.

Around the picture a recipe puts marks on white, then wrap and bleed (the picture's edge mirrored or stretched, or a
colour) or a white border, as wide on every side. Which of these and how wide is found by drawing each on some rows and
columns of the reduced print file and taking what departs least. What leaves no trace is assumed: the kernel, and a wrap
over which the picture runs on; an order line whose print has this very shape says the latter.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import Refused
from catalogue.print_files.layout import CORNER_MARK_MM, FOLD_MARK_MM, MARK_GAP_MM, MARK_WIDTH_MM, layout_of
from catalogue.print_files.placement import Doubles, Flags, Light, Placement, Sides
from catalogue.print_files.recipe import Recipe
from catalogue.reading.printsize import MM_PER_INCH, pixels_for

LINES = 48                          # rows and columns that are drawn
STRIPS_MM = (1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0)     # of the edge, that may be stretched
USUAL_BLEED_MM = 8.0    # a mirrored edge up to here is a bleed, beyond it a wrap; common practice, no source
WHITE_SHARE, MARK_SHARE = 0.97, 0.5  # of the margin that is white; of the ink of corner marks that is there
STEPS_MM = (1.0, 0.5, 0.1, 0.01)     # lengths that people choose, plainest first
PLAINER = 0.05                      # levels on average by which a less plain one must depart less
WHITE, NEAR_WHITE = 255.0, 2.0      # paper; levels that it may be off by
SAME_MM = 0.3                       # lengths that differ by less are one length, rounded to pixels
MOST_APART = 64.0                   # levels of 255 that one pixel counts for
EDGE_APART = 6.0                    # levels of 255 on average that what surrounds the picture may depart by


@dataclass(frozen=True, slots=True)
class PrintShape:
    """Size, border, wrap and edge of a print as an order line says them, its sides in either order."""

    width_mm: float
    height_mm: float
    border_mm: float
    wrap_mm: float


@dataclass(frozen=True, slots=True)
class _Surround:
    """What lies around the picture: ``kind`` "" (nothing), "white", "colour", "mirrored" or "stretched", and how many
    pixels the picture lies from the file's sides."""

    kind: str
    inset: int
    strip_mm: float = 0.0
    level: float = 0.0
    apart: float = 0.0


def fit_recipe(place: Placement, printed: Light, colours: NDArray[np.uint8], size: tuple[int, int], ppi: int,
               plain: Recipe, ordered: Sequence[PrintShape] = ()) -> Recipe:
    """The recipe by which a print file of ``size`` pixels came from its master.

    ``printed``: its lightness, 0–255, reduced; ``colours``: levels of all channels at the same size. ``plain`` holds
    what is known already: master, bits, profile. Raises Refused where no recipe makes such a file.
    """
    precision = max(1.0, size[0] / printed.shape[1])
    margin, bleed, beyond = _marks(printed, size, ppi)
    sides = place.picture
    insets = (sides[0], sides[1], size[0] - sides[2], size[1] - sides[3])
    whole = _shown_whole(place, insets, precision)
    if whole:
        edges = place.whole
        surround = _Surround("white", max(0, round(min(edges[0], edges[1], size[0] - edges[2], size[1] - edges[3]))))
    else:
        surround = _surround(place, printed, size, margin, precision, ppi, min(insets))
        if surround.apart > EDGE_APART:
            raise Refused("What surrounds the picture on this file is not border, mirrored or stretched edge, or one"
                          " colour.", hint="Make a new print file from the order: catalogue print.")
    inner = max(0, surround.inset - margin)      # from the marks inwards
    tolerance = precision if whole or margin else 1.0

    def mm(pixels: float) -> float:
        return plain_length(pixels, ppi, tolerance)

    recipe = replace(plain, ppi=ppi, turn=place.turn, marks=bool(margin), fit="whole" if whole else "fill")
    if surround.kind in ("mirrored", "stretched", "colour"):
        both = inner or beyond
        apart = bleed if margin else both if both * MM_PER_INCH / ppi <= USUAL_BLEED_MM else 0
        recipe = replace(recipe, bleed_mm=mm(apart), wrap_mm=mm(both - apart), edge=surround.kind)
        if surround.kind == "stretched":
            recipe = replace(recipe, stretch_mm=surround.strip_mm)
        if surround.kind == "colour":
            recipe = replace(recipe, edge_colour=_colour(colours, surround.inset / precision))
    else:
        border = inner - beyond if margin else inner
        recipe = replace(recipe, bleed_mm=mm(bleed), wrap_mm=mm(beyond - bleed), border_mm=mm(max(0, border)))
    return _completed(recipe, place, size, margin, precision, ordered)


def plain_length(pixels: float, ppi: int, tolerance: float) -> float:
    """The plainest length in mm within ``tolerance`` pixels; nought for less than that."""
    if pixels <= tolerance:
        return 0.0
    exact = pixels * MM_PER_INCH / ppi
    near = tolerance * MM_PER_INCH / ppi
    return next((round(exact / step) * step for step in STEPS_MM if abs(round(exact / step) * step - exact) <= near),
                exact)


def _completed(recipe: Recipe, place: Placement, size: tuple[int, int], margin: int, precision: float,
               ordered: Sequence[PrintShape]) -> Recipe:
    """With the finished size and the crop; a shape that was ordered goes before one that is as likely."""
    def px(length: float) -> int:
        return pixels_for(length, recipe.ppi)

    around = 2 * (margin + px(recipe.wrap_mm) + px(recipe.bleed_mm))
    width, height = (_exact_length(side - around, recipe.ppi) for side in size)
    first = replace(recipe, width_mm=width, height_mm=height)
    for likely in (*_as_ordered(first, ordered), first):
        cropped = _cropped(likely, place, precision)
        layout = layout_of(cropped, *_upright(place))
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


def _cropped(recipe: Recipe, place: Placement, precision: float) -> Recipe:
    """With the crop that the picture shows, none where it is the master's middle cut to the print's proportions."""
    upright = _upright(place)
    layout = layout_of(recipe, *upright)
    box = layout.picture
    shown = place.source_of((box.left, box.top, box.right, box.bottom))
    source = layout.source
    near = max(1.0, 0.5 * precision) * max(1.0, shown[2] / (box.width if recipe.turn in (0, 180) else box.height))
    if np.abs(np.array([source.left, source.top, source.left + source.width, source.top + source.height])
              - [shown[0], shown[1], shown[0] + shown[2], shown[1] + shown[3]]).max() <= near + 0.5:
        return recipe
    left, top = max(0, round(shown[0])), max(0, round(shown[1]))
    return replace(recipe, crop=(left, top, max(1, min(upright[0] - left, round(shown[0] + shown[2]) - left)),
                                 max(1, min(upright[1] - top, round(shown[1] + shown[3]) - top))))


def _upright(place: Placement) -> tuple[int, int]:
    """The master's size before the turn."""
    return place.size if place.turn in (0, 180) else place.size[::-1]


def _shown_whole(place: Placement, insets: Sides, precision: float) -> bool:
    """Whether the whole master is shown, with more white on two sides than on the others."""
    near = 2 * precision + 2
    ends = [abs(a - b) for a, b in zip(place.whole, place.picture, strict=True)]
    uneven = abs(insets[0] - insets[1]) > 2 * near
    return uneven and max(ends) <= near and abs(insets[0] - insets[2]) <= near and abs(insets[1] - insets[3]) <= near


def _marks(printed: Light, size: tuple[int, int], ppi: int) -> tuple[int, int, int]:
    """Pixels of the margin with marks, of the bleed, and of wrap and bleed together as fold marks tell; noughts where
    there are no marks."""
    length, thick = pixels_for(CORNER_MARK_MM, ppi), max(1, pixels_for(MARK_WIDTH_MM, ppi))
    margin = length + pixels_for(MARK_GAP_MM, ppi)
    scale = printed.shape[1] / size[0]
    rows = max(1, int(length * scale))
    if 2 * margin >= min(size):
        return 0, 0, 0
    ink = np.clip(1 - printed[:rows].astype(np.float64) / WHITE, 0, 1)
    if (ink < 0.02).mean() < WHITE_SHARE - 8 * thick / size[0]:
        return 0, 0, 0
    columns = ink.mean(axis=0)[: printed.shape[1] // 2] / scale      # in full pixels of ink across
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


def _surround(place: Placement, printed: Light, size: tuple[int, int], margin: int, precision: float, ppi: int,
              about: float) -> _Surround:
    """What departs least among all kinds and widths near the picture's sides as they were measured."""
    samples = _line_samples(place, printed, size)

    def nearest(insets: Iterable[int]) -> _Surround:
        return min((kind for inset in insets
                    for kind in _compared([*_kinds(printed, size, margin, inset, ppi)], samples, margin, ppi)),
                   key=_likelihood)

    reach = max(6.0, 4 * precision, 0.35 * about)
    lowest, highest = max(margin, int(about - reach)), min(int(about + reach), (min(size) - 1) // 2 - 1)
    step = max(1, int(precision))
    best = nearest(sorted({margin, *range(lowest, highest + 1, step)}))
    if step > 1:
        best = nearest(range(max(margin, best.inset - step), best.inset + step + 1))
    plainest = nearest([margin])
    return plainest if plainest.apart <= best.apart + PLAINER else best


def _likelihood(surround: _Surround) -> float:
    """How far it departs; a stretched edge must depart less than a mirrored one to be believed."""
    return surround.apart + (PLAINER if surround.kind == "stretched" else 0.0)


def _kinds(printed: Light, size: tuple[int, int], margin: int, inset: int, ppi: int) -> Iterator[_Surround]:
    """Every kind of surrounding that may be as wide as ``inset``, marks included."""
    if inset <= margin:
        yield _Surround("", inset)
        return
    yield _Surround("mirrored", inset)
    for strip in STRIPS_MM:
        if 1 <= pixels_for(strip, ppi) < inset - margin:
            yield _Surround("stretched", inset, strip)
    factor = printed.shape[1] / size[0]
    level = float(np.median(_ring(printed, margin * factor, inset * factor)))
    yield _Surround("white", inset, level=WHITE) if level > WHITE - NEAR_WHITE else _Surround("colour", inset,
                                                                                                level=level)


@dataclass(frozen=True, slots=True)
class _LineSamples:
    """Some rows, or some columns, of the reduced print file, and the master as it lies there. Lengths and places in
    pixels of the full print file."""

    seen: Light             # lines × pixels
    apart: Doubles          # lines × (pixels + 1): running sums of how far the master departs from them
    places: Doubles         # of the pixels, along a line
    across: Doubles         # of the lines, the other way
    length: int             # of a line
    breadth: int            # of the file, the other way
    factor: float           # reduced pixels for one of the full file, along a line
    draw: Callable[[Doubles, Flags], Light]     # the master at places along those lines that are flagged


def _line_samples(place: Placement, printed: Light, size: tuple[int, int]) -> list[_LineSamples]:
    """Rows, then columns."""
    return [_samples_of(place.laid, printed, size, place.whole),
            _samples_of(place.laid.T, printed.T, size[::-1], (*place.whole[1::-1], *place.whole[:1:-1]))]


def _samples_of(laid: Light, printed: Light, size: tuple[int, int], whole: Sides) -> _LineSamples:
    master = np.ascontiguousarray(laid)
    factors = printed.shape[1] / size[0], printed.shape[0] / size[1]
    scale = laid.shape[1] / (whole[2] - whole[0]), laid.shape[0] / (whole[3] - whole[1])
    lines = np.unique(np.linspace(0.12, 0.88, LINES) * printed.shape[0]).astype(int)
    places, across = (np.arange(printed.shape[1]) + 0.5) / factors[0], (lines + 0.5) / factors[1]
    y = (across - whole[1]) * scale[1] - 0.5

    def draw(along: Doubles, chosen: Flags) -> Light:
        x = (along - whole[0]) * scale[0] - 0.5
        maps_x, maps_y = np.meshgrid(x.astype(np.float32), y[chosen].astype(np.float32))
        return np.asarray(cv2.remap(master, maps_x, maps_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE),
                          np.float32)

    seen = np.ascontiguousarray(printed[lines])
    apart = np.zeros((len(lines), len(places) + 1))
    np.cumsum(_limited(seen, draw(places, np.ones(len(lines), np.bool_))), axis=1, out=apart[:, 1:])
    return _LineSamples(seen, apart, places, across, size[0], size[1], factors[0], draw)


def _limited(seen: Light, drawn: Light) -> Light:
    """Levels that two depart by; what is wholly other counts no more than much."""
    return np.asarray(np.minimum(np.abs(seen - drawn), MOST_APART), np.float32)


def _compared(kinds: Sequence[_Surround], samples: Sequence[_LineSamples], margin: int, ppi: int) -> list[_Surround]:
    """Surroundings of one width, each with how far it departs from the print file, in levels on average over its
    lines; marks are left out."""
    inset, totals, count = kinds[0].inset, [0.0] * len(kinds), 0
    for lines in samples:
        far = lines.length - inset
        depth = np.minimum(lines.places - inset, far - lines.places) * lines.factor     # into the picture
        within = (lines.places > margin) & (lines.places < lines.length - margin)
        chosen = (lines.across > inset) & (lines.across < lines.breadth - inset)
        beyond = within & (depth < 0.5)
        if not within.any() or not chosen.any():
            continue
        count += int(within.sum()) * int(chosen.sum())
        inside = np.flatnonzero(within & ~beyond)
        same = float((lines.apart[chosen, inside[-1] + 1] - lines.apart[chosen, inside[0]]).sum()) if len(inside) else 0
        places, share = lines.places[beyond], np.clip(depth[beyond] + 0.5, 0, 1).astype(np.float32)
        seen = lines.seen[np.ix_(chosen, beyond)]
        for number, kind in enumerate(kinds):
            totals[number] += same
            if not len(places):
                continue
            if kind.kind in ("white", "colour"):
                drawn = share * lines.draw(places, chosen) + (1 - share) * np.float32(kind.level)
            else:
                drawn = lines.draw(_folded(places, kind, far, margin, ppi), chosen)
            totals[number] += float(_limited(seen, drawn).sum(dtype=np.float64))
    return [replace(kind, apart=total / max(1, count)) for kind, total in zip(kinds, totals, strict=True)]


def _folded(places: Doubles, surround: _Surround, far: int, margin: int, ppi: int) -> Doubles:
    """Places beyond the picture taken back into it, as a mirrored or stretched edge does."""
    if not surround.kind:
        return places
    inset = surround.inset
    ratio = pixels_for(surround.strip_mm, ppi) / (inset - margin) if surround.kind == "stretched" else 1.0
    return np.where(places < inset, inset + (inset - places) * ratio,
                    np.where(places > far, far - (places - far) * ratio, places))


def _ring(printed: Light, margin: float, inset: float) -> NDArray[np.float32]:
    """The pixels between the margin and the picture, left and right."""
    start, stop = int(margin) + 1, max(int(margin) + 2, int(inset) - 1)
    rows = slice(stop, max(stop + 1, printed.shape[0] - stop))
    return np.concatenate([printed[rows, start:stop].ravel(), printed[rows, -stop:-start].ravel()])


def _colour(colours: NDArray[np.uint8], inset: float) -> str:
    middle = max(0, int(inset / 2))
    levels = np.median(colours[len(colours) // 4 : -len(colours) // 4, middle : middle + 1], axis=(0, 1))
    if (levels >= 254).all():
        return "white"
    return "black" if (levels <= 1).all() else ",".join(str(round(float(level))) for level in levels)
