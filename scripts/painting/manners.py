"""How it is painted. A manner takes (random, width, height, palette, scene name) and returns a `Painting`.

Textured strokes, flat shapes, line work, soft fields, a near-identical series, minimal work, collage, washes.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from .canvas import (
    Floats,
    Painting,
    Palette,
    Picture,
    Random,
    as_floats,
    below,
    ellipse,
    gradient,
    line,
    mix,
    noise,
    plain,
    poly,
    ridge,
    weave,
)
from .flat import FLAT_LAYOUTS
from .scenes import SCENES

Manner = Callable[[Random, int, int, Palette, str], Painting]


def _strokes(rng: Random, source: Picture, count: int, length: float, width: float, bristles: int,
             image: Picture, relief: Picture) -> None:
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
    passes = ((500, 0.09, 0.022, 6), (2600, 0.045, 0.011, 5), (4200, 0.02, 0.006, 3)) if big else ((110, 0.13, 0.04, 3), (260, 0.06, 0.018, 2))
    for count, length, width, bristles in passes:
        _strokes(rng, source, count, length * unit, width * unit, bristles, image, relief)
    detail = cv2.addWeighted(image, 0.82, source, 0.18, 0)
    return Painting(as_floats(detail), as_floats(relief))  # type: ignore[arg-type]


def knife(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Broad palette-knife slabs."""
    source = SCENES[scene](rng, w, h, pal)
    image, relief = source.copy(), np.full((h, w), 60, np.uint8)
    unit = float(np.sqrt(w * h))
    big = w * h > 200_000
    spread = int(np.clip(unit / 26, 3, 60))
    soft = cv2.medianBlur(source, spread | 1)
    xy = rng.random((900 if big else 220, 2)) * [w - 1, h - 1]
    for k, (x, y) in enumerate(xy):
        src = soft if k < len(xy) * 0.4 else source
        colour = src[int(y), int(x)] * (1 + rng.normal(0, 0.05)) + rng.normal(0, 4, 3)
        long, wide, a = unit * rng.uniform(0.02, 0.075), unit * rng.uniform(0.008, 0.022), rng.normal(0.35, 0.5)
        if k > len(xy) * 0.6:
            long, wide = long * 0.5, wide * 0.6
        c, s = np.cos(a), np.sin(a)
        quad = np.array([[-long, -wide], [long * 0.9, -wide * 0.8], [long, wide], [-long * 0.92, wide * 0.9]])
        quad = quad @ np.array([[c, s], [-s, c]]) + [x, y]
        poly(image, quad, np.clip(colour, 0, 255).tolist())
        poly(relief, quad, int(rng.integers(90, 230)))
        line(relief, quad[2:], 255, unit / 420)
    image = cv2.addWeighted(image, 0.85, source, 0.15, 0)
    return Painting(as_floats(image), cv2.GaussianBlur(as_floats(relief), (3, 3), 0))  # type: ignore[arg-type]


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
        grey = cv2.createCLAHE(2.0, (4, 4)).apply(cv2.GaussianBlur(grey, (0, 0), 1.0))
        pitch = unit / 105
        for angle, limit in ((0.6, 190), (-0.75, 125), (1.45, 80), (0.05, 45)):
            d = np.array([np.cos(angle), np.sin(angle)])
            n = np.array([-d[1], d[0]])
            reach, step = unit, unit / 70
            offs = np.arange(-reach, reach, pitch)[:, None, None] * n
            starts = np.arange(-reach, reach, step)[None, :, None] * d + offs + [w / 2, h / 2]
            starts = starts.reshape(-1, 2) + rng.normal(0, pitch * 0.18, (starts.shape[0] * starts.shape[1], 2))
            ends = starts + d * step * rng.uniform(0.9, 1.5, (len(starts), 1)) + rng.normal(0, pitch * 0.14, starts.shape)
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
            cv2.polylines(image, found, True, pal.accents[0] if k % 5 == 0 else ink, max(1, round(pen * (2 if k % 5 == 0 else 1))), cv2.LINE_AA)
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


