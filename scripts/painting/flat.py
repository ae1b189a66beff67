"""Layouts in flat colour: kites, a garden, a yard, a ferry stop, quarter circles."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .canvas import Palette, Picture, Random, below, ellipse, line, mix, plain, poly, ridge

Layout = Callable[[Random, int, int, Palette], Picture]


def kites(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """Kites over two hills."""
    image = plain(w, h, pal.tone(rng.uniform(0.65, 0.95)))
    for k in range(3):
        poly(
            image,
            below(ridge(rng, w, h * (0.72 + 0.1 * k), 0.1 * h, rng.uniform(1, 2), 0), h + 2),
            pal.tone(0.55 - 0.22 * k),
        )
    for x in np.linspace(0.2, 0.8, 3 + int(rng.random() < 0.25)):
        cx, cy, s = (x + rng.normal() * 0.05) * w, rng.uniform(0.18, 0.45) * h, h * rng.uniform(0.09, 0.16)
        a = rng.normal() * 0.4
        turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        tips = np.array([[0, -1.2], [0.75, -0.1], [0, 1.3], [-0.75, -0.1]]) * s @ turn + [cx, cy]
        one, two = pal.accent(rng), pal.accent(rng)
        t = np.linspace(0, 1, 50)
        tail = np.stack([tips[2, 0] + s * 0.45 * np.sin(t * 9) * t + s * t * 0.6, tips[2, 1] + t * s * 3], 1)
        line(image, tail, pal.tone(0.05), h / 230)
        for bow in tail[12::9]:
            poly(image, bow + np.array([[-0.16, -0.09], [0.16, 0.09], [0.16, -0.09], [-0.16, 0.09]]) * s, two)
        poly(image, tips, one)
        poly(image, tips[[0, 1, 2]], two)
        poly(image, [tips[0], (cx, cy), tips[3]], mix(one, pal.tone(1), 0.5))
    return image


def garden(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """Cut-paper plants in rows."""
    image = plain(w, h, mix(pal.tone(rng.uniform(0.8, 1)), pal.accent(rng), 0.12))
    for row in range(2):
        foot = h * (0.58 + 0.4 * row)
        poly(
            image,
            [(0, foot - 0.03 * h), (w, foot - 0.05 * h), (w, foot + 0.08 * h), (0, foot + 0.08 * h)],
            pal.tone(0.3 - 0.2 * row),
        )
        for x in np.linspace(0.08, 0.92, int(rng.integers(4, 8))) * w:
            tall, leaf, head = h * rng.uniform(0.2, 0.42), pal.tone(rng.uniform(0.15, 0.5)), pal.accent(rng)
            line(image, [(x, foot), (x + rng.normal() * 4, foot - tall)], leaf, h / 90)
            for k in range(int(rng.integers(1, 4))):
                for side in (-1, 1):
                    ellipse(
                        image,
                        (x + side * h * 0.035, foot - tall * (0.2 + 0.22 * k)),
                        (h * 0.042, h * 0.016),
                        leaf,
                        side * -28.0,
                    )
            kind, r = int(rng.integers(4)), h * rng.uniform(0.035, 0.06)
            if kind == 0:
                for p in range(7):
                    a = p * 2 * np.pi / 7
                    ellipse(
                        image,
                        (x + np.cos(a) * r, foot - tall + np.sin(a) * r),
                        (r * 0.62, r * 0.4),
                        head,
                        float(np.degrees(a)),
                    )
                ellipse(image, (x, foot - tall), (r * 0.5,) * 2, pal.accents[1])
            elif kind == 1:
                ellipse(image, (x, foot - tall), (r * 1.3,) * 2, head, 0, 180, 360)
            elif kind == 2:
                poly(
                    image,
                    [
                        (x - r, foot - tall - r),
                        (x - r * 0.5, foot - tall),
                        (x, foot - tall - r),
                        (x + r * 0.5, foot - tall),
                        (x + r, foot - tall - r),
                        (x + r * 0.7, foot - tall + r),
                        (x - r * 0.7, foot - tall + r),
                    ],
                    head,
                )
            else:
                ellipse(image, (x, foot - tall), (r, r * 1.3), head)
                ellipse(image, (x, foot - tall), (r * 0.55, r * 0.8), mix(head, pal.tone(1), 0.5))
    return image


def yard(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """A barn, a silo and their shadows."""
    image = plain(w, h, pal.tone(rng.uniform(0.7, 1)))
    ground = h * rng.uniform(0.62, 0.72)
    poly(image, [(0, ground), (w, ground), (w, h), (0, h)], mix(pal.tone(0.6), pal.accents[1], 0.35))
    r = h * rng.uniform(0.06, 0.12)
    ellipse(image, (rng.uniform(0.1, 0.9) * w, rng.uniform(0.14, 0.26) * h), (r, r), pal.accents[1])
    x = w * rng.uniform(0.04, 0.15)
    for k in range(int(rng.integers(2, 4))):
        wide, tall = w * rng.uniform(0.18, 0.3), h * rng.uniform(0.2, 0.32)
        wall, roof = pal.accents[0] if k == 0 else pal.accent(rng), pal.tone(rng.uniform(0.05, 0.3))
        foot = ground + h * rng.uniform(0.02, 0.08)
        poly(
            image,
            [(x, foot), (x + wide, foot), (x + wide * 1.7, foot + 0.12 * h), (x + wide * 0.6, foot + 0.12 * h)],
            mix(pal.tone(0.3), pal.accents[1], 0.2),
        )
        poly(
            image,
            [(x, foot), (x, foot - tall), (x + wide / 2, foot - tall * 1.6), (x + wide, foot - tall), (x + wide, foot)],
            wall,
        )
        poly(
            image,
            [
                (x - wide * 0.06, foot - tall),
                (x + wide / 2, foot - tall * 1.68),
                (x + wide * 1.06, foot - tall),
                (x + wide, foot - tall * 0.94),
                (x + wide / 2, foot - tall * 1.54),
                (x, foot - tall * 0.94),
            ],
            roof,
        )
        poly(
            image,
            [
                (x + wide * 0.36, foot),
                (x + wide * 0.36, foot - tall * 0.55),
                (x + wide * 0.64, foot - tall * 0.55),
                (x + wide * 0.64, foot),
            ],
            pal.tone(0.06),
        )
        line(image, [(x + wide * 0.36, foot), (x + wide * 0.64, foot - tall * 0.55)], pal.tone(1), h / 150)
        x += wide * rng.uniform(1.05, 1.3)
    for k in range(9):
        px = w * (k + 0.5) / 9
        poly(image, [(px, h * 0.88), (px + w * 0.012, h * 0.88), (px + w * 0.012, h), (px, h)], pal.tone(1))
    poly(image, [(0, h * 0.91), (w, h * 0.91), (w, h * 0.925), (0, h * 0.925)], pal.tone(1))
    return image


def ferry(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """A ferry on striped water below a flat sun."""
    image = plain(w, h, mix(pal.tone(0.9), pal.accents[1], rng.uniform(0, 0.5)))
    r = h * rng.uniform(0.12, 0.2)
    ellipse(image, (rng.uniform(0.2, 0.8) * w, 0.36 * h), (r, r), pal.accents[0])
    poly(image, below(ridge(rng, w, 0.5 * h, 0.12 * h, 1.6, 0), h), pal.tone(0.5))
    x, s, y = rng.uniform(0.28, 0.5) * w, w * rng.uniform(0.17, 0.22), 0.62 * h
    poly(
        image,
        [(x - s, y - s * 0.3), (x + s * 1.2, y - s * 0.3), (x + s, y + s * 0.1), (x - s * 0.85, y + s * 0.1)],
        pal.tone(0.05),
    )
    poly(
        image,
        [
            (x - s * 0.75, y - s * 0.3),
            (x - s * 0.75, y - s * 0.58),
            (x + s * 0.8, y - s * 0.58),
            (x + s * 0.95, y - s * 0.3),
        ],
        pal.tone(1),
    )
    for k in range(6):
        ellipse(image, (x - s * 0.58 + k * s * 0.24, y - s * 0.44), (s * 0.06,) * 2, pal.tone(0.3))
    poly(
        image,
        [
            (x - s * 0.1, y - s * 0.58),
            (x - s * 0.06, y - s * 0.95),
            (x + s * 0.2, y - s * 0.95),
            (x + s * 0.22, y - s * 0.58),
        ],
        pal.accents[0],
    )
    poly(
        image,
        [
            (x - s * 0.08, y - s * 0.78),
            (x + s * 0.21, y - s * 0.78),
            (x + s * 0.21, y - s * 0.7),
            (x - s * 0.09, y - s * 0.7),
        ],
        pal.tone(1),
    )
    for k in range(8):
        xs = np.linspace(0, w, 120)
        top = h * (0.63 + 0.05 * k)
        wave = np.stack([xs, top + h * 0.012 * np.abs(np.sin(xs / w * (12 - k * 0.7) + k))], 1)
        poly(
            image,
            below(wave, h + 2),
            pal.tone(0.2 + 0.5 * (k % 2)) if k % 3 else mix(pal.tone(0.4), pal.accent(rng), 0.3),
        )
    return image


def quarters(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """A grid of quarter circles, stripes and squares."""
    rows = int(rng.integers(3, 6))
    cell = h / rows
    columns = max(2, round(w / cell))
    cw = w / columns
    image = plain(w, h, pal.tone(1.0))
    for i in range(columns):
        for j in range(rows):
            x, y = i * cw, j * cell
            ground = pal.tone(float(rng.choice([0.1, 0.5, 0.85, 1.0])))
            fore, kind = pal.accent(rng), int(rng.integers(5))
            poly(image, [(x, y), (x + cw, y), (x + cw, y + cell), (x, y + cell)], ground)
            if kind < 3:
                corner = int(rng.integers(4))
                at = ((x, y), (x + cw, y), (x + cw, y + cell), (x, y + cell))[corner]
                for part, colour in ((1.0, fore), (0.6, ground), (0.3, fore)):
                    ellipse(image, at, (cw * part, cell * part), colour, 0, 90.0 * corner, 90.0 * corner + 90)
            elif kind == 3:
                for k in range(3):
                    poly(
                        image,
                        [
                            (x + cw * k / 3, y),
                            (x + cw * (k + 0.5) / 3, y),
                            (x + cw * (k + 0.5) / 3, y + cell),
                            (x + cw * k / 3, y + cell),
                        ],
                        fore,
                    )
            else:
                ellipse(image, (x + cw / 2, y + cell / 2), (cw * 0.36, cell * 0.36), fore)
    return image


FLAT_LAYOUTS: dict[str, Layout] = {"kites": kites, "garden": garden, "yard": yard, "ferry": ferry, "quarters": quarters}
