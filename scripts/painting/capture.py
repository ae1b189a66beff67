"""A capture: a painting, or part of it, lit, placed on the bed, and turned into numbers.

Geometry everywhere: a 3×3 matrix maps pixel centres (x right, y down, first centre at 0, 0) of the parent picture
to pixel centres of the derived one. Angles are degrees, clockwise as seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from .canvas import Floats, Painting, Random
from .profiles import srgb_to_lab, to_cmyk, to_wide

Matrix = NDArray[np.float64]
Samples = NDArray[np.generic]

_BAND = 256  # rows at a time


@dataclass(frozen=True)
class Light:
    """How the bed lit and exposed it: light from `angle`, relief `strength`, gain per channel, gamma, sensor noise."""

    angle: float = 225.0
    strength: float = 0.11
    gain: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gamma: float = 1.0
    grain: float = 0.0


def shift(x: float, y: float) -> Matrix:
    return np.array([[1, 0, -x], [0, 1, -y], [0, 0, 1]], np.float64)


def zoom(s: float) -> Matrix:
    """Scaling by `s` that keeps pixel areas, not centres, in line."""
    return np.array([[s, 0, (s - 1) / 2], [0, s, (s - 1) / 2], [0, 0, 1]], np.float64)


def turn(degrees: float, size: tuple[int, int], to: tuple[int, int]) -> Matrix:
    """Turn clockwise about the middle of `size` (w, h) into the middle of `to`."""
    a = np.radians(degrees)
    c, s = np.cos(a), np.sin(a)
    middle, target = (np.array(size) - 1) / 2, (np.array(to) - 1) / 2
    m = np.eye(3)
    m[:2, :2] = [[c, -s], [s, c]]
    m[:2, 2] = target - m[:2, :2] @ middle
    return m


def warp(image: Floats, m: Matrix, size: tuple[int, int], beyond: float = 0.93) -> Floats:
    """`image` seen through `m` in a frame of `size` (w, h); what lies outside is the lid, at `beyond`."""
    grown = float(np.sqrt(abs(np.linalg.det(m[:2, :2]))))
    if grown < 0.8:  # an area average first, or fine strokes turn into moiré
        image = cv2.GaussianBlur(image, (0, 0), 0.45 / grown)
    made: Floats = cv2.warpPerspective(
        image, m, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_CONSTANT, borderValue=(beyond,) * 4
    )
    return made


def expose(painting: Painting, light: Light, rng: Random) -> Floats:
    """sRGB values 0..1 (h, w, 3) of the painting under `light`."""
    colour = painting.colour
    if light.strength and painting.relief.any():
        gx, gy = cv2.Sobel(painting.relief, cv2.CV_32F, 1, 0), cv2.Sobel(painting.relief, cv2.CV_32F, 0, 1)
        a = np.radians(light.angle)
        shade = 1 + np.float32(light.strength) * np.clip(
            np.float32(np.cos(a)) * gx + np.float32(np.sin(a)) * gy, -1.2, 1.2
        )
        colour = colour * shade[..., None]
    if light.gamma != 1:
        colour = np.clip(colour, 0, 1) ** np.float32(light.gamma)
    if light.gain != (1, 1, 1):
        colour = colour * np.asarray(light.gain, np.float32)
    if light.grain:
        colour = colour + rng.standard_normal(colour.shape, np.float32) * np.float32(light.grain)
    return np.clip(colour, 0, 1).astype(np.float32, copy=False)


def recapture(painting: Painting, m: Matrix, size: tuple[int, int], light: Light, rng: Random) -> Floats:
    """The same original put on the bed again through `m`, and lit there: relief shadows fall anew."""
    moved = Painting(np.clip(warp(painting.colour, m, size), 0, 1), warp(painting.relief, m, size, 0.0))
    return expose(moved, light, rng)


def samples(colour: Floats, space: str, bits: int) -> Samples:
    """Numbers to store: `space` is "sRGB", "wide", "grey", "cmyk", "lab"; lab is 8 bit with signed a and b."""
    if space == "lab":
        lab = srgb_to_lab(colour)
        whole = np.empty(lab.shape, np.uint8)
        whole[..., 0] = np.clip(np.round(lab[..., 0] * 2.55), 0, 255)
        whole[..., 1:] = np.clip(np.round(lab[..., 1:]), -128, 127).astype(np.int8).view(np.uint8)
        return whole
    if space == "wide":
        colour = to_wide(colour)
    elif space == "cmyk":
        colour = to_cmyk(colour)
    elif space == "grey":
        colour = colour @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    top = np.float32((1 << bits) - 1)
    whole = np.empty(colour.shape, np.uint8 if bits == 8 else np.uint16)
    for row in range(0, len(colour), _BAND):  # a large sheet at once would take a gigabyte
        whole[row : row + _BAND] = np.round(np.clip(colour[row : row + _BAND], 0, 1) * top)
    return whole


def enlarged(pixels: NDArray[Any], times: int) -> NDArray[Any]:
    """`pixels` with `times` as many a side; what `zoom(times)` says of their places holds."""
    if times == 1:
        return pixels
    h, w = pixels.shape[:2]
    made: NDArray[Any] = cv2.resize(pixels, (w * times, h * times), interpolation=cv2.INTER_CUBIC)
    return made


def wall_photo(print_: Floats, m: Matrix, size: tuple[int, int], rng: Random) -> Floats:
    """A phone's picture of a framed print on a wall: perspective `m`, mount, frame, shadow, glare, noise."""
    h, w = print_.shape[:2]
    pw, ph = size
    wall = np.ones((ph, pw, 3), np.float32) * rng.uniform(0.55, 0.8, 3).astype(np.float32)
    wall *= np.linspace(1.1, 0.82, pw, dtype=np.float32)[None, :, None]
    coarse = cv2.resize(rng.random((ph // 6, pw // 6), np.float32), (pw, ph), interpolation=cv2.INTER_CUBIC)
    wall *= 0.97 + 0.06 * coarse[..., None]
    skirting = int(ph * 0.93)
    wall[skirting:] = np.array([0.42, 0.33, 0.25], np.float32) * (0.9 + 0.2 * coarse[skirting:, :, None])

    def outline(grow: float) -> NDArray[np.int32]:
        g = grow * h
        corners = np.array([[-g, -g, 1], [w + g, -g, 1], [w + g, h + g, 1], [-g, h + g, 1]]) @ m.T
        return np.round(corners[:, :2] / corners[:, 2:] * 16).astype(np.int32)

    shadow = np.zeros((ph, pw), np.float32)
    cv2.fillPoly(shadow, [outline(0.2) + 16 * 12], 0.45, cv2.LINE_8, 4)
    wall *= 1 - cv2.GaussianBlur(shadow, (0, 0), 9)[..., None]
    for grow, colour in ((0.2, (0.13, 0.1, 0.08)), (0.165, (0.26, 0.2, 0.15)), (0.15, (0.93, 0.92, 0.89))):
        cv2.fillPoly(wall, [outline(grow)], colour, cv2.LINE_8, 4)
    inside = cv2.warpPerspective(np.ones((h, w), np.float32), m, size, flags=cv2.INTER_LINEAR)[..., None]
    seen = warp(print_, m, size, 0.0)
    photo = wall * (1 - inside) + seen * inside
    gx, gy = rng.uniform(0.35, 0.65) * pw, rng.uniform(0.3, 0.6) * ph
    y, x = np.mgrid[0:ph, 0:pw].astype(np.float32)
    glare = np.exp(-(((x - gx) / (pw * 0.16)) ** 2 + ((y - gy) / (ph * 0.1)) ** 2) * 1.5)[..., None]
    photo = photo * (1 - 0.35 * glare) + 0.4 * glare
    grain = rng.standard_normal(photo.shape, np.float32) * np.float32(0.012)
    photo = photo * np.array([1.05, 0.99, 0.9], np.float32) + grain
    made: Floats = np.clip(cv2.GaussianBlur(photo.astype(np.float32), (0, 0), 0.7), 0, 1)
    return made
