"""Pen, print and near-empty sheets: line work, flat shapes, the numbered series, minimal work."""

from __future__ import annotations

import cv2
import numpy as np

from .canvas import Painting, Palette, Random, as_floats, below, ellipse, gradient, line, mix, noise, plain, poly, ridge
from .flat import FLAT_LAYOUTS
from .scenes import SCENES


def flat(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Flat shapes as cut paper or screen print; `scene` names a layout in `flat.FLAT_LAYOUTS`."""
    names = list(FLAT_LAYOUTS)
    layout = FLAT_LAYOUTS[scene] if scene in FLAT_LAYOUTS else FLAT_LAYOUTS[names[int(rng.integers(len(names)))]]
    return Painting(as_floats(layout(rng, w, h, pal)), np.zeros((h, w), np.float32))


def lines(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Pen on cream paper: hatching after a scene, or contour and ridge lines."""
    paper, ink = mix(pal.tone(1.0), (252, 248, 238), 0.7), mix(pal.tone(0.0), (20, 22, 30), 0.6)
    image = plain(w, h, paper)
    pen, unit = max(1.0, min(w, h) / 520), float(np.sqrt(w * h))
    if scene in SCENES:
        grey = cv2.cvtColor(SCENES[scene](rng, w, h, pal), cv2.COLOR_RGB2GRAY)
        grey = cv2.createCLAHE(1.6, (4, 4)).apply(cv2.GaussianBlur(grey, (0, 0), 1.0))
        fine = min(1.0, max(0.5, unit / 700))  # a small sheet takes fewer lines of the same pen
        pitch = unit / (105 * fine)
        for angle, limit in ((0.6, 185), (-0.75, 115), (1.45, 70), (0.05, 38)):
            d = np.array([np.cos(angle), np.sin(angle)])
            n = np.array([-d[1], d[0]])
            reach, step = unit * 0.85, unit / (70 * fine)
            offs = np.arange(-reach, reach, pitch)[:, None, None] * n
            starts = np.arange(-reach, reach, step)[None, :, None] * d + offs + [w / 2, h / 2]
            starts = starts.reshape(-1, 2) + rng.normal(0, pitch * 0.18, (starts.shape[0] * starts.shape[1], 2))
            ends = (
                starts + d * step * rng.uniform(0.9, 1.5, (len(starts), 1)) + rng.normal(0, pitch * 0.14, starts.shape)
            )
            mid = (starts + ends) / 2
            inside = (mid[:, 0] >= 0) & (mid[:, 0] < w) & (mid[:, 1] >= 0) & (mid[:, 1] < h)
            starts, ends, mid = starts[inside], ends[inside], mid[inside]
            dark = grey[mid[:, 1].astype(int), mid[:, 0].astype(int)] < limit
            marks = np.round(np.stack([starts[dark], ends[dark]], 1) * 16).astype(np.int32)
            cv2.polylines(image, list(marks), False, ink, max(1, round(pen)), cv2.LINE_AA, 4)
        edges = cv2.dilate(cv2.Canny(grey, 60, 150), np.ones((max(1, round(pen)),) * 2, np.uint8))
        image[edges > 0] = mix(ink, paper, 0.1)
    elif scene == "contours":
        land = noise(rng, w, h, rng.uniform(3, 5), 3)
        for k, level in enumerate(np.linspace(land.min(), land.max(), 34)):
            found, _ = cv2.findContours((land > level).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
            cv2.polylines(
                image,
                found,
                True,
                pal.accents[0] if k % 5 == 0 else ink,
                max(1, round(pen * (2 if k % 5 == 0 else 1))),
                cv2.LINE_AA,
            )
    else:
        hill = noise(rng, w, h, rng.uniform(3, 6), 4)
        swell = np.exp(-(((np.arange(w) / w - rng.uniform(0.35, 0.65)) / 0.24) ** 2))
        x = np.linspace(0.08 * w, 0.92 * w, 300)
        for y in np.linspace(0.2 * h, 0.92 * h, 52):
            row = hill[min(h - 1, int(y))] * swell
            rise = np.interp(x, np.arange(w), row) * h * 0.3 + rng.normal(0, h / 1600, 300)
            path = np.stack([x, y - rise], 1)
            poly(image, below(path, y + h * 0.02), paper)
            line(image, path, ink if rng.random() > 0.08 else pal.accents[0], pen)
    return Painting(as_floats(image), noise(rng, w, h, 90, 1) * np.float32(0.12))


def tide(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """One of a numbered series: the same layout, a moon that moves and a tide that rises by `scene` (a number)."""
    step = int(scene) if scene.isdigit() else int(rng.integers(1, 40))
    fixed = np.random.default_rng([7, int(rng.integers(1 << 30)) if not scene.isdigit() else 11])
    t = (step - 1) / 5 if scene.isdigit() else rng.random()
    image = gradient(w, h, pal.tone(0.1), pal.tone(0.62))
    mx, my, r = w * (0.22 + 0.56 * t), h * (0.4 - 0.2 * np.sin(np.pi * t)), 0.11 * h
    for k in range(5):
        ellipse(image, (mx, my), (r * (1.5 - 0.1 * k),) * 2, mix(pal.tone(0.3), pal.tone(1.0), 0.12 + k * 0.06))
    ellipse(image, (mx, my), (r, r), mix(pal.tone(1), pal.accents[1], 0.12))
    poly(image, below(ridge(fixed, w, 0.62 * h, 0.12 * h, 2.4), h), pal.tone(0.22))
    level = h * (0.78 - 0.1 * t)
    for k in range(9):
        y = level + k * h * 0.04
        xs = np.linspace(0, w, 80)
        wave = np.stack([xs, y + h * 0.007 * np.sin(xs / w * (14 + k) + k * 1.7 + step * 0.6)], 1)
        poly(image, below(wave, h + 2), mix(pal.tone(0.3 + 0.05 * k), pal.accents[0], 0.03 * k))
    for px in (0.14, 0.2, 0.26):
        poly(
            image,
            [(px * w, 0.66 * h), ((px + 0.012) * w, 0.66 * h), ((px + 0.012) * w, 0.97 * h), (px * w, 0.97 * h)],
            pal.tone(0.04),
        )
    return Painting(as_floats(image), np.zeros((h, w), np.float32))


_MARKS = ("stone", "horizon", "thread", "square")


def minimal(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """A mark or two on a large empty sheet; `scene` names the mark, else one is drawn by lot."""
    image = plain(w, h, mix(pal.tone(1.0), (250, 248, 243), rng.uniform(0.3, 0.9)))
    kind = _MARKS.index(scene) if scene in _MARKS else int(rng.integers(4))
    ink = pal.accent(rng) if rng.random() < 0.5 else pal.tone(0.05)
    cx, cy = rng.uniform(0.3, 0.7) * w, rng.uniform(0.35, 0.7) * h
    if kind == 0:
        s = h * rng.uniform(0.06, 0.14)
        ellipse(image, (cx, cy + s * 0.75), (s * 1.1, s * 0.12), mix(pal.tone(0.85), pal.tone(0.4), 0.5))
        ellipse(image, (cx, cy), (s * rng.uniform(1, 1.4), s * 0.8), ink, float(rng.uniform(-20, 20)))
    elif kind == 1:
        line(
            image,
            [(rng.uniform(0.05, 0.3) * w, cy), (rng.uniform(0.6, 0.95) * w, cy + rng.normal() * 0.01 * h)],
            ink,
            h / 160,
        )
        ellipse(image, (cx, cy - h * 0.03), (h * 0.03,) * 2, pal.accent(rng))
    elif kind == 2:
        t = np.linspace(0, 1, 120)
        p = rng.uniform(0, 6, 3)
        path = np.stack([w * (0.1 + 0.8 * t), cy + h * 0.16 * np.sin(4 * t + p[0]) * np.sin(9 * t + p[1])], 1)
        line(image, path, ink, h / 260)
    else:
        s = h * rng.uniform(0.1, 0.2)
        poly(
            image,
            [(cx - s, cy - s), (cx + s * 0.9, cy - s * 1.02), (cx + s, cy + s), (cx - s * 0.95, cy + s * 0.97)],
            ink,
        )
        poly(
            image,
            [(cx + s * 1.15, cy - s), (cx + s * 1.3, cy - s), (cx + s * 1.3, cy + s), (cx + s * 1.15, cy + s)],
            pal.accent(rng),
        )
    return Painting(as_floats(image), noise(rng, w, h, 110, 1) * np.float32(0.1))
