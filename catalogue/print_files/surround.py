"""What surrounds the picture on an old print file: each kind and width drawn on some rows and columns, taking the
closest.

Pure: on reduced pictures.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.print_files.placement import Doubles, Flags, Light, Placement, Sides
from catalogue.reading.printsize import pixels_for

LINES = 48                          # rows and columns that are drawn
STRIPS_MM = (1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 10.0)     # of the edge, that may be stretched
PLAINER = 0.05                      # levels on average by which a less plain one must depart less
MOST_APART = 64.0                   # levels of 255 that one pixel counts for
WHITE, NEAR_WHITE = 255.0, 2.0      # paper; levels that it may be off by


@dataclass(frozen=True, slots=True)
class Surround:
    """What lies around the picture: ``kind`` "" (nothing), "white", "colour", "mirrored" or "stretched", and how many
    pixels the picture lies from the file's sides."""

    kind: str
    inset: int
    strip_mm: float = 0.0
    level: float = 0.0
    deviation: float = 0.0


def surround_of(placement: Placement, printed: Light, size: tuple[int, int], margin: int, precision: float, ppi: int,
              about: float) -> Surround:
    """What departs least among all kinds and widths near the picture's sides as they were measured."""
    samples = _line_samples(placement, printed, size)

    def nearest(insets: Iterable[int]) -> Surround:
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
    return plainest if plainest.deviation <= best.deviation + PLAINER else best


def _likelihood(surround: Surround) -> float:
    """How far it differs; a stretched edge must differ less than a mirrored one to be chosen."""
    return surround.deviation + (PLAINER if surround.kind == "stretched" else 0.0)


def _kinds(printed: Light, size: tuple[int, int], margin: int, inset: int, ppi: int) -> Iterator[Surround]:
    """Every kind of surrounding that may be as wide as ``inset``, marks included."""
    if inset <= margin:
        yield Surround("", inset)
        return
    yield Surround("mirrored", inset)
    for strip in STRIPS_MM:
        if 1 <= pixels_for(strip, ppi) < inset - margin:
            yield Surround("stretched", inset, strip)
    factor = printed.shape[1] / size[0]
    level = float(np.median(_ring(printed, margin * factor, inset * factor)))
    yield Surround("white", inset, level=WHITE) if level > WHITE - NEAR_WHITE else Surround("colour", inset,
                                                                                                level=level)


@dataclass(frozen=True, slots=True)
class _LineSamples:
    """Some rows, or some columns, of the reduced print file, and the master as it lies there. Lengths and places in
    pixels of the full print file."""

    seen: Light             # lines × pixels
    deviation_sums: Doubles     # lines × (pixels + 1): running sums of how far the master departs from them
    positions: Doubles      # of the pixels, along a line
    across: Doubles         # of the lines, the other way
    length: int             # of a line
    breadth: int            # of the file, the other way
    factor: float           # reduced pixels for one of the full file, along a line
    draw: Callable[[Doubles, Flags], Light]     # the master at places along those lines that are flagged


def _line_samples(placement: Placement, printed: Light, size: tuple[int, int]) -> list[_LineSamples]:
    """Rows, then columns."""
    return [_samples_of(placement.laid, printed, size, placement.whole),
            _samples_of(placement.laid.T, printed.T, size[::-1], (*placement.whole[1::-1], *placement.whole[:1:-1]))]


def _samples_of(laid: Light, printed: Light, size: tuple[int, int], whole: Sides) -> _LineSamples:
    master = np.ascontiguousarray(laid)
    factors = printed.shape[1] / size[0], printed.shape[0] / size[1]
    scale = laid.shape[1] / (whole[2] - whole[0]), laid.shape[0] / (whole[3] - whole[1])
    lines = np.unique(np.linspace(0.12, 0.88, LINES) * printed.shape[0]).astype(int)
    positions, across = (np.arange(printed.shape[1]) + 0.5) / factors[0], (lines + 0.5) / factors[1]
    y = (across - whole[1]) * scale[1] - 0.5

    def draw(along: Doubles, chosen: Flags) -> Light:
        x = (along - whole[0]) * scale[0] - 0.5
        maps_x, maps_y = np.meshgrid(x.astype(np.float32), y[chosen].astype(np.float32))
        return np.asarray(cv2.remap(master, maps_x, maps_y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE),
                          np.float32)

    seen = np.ascontiguousarray(printed[lines])
    deviation_sums = np.zeros((len(lines), len(positions) + 1))
    np.cumsum(_limited(seen, draw(positions, np.ones(len(lines), np.bool_))), axis=1, out=deviation_sums[:, 1:])
    return _LineSamples(seen, deviation_sums, positions, across, size[0], size[1], factors[0], draw)


def _limited(seen: Light, drawn: Light) -> Light:
    """The difference in levels, capped so that completely different pixels do not dominate."""
    return np.asarray(np.minimum(np.abs(seen - drawn), MOST_APART), np.float32)


def _compared(kinds: Sequence[Surround], samples: Sequence[_LineSamples], margin: int, ppi: int) -> list[Surround]:
    """Surroundings of one width, each with how far it departs from the print file, in levels on average over its
    lines; marks are left out."""
    inset, totals, count = kinds[0].inset, [0.0] * len(kinds), 0
    for lines in samples:
        far = lines.length - inset
        depth = np.minimum(lines.positions - inset, far - lines.positions) * lines.factor     # into the picture
        within = (lines.positions > margin) & (lines.positions < lines.length - margin)
        chosen = (lines.across > inset) & (lines.across < lines.breadth - inset)
        beyond = within & (depth < 0.5)
        if not within.any() or not chosen.any():
            continue
        count += int(within.sum()) * int(chosen.sum())
        inside = np.flatnonzero(within & ~beyond)
        sums = lines.deviation_sums
        same = float((sums[chosen, inside[-1] + 1] - sums[chosen, inside[0]]).sum()) if len(inside) else 0
        positions, share = lines.positions[beyond], np.clip(depth[beyond] + 0.5, 0, 1).astype(np.float32)
        seen = lines.seen[np.ix_(chosen, beyond)]
        for number, kind in enumerate(kinds):
            totals[number] += same
            if not len(positions):
                continue
            if kind.kind in ("white", "colour"):
                drawn = share * lines.draw(positions, chosen) + (1 - share) * np.float32(kind.level)
            else:
                drawn = lines.draw(_folded(positions, kind, far, margin, ppi), chosen)
            totals[number] += float(_limited(seen, drawn).sum(dtype=np.float64))
    return [replace(kind, deviation=total / max(1, count)) for kind, total in zip(kinds, totals, strict=True)]


def _folded(positions: Doubles, surround: Surround, far: int, margin: int, ppi: int) -> Doubles:
    """Places beyond the picture taken back into it, as a mirrored or stretched edge does."""
    if not surround.kind:
        return positions
    inset = surround.inset
    ratio = pixels_for(surround.strip_mm, ppi) / (inset - margin) if surround.kind == "stretched" else 1.0
    return np.where(positions < inset, inset + (inset - positions) * ratio,
                    np.where(positions > far, far - (positions - far) * ratio, positions))


def _ring(printed: Light, margin: float, inset: float) -> NDArray[np.float32]:
    """The pixels between the margin and the picture, left and right."""
    start, stop = int(margin) + 1, max(int(margin) + 2, int(inset) - 1)
    rows = slice(stop, max(stop + 1, printed.shape[0] - stop))
    return np.concatenate([printed[rows, start:stop].ravel(), printed[rows, -stop:-start].ravel()])