def colour_field(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:  # noqa: ARG001
    """Two to four soft-edged fields, hardly any detail: the hard case for likeness."""
    ground = np.asarray(pal.tone(rng.uniform(0.1, 0.9)), np.float32) / 255
    image: Floats = np.ones((h, w, 3), np.float32) * ground
    bands = int(rng.integers(2, 5))
    cuts = np.sort(rng.uniform(0.12, 0.88, bands - 1))
    tops, bottoms = np.r_[0.05, cuts + 0.015], np.r_[cuts - 0.015, 0.95]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    inset = rng.uniform(0.04, 0.09) * w
    for top, bottom in zip(tops, bottoms, strict=True):
        colour = np.asarray(pal.accent(rng) if rng.random() < 0.5 else pal.tone(rng.random()), np.float32) / 255
        soft = rng.uniform(0.008, 0.03) * h
        wobble = (noise(rng, w, h, 4, 2) - np.float32(0.5)) * np.float32(0.05 * h)
        inside = np.minimum(np.minimum(y + wobble - top * h, bottom * h - y - wobble), np.minimum(x + wobble - inset, w - inset - x - wobble))
        cover = np.float32(1) / (np.float32(1) + np.exp(np.clip(-inside / np.float32(soft), -30, 30)))
        cover = cover * (np.float32(0.78) + np.float32(0.22) * noise(rng, w, h, 3, 2))
        image = image * (1 - cover[..., None]) + colour * cover[..., None]
    image = image * (np.float32(0.97) + np.float32(0.06) * noise(rng, w, h, 6, 2)[..., None])
    return Painting(np.clip(image, 0, 1).astype(np.float32), np.zeros((h, w), np.float32))


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
        poly(image, [(px * w, 0.66 * h), ((px + 0.012) * w, 0.66 * h), ((px + 0.012) * w, 0.97 * h), (px * w, 0.97 * h)], pal.tone(0.04))
    return Painting(as_floats(image), np.zeros((h, w), np.float32))


def minimal(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:  # noqa: ARG001
    """A mark or two on a large empty sheet."""
    image = plain(w, h, mix(pal.tone(1.0), (250, 248, 243), rng.uniform(0.3, 0.9)))
    kind, ink = int(rng.integers(4)), pal.accent(rng) if rng.random() < 0.5 else pal.tone(0.05)
    cx, cy = rng.uniform(0.3, 0.7) * w, rng.uniform(0.35, 0.7) * h
    if kind == 0:
        s = h * rng.uniform(0.06, 0.14)
        ellipse(image, (cx, cy + s * 0.75), (s * 1.1, s * 0.12), mix(pal.tone(0.85), pal.tone(0.4), 0.5))
        ellipse(image, (cx, cy), (s * rng.uniform(1, 1.4), s * 0.8), ink, float(rng.uniform(-20, 20)))
    elif kind == 1:
        line(image, [(rng.uniform(0.05, 0.3) * w, cy), (rng.uniform(0.6, 0.95) * w, cy + rng.normal() * 0.01 * h)], ink, h / 160)
        ellipse(image, (cx, cy - h * 0.03), (h * 0.03,) * 2, pal.accent(rng))
    elif kind == 2:
        t = np.linspace(0, 1, 120)
        p = rng.uniform(0, 6, 3)
        path = np.stack([w * (0.1 + 0.8 * t), cy + h * 0.16 * np.sin(4 * t + p[0]) * np.sin(9 * t + p[1])], 1)
        line(image, path, ink, h / 260)
    else:
        s = h * rng.uniform(0.1, 0.2)
        poly(image, [(cx - s, cy - s), (cx + s * 0.9, cy - s * 1.02), (cx + s, cy + s), (cx - s * 0.95, cy + s * 0.97)], ink)
        poly(image, [(cx + s * 1.15, cy - s), (cx + s * 1.3, cy - s), (cx + s * 1.3, cy + s), (cx + s * 1.15, cy + s)], pal.accent(rng))
    return Painting(as_floats(image), noise(rng, w, h, 110, 1) * np.float32(0.1))


def collage(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:  # noqa: ARG001
    """Torn and cut papers with print on them, shadows at their edges, stencilled shapes over all."""
    image = plain(w, h, mix(pal.tone(0.85), (235, 226, 205), 0.5))
    relief = np.zeros((h, w), np.uint8)
    unit = float(np.sqrt(w * h))
    for k in range(int(rng.integers(7, 13))):
        cx, cy, r = rng.uniform(0.08, 0.92) * w, rng.uniform(0.08, 0.92) * h, unit * rng.uniform(0.12, 0.26)
        turns = np.sort(rng.uniform(0, 2 * np.pi, 28)) if k % 2 else np.radians([40, 140, 220, 320]) + rng.normal(0, 0.15, 4)
        shape = np.stack([cx + np.cos(turns) * r * rng.uniform(0.85, 1.1, len(turns)),
                          cy + np.sin(turns) * r * rng.uniform(0.85, 1.1, len(turns))], 1)
        mask, shadow = np.zeros((h, w), np.uint8), np.zeros((h, w), np.uint8)
        poly(mask, shape, 255)
        poly(shadow, shape + unit * 0.008, 110)
        x0, y0, bw, bh = cv2.boundingRect(np.round(np.clip(shape, 0, [w - 1, h - 1])).astype(np.int32))
        y1, x1 = min(h, y0 + bh + int(unit * 0.05)), min(w, x0 + bw + int(unit * 0.05))
        part = slice(y0, y1), slice(x0, x1)
        dim = (cv2.blur(shadow[part], (max(2, int(unit * 0.012)),) * 2) / np.float32(255))[..., None]
        image[part] = (image[part] * (1 - dim)).astype(np.uint8)
        sheet = plain(x1 - x0, y1 - y0, pal.accent(rng) if rng.random() < 0.5 else pal.tone(rng.random()))
        ink, style = pal.tone(float(rng.choice([0.0, 1.0]))), int(rng.integers(5))
        gap = unit * rng.uniform(0.018, 0.035)
        if style == 0:
            for sy in np.arange(0, y1 - y0, gap):
                for sx in np.arange(gap * 0.3, x1 - x0, gap * rng.uniform(3, 6)):
                    line(sheet, [(sx, sy), (sx + gap * rng.uniform(0.8, 3), sy)], ink, gap * 0.25)
        elif style == 1:
            for sx in np.arange(0, x1 - x0 + y1 - y0, gap * 1.4):
                line(sheet, [(sx, 0), (sx - (y1 - y0), y1 - y0)], ink, gap * 0.45)
        elif style == 2:
            for sy in np.arange(0, y1 - y0, gap * 1.5):
                for sx in np.arange(0, x1 - x0, gap * 1.5):
                    ellipse(sheet, (sx, sy), (gap * 0.35,) * 2, ink)
        cover = (mask[part] / np.float32(255))[..., None]
        image[part] = (image[part] * (1 - cover) + sheet * cover).astype(np.uint8)
        relief[part] = np.where(mask[part] > 127, min(255, 40 + 20 * k), relief[part])
    stencil = np.zeros((h, w), np.uint8)
    for _ in range(int(rng.integers(2, 5))):
        x, y, s = rng.uniform(0.1, 0.8) * w, rng.uniform(0.15, 0.85) * h, unit * rng.uniform(0.06, 0.13)
        kind = int(rng.integers(4))
        if kind == 0:
            poly(stencil, [(x, y), (x + 2 * s, y), (x + 2 * s, y - s * 0.5), (x + 3 * s, y + s * 0.4), (x + 2 * s, y + 1.3 * s), (x + 2 * s, y + 0.8 * s), (x, y + 0.8 * s)], 255)
        elif kind == 1:
            ellipse(stencil, (x, y), (s, s), 255)
            ellipse(stencil, (x, y), (s * 0.6, s * 0.6), 0)
        elif kind == 2:
            for k in range(4):
                poly(stencil, [(x + k * s * 0.5, y - s), (x + k * s * 0.5 + s * 0.26, y - s), (x + k * s * 0.5 + s * 0.26, y + s), (x + k * s * 0.5, y + s)], 255)
        else:
            for k in range(6):
                ellipse(stencil, (x, y), (s * 1.2, s * 0.3), 255, 30 * k)
    spray = (cv2.GaussianBlur(stencil, (0, 0), unit * 0.002) / np.float32(255)) * (np.float32(0.72) + np.float32(0.28) * noise(rng, w, h, 60, 2))
    colour = np.asarray(pal.tone(0.0), np.float32)
    image = (image * (1 - spray[..., None]) + colour * spray[..., None]).astype(np.uint8)
    return Painting(as_floats(image), as_floats(relief))  # type: ignore[arg-type]


def wash(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Watercolour: transparent layers with dark drying edges on rough paper."""
    paper = noise(rng, w, h, w / 5, 2)
    image: Floats = np.ones((h, w, 3), np.float32) * (np.asarray(mix(pal.tone(1), (253, 251, 245), 0.75), np.float32) / 255)
    unit = float(np.sqrt(w * h))

    def lay(mask: Picture, colour: tuple[int, int, int], strength: float) -> None:
        nonlocal image
        ragged = cv2.GaussianBlur(mask, (0, 0), unit * 0.006).astype(np.float32) / 255
        ragged = np.clip((ragged + (noise(rng, w, h, 22, 2) - 0.5) * 0.5 - 0.42) * 7, 0, 1).astype(np.float32)
        edge = np.clip(ragged - cv2.GaussianBlur(ragged, (0, 0), unit * 0.007), 0, 1)
        bloom = np.float32(0.55) + np.float32(0.75) * noise(rng, w, h, 5, 3)
        density = strength * ragged * bloom * (np.float32(0.85) + np.float32(0.3) * paper) + 0.45 * edge * ragged
        image = image * np.exp(-density[..., None] * (1 - np.asarray(colour, np.float32) / 255) * 1.9)

    mask = np.zeros((h, w), np.uint8)
    if scene == "branch":
        stem = np.array([[0.02, 0.85], [0.25, 0.66], [0.45, 0.55], [0.7, 0.32], [0.95, 0.2]]) + rng.normal(0, 0.02, (5, 2))
        line(mask, stem * [w, h], 255, unit * 0.016)
        for k in range(1, 5):
            line(mask, np.stack([stem[k], stem[k] + [rng.uniform(-0.02, 0.1), rng.choice([-0.22, 0.2])]]) * [w, h], 255, unit * 0.009)
        lay(mask, pal.tone(0.12), 1.2)
        for _ in range(26):
            k, u = int(rng.integers(4)), rng.random()
            at = (stem[k] * (1 - u) + stem[k + 1] * u + rng.normal(0, 0.075, 2)) * [w, h]
            flower = np.zeros((h, w), np.uint8)
            for p in range(5):
                a = 2 * np.pi * p / 5 + u
                ellipse(flower, (at[0] + np.cos(a) * unit * 0.021, at[1] + np.sin(a) * unit * 0.021), (unit * 0.02, unit * 0.015), 255, float(np.degrees(a)))
            lay(flower, pal.accents[int(rng.integers(2))], rng.uniform(0.35, 0.8))
        return Painting(np.clip(image, 0, 1), paper * np.float32(0.35))
    top = rng.uniform(0.3, 0.5)
    poly(mask, below(ridge(rng, w, 0.05 * h, 0.05 * h), top * h * 1.1), 255)
    lay(mask, pal.tone(rng.uniform(0.45, 0.7)), rng.uniform(0.25, 0.5))
    layers = 5 if w * h > 200_000 else 3
    for i in range(layers):
        t = i / max(1, layers - 1)
        mask = np.zeros((h, w), np.uint8)
        y = h * (top + (0.9 - top) * t)
        poly(mask, below(ridge(rng, w, y, h * (0.16 - 0.08 * t), rng.uniform(1, 3), 0.2), min(h + 2.0, y + h * rng.uniform(0.2, 0.5))), 255)
        lay(mask, mix(pal.tone(0.55 - 0.4 * t), pal.accent(rng), rng.uniform(0.05, 0.5)), rng.uniform(0.45, 0.8))
    mask = np.zeros((h, w), np.uint8)
    for _ in range(int(rng.integers(3, 9))):
        x, y, s = rng.uniform(0.05, 0.95) * w, h * rng.uniform(top, 0.85), unit * rng.uniform(0.015, 0.05)
        if scene == "rain":
            line(mask, [(x, y - 8 * s), (x - 2.2 * s, y)], 255, unit * 0.006)
        else:
            line(mask, [(x, y), (x, y - 2.2 * s)], 255, s * 0.22)
            ellipse(mask, (x, y - 2.4 * s), (s * 0.8, s * 1.2), 255)
    lay(mask, pal.tone(0.1), 0.9)
    return Painting(np.clip(image, 0, 1).astype(np.float32), paper * np.float32(0.35))


MANNERS: dict[str, Manner] = {
    "impasto": impasto, "knife": knife, "flat": flat, "lines": lines, "colour field": colour_field,
    "tide": tide, "minimal": minimal, "collage": collage, "wash": wash,
}
