"""Thick paint: brush strokes and palette-knife slabs laid over a scene. Manners as in `manners`."""

from __future__ import annotations

import cv2
import numpy as np

from .canvas import Painting, Palette, Picture, Random, as_floats, line, noise, plain, poly, weave
from .scenes import SCENES


def _strokes(
    rng: Random,
    source: Picture,
    count: int,
    length: float,
    width: float,
    bristles: int,
    image: Picture,
    relief: Picture,
) -> None:
    """Lay `count` bristle strokes coloured from `source`, following its shapes."""
    h, w = source.shape[:2]
    grey = cv2.GaussianBlur(cv2.cvtColor(source, cv2.COLOR_RGB2GRAY), (0, 0), max(1.0, width * 0.8)).astype(np.float32)
    gx, gy = cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)
    drift = noise(rng, w, h, 4, 1)
    xy = rng.random((count, 2)) * [w - 1, h - 1]
    ix, iy = xy[:, 0].astype(int), xy[:, 1].astype(int)
    strength = np.hypot(gx[iy, ix], gy[iy, ix])
    loose = (drift[iy, ix] - 0.5) * 2.2
    angle = np.where(strength > 12, np.arctan2(gy[iy, ix], gx[iy, ix]) + np.pi / 2, loose) + rng.normal(0, 0.16, count)
    span = length * rng.uniform(0.5, 1.2, count) / (1 + strength / 90)
    direction = np.stack([np.cos(angle), np.sin(angle)], 1)
    across = np.stack([-direction[:, 1], direction[:, 0]], 1)
    bend = across * (rng.normal(0, 0.1, count) * span)[:, None]
    base = source[iy, ix].astype(np.float32) * (1 + rng.normal(0, 0.06, (count, 1))) + rng.normal(0, 5, (count, 3))
    offsets = np.linspace(-0.5, 0.5, bristles) * width
    a = xy - direction * span[:, None] / 2
    b = xy + direction * span[:, None] / 2
    paths = np.stack([a, xy + bend, b], 1)[:, None] + (across[:, None] * offsets[None, :, None])[:, :, None]
    fixed = np.round(paths * 16).astype(np.int32)
    tint = np.clip(base[:, None] * (1 + rng.normal(0, 0.05, (count, bristles, 1))), 0, 255).astype(int).tolist()
    edge = 150 + 90 * np.abs(np.linspace(-1, 1, bristles)) ** 3
    heights = np.clip(edge[None] + rng.normal(0, 40, (count, bristles)), 20, 255).astype(int).tolist()
    thick = max(1, round(width / max(1, bristles - 1)) + 1)
    if bristles < 3:  # small pictures: the stroke, not the bristle, carries colour and relief
        for stroke, colours, tall in zip(fixed, tint, heights, strict=True):
            both = list(stroke)
            cv2.polylines(image, both, False, colours[0], thick, cv2.LINE_AA, 4)
            cv2.polylines(relief, both, False, tall[0], thick, cv2.LINE_8, 4)
        return
    for stroke, colours, tall in zip(fixed, tint, heights, strict=True):
        for path, colour, z in zip(stroke, colours, tall, strict=True):
            cv2.polylines(image, [path], False, colour, thick, cv2.LINE_AA, 4)
            cv2.polylines(relief, [path], False, z, thick, cv2.LINE_8, 4)


def impasto(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Thick brush strokes over canvas."""
    source = SCENES[scene](rng, w, h, pal)
    image = cv2.addWeighted(source, 0.75, plain(w, h, pal.tone(0.3)), 0.25, 0)
    relief = (weave(w, h, max(2.0, w / 260)) * 60).astype(np.uint8)
    unit = float(np.sqrt(w * h))
    big = w * h > 200_000
    passes = (
        ((500, 0.09, 0.022, 6), (2600, 0.045, 0.011, 5), (4200, 0.02, 0.006, 3))
        if big
        else ((60, 0.13, 0.045, 2), (200, 0.06, 0.02, 2))
    )
    for count, length, width, bristles in passes:
        _strokes(rng, source, count, length * unit, width * unit, bristles, image, relief)
    detail = cv2.addWeighted(image, 0.82, source, 0.18, 0)
    return Painting(as_floats(detail), as_floats(relief))


def knife(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Broad palette-knife slabs."""
    source = SCENES[scene](rng, w, h, pal)
    image, relief = source.copy(), np.full((h, w), 60, np.uint8)
    unit = float(np.sqrt(w * h))
    big = w * h > 200_000
    spread = int(np.clip(unit / 26, 3, 60))
    soft = cv2.blur(source, (spread, spread))
    xy = rng.random((1300 if big else 170, 2)) * [w - 1, h - 1]
    for k, (x, y) in enumerate(xy):
        src = soft if k < len(xy) * 0.4 else source
        colour = src[int(y), int(x)] * (1 + rng.normal(0, 0.05)) + rng.normal(0, 4, 3)
        long, wide, a = unit * rng.uniform(0.02, 0.07), unit * rng.uniform(0.008, 0.02), rng.normal(0.35, 0.5)
        if k > len(xy) * 0.6:
            long, wide = long * 0.42, wide * 0.55
        c, s = np.cos(a), np.sin(a)
        quad = np.array([[-long, -wide], [long * 0.9, -wide * 0.8], [long, wide], [-long * 0.92, wide * 0.9]])
        quad = quad @ np.array([[c, s], [-s, c]]) + [x, y]
        poly(image, quad, np.clip(colour, 0, 255).tolist())
        poly(relief, quad, int(rng.integers(90, 230)))
        line(relief, quad[2:], 255, unit / 420)
    image = cv2.addWeighted(image, 0.85, source, 0.15, 0)
    return Painting(as_floats(image), cv2.GaussianBlur(as_floats(relief), (3, 3), 0))
