"""Where a master's picture is on an old print file: turn, scale and position to a fraction of a pixel, and its edges.

Pure: on reduced pictures, whose pixels are means of areas. Positions are measured from the outer corner of a picture,
not from the centre of its first pixel, so that a change of size is a factor and nothing else.
"""

from dataclasses import dataclass
from math import ceil

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.print_files.layout import turned_part

Light = NDArray[np.float32]
Doubles = NDArray[np.float64]
Flags = NDArray[np.bool_]
Sides = tuple[float, float, float, float]   # left, top, right, bottom

SMOOTHINGS = (4.0, 2.0, 1.0, 0.0)   # of both pictures, px, one after the other: from a rough place to a fine one
ROUNDS, STILL = 12, 1e-4            # of one smoothing; a change of fewer px ends it
MOST_ASKEW = 1.0                    # degrees from a quarter turn; a recipe turns by quarters
STEEPNESS = 4.685                   # of Tukey's biweight, 95 % efficient for normal errors (Holland and Welsch 1977)
NEAR = 3.0                          # levels of 255 that a pixel may depart by anyway
AGREEING_SHARE = 0.6                # of a row or column that belongs to the picture
LEAST_PIXELS, MOST_PIXELS = 400, 200_000    # that a place is computed from


@dataclass(frozen=True, slots=True)
class Placement:
    """``turn``: of the master, degrees clockwise. ``whole``: the sides of the whole turned master, also of what is not
    printed; ``picture``: roughly, the sides of what shows it. Both in pixels of the full print file. ``size``: of the
    turned master in its own pixels. ``correlation`` within the picture, at most 1. ``laid``: the turned master with the
    print's lightness, one pixel for each of the reduced print's."""

    turn: int
    whole: Sides
    picture: Sides
    size: tuple[int, int]
    correlation: float
    laid: Light

    def source_of(self, picture: Sides) -> Sides:
        """Left, top, width and height, on the master before its turn, of a part of the print file."""
        left, top, right, bottom = self.whole
        x, y = self.size[0] / (right - left), self.size[1] / (bottom - top)    # pixels of the master for the print's
        part = ((picture[0] - left) * x, (picture[1] - top) * y, (picture[2] - picture[0]) * x,
                (picture[3] - picture[1]) * y)
        return turned_part(part, -self.turn, self.size)


def quarter_turns(matrix: Doubles) -> int | None:
    """Degrees clockwise of the turn that a similarity makes, if it is one by quarters."""
    angle = float(np.degrees(np.arctan2(matrix[1, 0] - matrix[0, 1], matrix[0, 0] + matrix[1, 1])))
    turn = round(angle / 90) * 90
    return turn % 360 if abs(angle - turn) <= MOST_ASKEW else None


def find_placement(master: Light, master_size: tuple[int, int], printed: Light, printed_size: tuple[int, int],
                   matrix: Doubles) -> Placement | None:
    """Where the master lies on the print file; None if it is turned askew or does not agree.

    ``matrix`` (2×3) takes places on the master to places on the print file, both full, to a few reduced pixels.
    """
    turn = quarter_turns(matrix)
    if turn is None:
        return None
    turned = np.ascontiguousarray(np.rot90(master, -turn // 90))
    size = master_size if turn in (0, 180) else master_size[::-1]
    factors = np.array([printed.shape[1] / printed_size[0], printed.shape[0] / printed_size[1]])
    spots = _on_turned(matrix, turn, master_size)
    low, high = (spots[0] * factors, spots[1] * factors)     # the turned master's corners on the reduced print
    extent = np.maximum(np.rint(high - low).astype(int), 4)
    if extent.max() > 4 * max(printed.shape) or (high - low).min() < 4:
        return None
    even = cv2.resize(turned, (int(extent[0]), int(extent[1])),
                      interpolation=cv2.INTER_AREA if extent[0] < turned.shape[1] else cv2.INTER_CUBIC)
    fitted = _fitted(np.asarray(even, np.float32), printed, low, (high - low) / extent)
    if fitted is None:
        return None
    corner, scale, gain, offset = fitted
    rows, columns = (np.arange(side, dtype=np.float64) + 0.5 for side in printed.shape)
    drawn, inside = _laid(even, 1 / scale, -corner / scale, columns, rows)
    box = _picture_box(np.asarray(np.abs(printed - gain * drawn - offset), np.float32), inside)
    if box is None:
        return None
    # Once more within the picture alone: what lies around it pulls at the place where it is like the picture.
    ahead, behind = np.array(box[:2]), np.array(box[2:])
    ahead, behind = ahead + (behind - ahead) // 20, behind - (behind - ahead) // 20
    inner = printed[ahead[1] : behind[1], ahead[0] : behind[0]]
    again = _fitted(np.asarray(even, np.float32), np.ascontiguousarray(inner), corner - ahead, scale)
    if again is not None:
        corner, scale, gain, offset = again[0] + ahead, *again[1:]
        drawn, inside = _laid(even, 1 / scale, -corner / scale, columns, rows)
    (left, top), (right, bottom) = np.array([corner, corner + scale * extent]) / factors
    picture = (max(box[0] / factors[0], left, 0.0), max(box[1] / factors[1], top, 0.0),
               min(box[2] / factors[0], right, printed_size[0]), min(box[3] / factors[1], bottom, printed_size[1]))
    part = inside.copy()
    part[: int(box[1])] = part[int(box[3]) :] = part[:, : int(box[0])] = part[:, int(box[2]) :] = False
    return Placement(turn, (float(left), float(top), float(right), float(bottom)), picture, size,
                     _correlation(drawn[part].astype(np.float64), printed[part].astype(np.float64)),
                     np.asarray(gain * even + offset, np.float32))


def _on_turned(matrix: Doubles, turn: int, size: tuple[int, int]) -> tuple[Doubles, Doubles]:
    """Upper left and lower right corner of the master, once turned, on the print file."""
    width, height = size
    corners = {0: ((0, 0), (width, height)), 90: ((0, height), (width, 0)), 180: ((width, height), (0, 0)),
               270: ((width, 0), (0, height))}[turn]
    first, second = (matrix @ (x, y, 1.0) for x, y in corners)
    return first, second


def _fitted(even: Light, printed: Light, low: Doubles, scale: Doubles
            ) -> tuple[Doubles, Doubles, float, float] | None:
    """Place and scale of ``even`` on the print by least squares with Tukey's weights; the gain and offset by which its
    lightness becomes the print's."""
    a, b = 1 / scale, -low / scale      # of the places on ``even``: a × place on the print + b
    gain, offset = 1.0, 0.0
    fewest = ceil((printed.size / MOST_PIXELS) ** 0.5)
    for smoothing in SMOOTHINGS:
        ours, theirs = (cv2.GaussianBlur(v, (0, 0), smoothing) if smoothing else v for v in (even, printed))
        every = max(1, int(smoothing), fewest)      # of the print's pixels, both ways
        theirs = theirs[every // 2 :: every, every // 2 :: every]
        rows, columns = (np.arange(side, dtype=np.float64)[every // 2 :: every] + 0.5 for side in printed.shape)
        down_slope, across_slope = np.gradient(ours)
        layers = np.dstack([ours, across_slope, down_slope]).astype(np.float32)
        for _ in range(ROUNDS):
            drawn, inside = _laid(layers, a, b, columns, rows)
            if inside.sum() < LEAST_PIXELS:
                return None
            laid, gx, gy = drawn[inside].T.astype(np.float64)
            gx, gy = gain * gx, gain * gy
            error = theirs[inside] - gain * laid - offset
            spread = 1.4826 * float(np.median(np.abs(error))) * STEEPNESS + 1e-3
            weight = np.clip(1 - (error / spread) ** 2, 0, None) ** 2
            x = np.broadcast_to(columns / printed.shape[1], inside.shape)[inside]
            y = np.broadcast_to(rows[:, None] / printed.shape[0], inside.shape)[inside]
            terms = np.stack([gx * x, gx, gy * y, gy, laid, np.ones_like(error)])
            square = (terms * weight) @ terms.T
            step = np.linalg.lstsq(square, (terms * weight) @ error, rcond=1e-12)[0]
            a = a + step[[0, 2]] / (printed.shape[1], printed.shape[0])
            b = b + step[[1, 3]]
            gain, offset = gain + float(step[4]), offset + float(step[5])
            if not np.isfinite(a).all() or (a <= 0.2).any() or (a >= 5).any():
                return None
            if np.abs(step[:4]).max() < STILL:
                break
    return -b / a, 1 / a, gain, offset


def _laid(picture: Light, a: Doubles, b: Doubles, columns: Doubles,
          rows: Doubles) -> tuple[Light, Flags]:
    """The picture, of one layer or some, drawn on the print's pixels, and which of them it covers."""
    x, y = a[0] * columns + b[0], a[1] * rows + b[1]
    across, down = np.meshgrid((x - 0.5).astype(np.float32), (y - 0.5).astype(np.float32))
    drawn = cv2.remap(np.asarray(picture, np.float32), across, down, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    inside = ((x > 0) & (x < picture.shape[1]))[None, :] & ((y > 0) & (y < picture.shape[0]))[:, None]
    return np.asarray(drawn, np.float32), inside


def _picture_box(deviation: Light, inside: Flags) -> tuple[int, int, int, int] | None:
    """The sides of the largest part around the middle in which nearly all agrees, on the reduced print."""
    limit = max(NEAR, 6 * 1.4826 * float(np.median(deviation[inside]))) if inside.any() else 0.0
    agrees = (cv2.blur(deviation, (3, 3)) < limit) & inside
    down = np.flatnonzero(inside.any(axis=1))
    across = np.flatnonzero(inside.any(axis=0))
    middle_rows = slice(int(np.percentile(down, 35)), int(np.percentile(down, 65)) + 1)
    middle_columns = slice(int(np.percentile(across, 35)), int(np.percentile(across, 65)) + 1)
    columns = _run(agrees[middle_rows].mean(axis=0) >= AGREEING_SHARE,
                   (middle_columns.start + middle_columns.stop) // 2)
    if columns is None:
        return None
    rows = _run(agrees[:, columns[0] : columns[1]].mean(axis=1) >= AGREEING_SHARE,
                (middle_rows.start + middle_rows.stop) // 2)
    if rows is None:
        return None
    columns = _run(agrees[rows[0] : rows[1]].mean(axis=0) >= AGREEING_SHARE, (columns[0] + columns[1]) // 2)
    return None if columns is None else (columns[0], rows[0], columns[1], rows[1])


def _run(flags: Flags, middle: int) -> tuple[int, int] | None:
    """Start and stop of the run of true values around ``middle``; gaps of two are bridged."""
    if not flags[max(0, middle - 2) : middle + 3].any():
        return None
    start = stop = middle
    while start > 0 and flags[max(0, start - 3) : start].any():
        start -= 1
    while stop < len(flags) and flags[stop : stop + 3].any():
        stop += 1
    while start < stop and not flags[start]:
        start += 1
    while stop > start and not flags[stop - 1]:
        stop -= 1
    return (start, stop) if stop > start else None


def _correlation(ours: Doubles, theirs: Doubles) -> float:
    if not len(ours):
        return 0.0
    ours, theirs = ours - ours.mean(), theirs - theirs.mean()
    return float((ours * theirs).sum() / (np.sqrt((ours**2).sum() * (theirs**2).sum()) + 1e-9))
