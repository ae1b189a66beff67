"""Harbours, fields, woods and towns, drawn as plain pictures. Scenes as in `scenes`."""

from __future__ import annotations

import cv2
import numpy as np

from .canvas import Palette, Picture, Random, below, ellipse, gradient, line, mix, noise, poly, ridge


def _sky(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    up, down = rng.uniform(0.5, 0.75), rng.uniform(0.85, 1.0)
    image = gradient(w, h, pal.tone(up), pal.tone(down), rng.uniform(0.7, 1.6))
    cloud = np.clip((noise(rng, w, h, rng.uniform(3, 6), 3, 2.2) - 0.52) * 5, 0, 0.75)[..., None]
    light = np.asarray(mix(pal.tone(1.0), pal.accent(rng), 0.15), np.float32)
    return np.ascontiguousarray((image * (1 - cloud) + light * cloud).astype(np.uint8))


def _boat(image: Picture, rng: Random, x: float, y: float, s: float, pal: Palette) -> None:
    hull, sail = pal.accent(rng), mix(pal.tone(1.0), pal.accent(rng), rng.uniform(0, 0.5))
    dark = pal.tone(0.1)
    lean = rng.uniform(-0.05, 0.05) * s
    poly(image, [(x - s, y - 0.22 * s), (x + 1.05 * s, y - 0.3 * s), (x + 0.75 * s, y), (x - 0.75 * s, y)], hull)
    poly(image, [(x - 0.9 * s, y - 0.08 * s), (x + 0.85 * s, y - 0.08 * s), (x + 0.75 * s, y), (x - 0.75 * s, y)], dark)
    mast = rng.uniform(1.3, 2.1) * s
    line(image, [(x, y - 0.2 * s), (x + lean, y - mast)], dark, s * 0.06)
    if rng.random() < 0.65:
        poly(image, [(x + 0.06 * s, y - 0.35 * s), (x + lean + 0.04 * s, y - mast), (x + 0.8 * s, y - 0.38 * s)], sail)
        if rng.random() < 0.6:
            jib = mix(sail, pal.tone(0.6), 0.4)
            poly(image, [(x - 0.1 * s, y - 0.35 * s), (x + lean, y - 0.9 * mast), (x - 0.75 * s, y - 0.36 * s)], jib)
    else:
        poly(
            image,
            [
                (x - 0.55 * s, y - 0.25 * s),
                (x - 0.5 * s, y - 0.62 * s),
                (x - 0.05 * s, y - 0.62 * s),
                (x, y - 0.25 * s),
            ],
            pal.tone(0.95),
        )
        poly(
            image,
            [
                (x - 0.42 * s, y - 0.42 * s),
                (x - 0.4 * s, y - 0.56 * s),
                (x - 0.15 * s, y - 0.56 * s),
                (x - 0.15 * s, y - 0.42 * s),
            ],
            dark,
        )


def _house(image: Picture, rng: Random, x: float, y: float, w: float, h: float, pal: Palette) -> None:
    wall = mix(pal.accent(rng), pal.tone(rng.uniform(0.4, 1)), rng.uniform(0.1, 0.6))
    roof = mix(pal.tone(rng.uniform(0, 0.35)), pal.accent(rng), 0.25)
    poly(image, [(x, y), (x, y - h), (x + w, y - h), (x + w, y)], wall)
    peak = rng.uniform(0.35, 0.8) * w
    poly(image, [(x - 0.05 * w, y - h), (x + 0.5 * w, y - h - peak), (x + 1.05 * w, y - h)], roof)
    glass = mix(pal.tone(0.1), pal.tone(1.0), float(rng.random() < 0.3))
    for row in range(max(1, int(h / (w * 0.55)))):
        for column in (0.2, 0.6):
            wx, wy = x + column * w, y - h + (0.18 + row * 0.5) * w
            if wy + 0.25 * w < y:
                poly(image, [(wx, wy), (wx + 0.2 * w, wy), (wx + 0.2 * w, wy + 0.26 * w), (wx, wy + 0.26 * w)], glass)


def harbour(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """Boats and quay houses over water that mirrors them."""
    horizon = int(h * rng.uniform(0.4, 0.55))
    image = _sky(rng, w, h, pal)
    poly(image, below(ridge(rng, w, horizon - 0.04 * h, 0.12 * h, rng.uniform(1, 2.5)), horizon), pal.tone(0.5))
    poly(image, below(ridge(rng, w, horizon, 0.06 * h, rng.uniform(2, 3)), horizon), pal.tone(0.36))
    left = rng.random() < 0.5
    x = -0.02 * w if left else w * rng.uniform(0.45, 0.6)
    stop = w * rng.uniform(0.4, 0.6) if left else w * 1.02
    while x < stop:
        wide = w * rng.uniform(0.045, 0.09)
        _house(image, rng, x, horizon, wide, h * rng.uniform(0.07, 0.2), pal)
        x += wide * rng.uniform(0.95, 1.25)
    image[horizon - max(1, h // 90) : horizon] = pal.tone(0.15)
    for _ in range(int(rng.integers(1, 3))):
        _boat(image, rng, rng.uniform(0.1, 0.9) * w, horizon, h * rng.uniform(0.04, 0.07), pal)
    water = h - horizon
    mirror = cv2.resize(np.ascontiguousarray(image[:horizon][::-1]), (w, water), interpolation=cv2.INTER_AREA)
    blur = max(3, h // 40) | 1
    mirror = cv2.GaussianBlur(mirror, (3, blur), 0)
    ripple = noise(rng, w, water, 10, 2, 4)
    shade = np.asarray(pal.tone(rng.uniform(0.2, 0.4)), np.float32)
    keep = (0.45 + 0.45 * ripple)[..., None]
    image[horizon:] = (mirror * keep + shade * (1 - keep)).astype(np.uint8)
    glints = rng.random((max(10, w // 12), 3))
    for gx, gy, gl in glints:
        y = horizon + gy**1.5 * water
        line(
            image,
            [(gx * w, y), (gx * w + gl * (0.02 + 0.08 * gy) * w, y)],
            pal.tone(0.75 + 0.25 * gl),
            1 + gy * h / 160,
        )
    boats = sorted(rng.uniform(0.15, 0.8, int(rng.integers(2, 5))))
    for depth, share in zip(boats, rng.permutation(np.linspace(0.14, 0.86, len(boats))), strict=True):
        y, s = horizon + depth * water, h * (0.05 + 0.11 * depth)
        bx = (share + rng.uniform(-0.05, 0.05)) * w
        state = rng.bit_generator.state
        under = np.ascontiguousarray(image[::-1])
        _boat(under, rng, bx, h - y, s, pal)
        image[:] = cv2.addWeighted(np.ascontiguousarray(under[::-1]), 0.45, image, 0.55, 0)
        rng.bit_generator.state = state
        _boat(image, rng, bx, y, s, pal)
    if rng.random() < 0.5:
        edge = rng.uniform(0.12, 0.3) * w
        quay = [(0.0, h * 0.8), (edge, h * 0.87), (edge * 1.7, h + 1.0), (0.0, h + 1.0)]
        poly(image, [(w - qx, qy) for qx, qy in quay] if left else quay, pal.tone(0.18))
    return image


def fields(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """Rolling land with crop rows, hedges, trees and a low sun."""
    image = _sky(rng, w, h, pal)
    top = rng.uniform(0.28, 0.45)
    if rng.random() < 0.6:
        ellipse(
            image,
            (rng.uniform(0.15, 0.85) * w, rng.uniform(0.1, top - 0.05) * h),
            (h * 0.055, h * 0.055),
            mix(pal.accents[1], pal.tone(1), 0.45),
        )
    layers = int(rng.integers(4, 7))
    for i in range(layers):
        t = i / (layers - 1)
        y = h * (top + (1.0 - top) * t**1.35 * 0.85)
        colour = mix(pal.tone(rng.uniform(0.3, 0.75)), pal.accent(rng), rng.uniform(0.05, 0.45) * (0.4 + 0.6 * t))
        colour = mix(colour, pal.tone(0.85), 0.5 * (1 - t))
        outline = ridge(rng, w, y, h * (0.05 + 0.09 * t), rng.uniform(0.8, 2.0), 0.04)
        poly(image, below(outline, h + 2), colour)
        if rng.random() < 0.7:
            meet = rng.uniform(-0.3, 1.3) * w
            dark = mix(colour, pal.tone(0.1), 0.3)
            for k in np.linspace(-1.2, 2.2, int(rng.integers(14, 30))):
                sy = float(np.interp(meet + (k * w - meet) * 0.25, outline[:, 0], outline[:, 1]))
                line(
                    image,
                    [(meet + (k * w - meet) * 0.25, sy), (k * w * 1.6 - 0.3 * w, h * 1.05)],
                    dark,
                    1 + t * h / 180,
                )
            poly(image, below(outline + np.array([0, h * (0.1 + 0.12 * t)]), h + 2), mix(colour, pal.tone(0.4), 0.35))
        for _ in range(int(rng.integers(0, 6))):
            tx = rng.uniform(0, w)
            ty = float(np.interp(tx, outline[:, 0], outline[:, 1]))
            s = h * rng.uniform(0.012, 0.035) * (0.6 + 1.6 * t)
            leaf = mix(pal.tone(rng.uniform(0.05, 0.35)), colour, 0.2)
            line(image, [(tx, ty + s * 0.4), (tx, ty - s)], pal.tone(0.08), s * 0.2)
            for _ in range(4):
                ellipse(
                    image,
                    (tx + rng.normal() * s * 0.5, ty - s * rng.uniform(0.8, 1.8)),
                    (s * rng.uniform(0.5, 0.9), s * rng.uniform(0.5, 0.8)),
                    mix(leaf, pal.tone(0.6), rng.random() * 0.3),
                )
    return image


def woods(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """Pale trunks before a bright clearing."""
    image = gradient(w, h, pal.tone(0.8), pal.tone(0.45))
    glow = noise(rng, w, h, 5, 3)[..., None]
    image = np.ascontiguousarray((image * (0.6 + 0.5 * glow)).clip(0, 255).astype(np.uint8))
    ground = h * rng.uniform(0.7, 0.84)
    poly(image, below(ridge(rng, w, ground, 0.06 * h), h + 2), mix(pal.tone(0.3), pal.accent(rng), 0.35))
    count = int(rng.integers(9, 20))
    for i in range(count):
        t = i / count
        x, wide = rng.uniform(-0.02, 1.02) * w, w * (0.008 + 0.028 * t * rng.uniform(0.6, 1.3))
        foot, lean = ground + h * 0.22 * t, rng.uniform(-0.05, 0.05) * w
        bark = mix(pal.tone(0.62), mix(pal.tone(1.0), pal.accent(rng), 0.1), t)
        poly(
            image, [(x - wide, foot), (x - wide * 0.6 + lean, -2), (x + wide * 0.6 + lean, -2), (x + wide, foot)], bark
        )
        poly(
            image,
            [(x + wide * 0.3, foot), (x + wide * 0.2 + lean, -2), (x + wide * 0.6 + lean, -2), (x + wide, foot)],
            mix(bark, pal.tone(0.2), 0.5),
        )
        for my in rng.uniform(0, 1, int(6 + 8 * t)):
            mx, side = x + lean * (1 - my), rng.choice([-0.6, 0.1])
            line(
                image,
                [(mx + side * wide, my * foot), (mx + (side + 0.6) * wide, my * foot + 2)],
                pal.tone(0.08),
                h / 220,
            )
    for lx, ly, lr in rng.random((int(w / 5), 3)):
        ellipse(
            image,
            (lx * w, ly**1.6 * h * 0.75),
            (h * 0.004 + lr * h * 0.007,) * 2,
            mix(pal.accent(rng), pal.tone(0.8), lr * 0.5),
        )
    return image


def town(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """A street of lit windows at dusk, wet below."""
    image = gradient(w, h, pal.tone(0.15), pal.tone(0.7))
    ground = int(h * rng.uniform(0.66, 0.78))
    for row, shade in ((0.75, 0.38), (1.0, 0.2)):
        x = -0.03 * w
        while x < w:
            wide, tall = w * rng.uniform(0.07, 0.15), h * rng.uniform(0.22, 0.52) * (1.25 - row * 0.35)
            wall = mix(pal.tone(shade * rng.uniform(0.5, 1.3)), pal.accent(rng), rng.uniform(0, 0.3))
            poly(
                image,
                [(x, ground), (x, ground - tall), (x + wide, ground - tall * rng.uniform(0.9, 1)), (x + wide, ground)],
                wall,
            )
            for wy in np.arange(ground - tall * 0.88, ground - 0.05 * h, 0.062 * h):
                for k in range(3):
                    lit = rng.random() < 0.45
                    wx, q = x + wide * (0.16 + 0.27 * k), wide * 0.15
                    poly(
                        image,
                        [(wx, wy), (wx + q, wy), (wx + q, wy + 0.035 * h), (wx, wy + 0.035 * h)],
                        mix(pal.accents[1], pal.tone(1), rng.random() * 0.6) if lit else mix(wall, pal.tone(0), 0.5),
                    )
            x += wide * rng.uniform(0.98, 1.12)
    wet = cv2.resize(
        np.ascontiguousarray(image[2 * ground - h if 2 * ground > h else 0 : ground][::-1]), (w, h - ground)
    )
    wet = cv2.GaussianBlur(wet, (3, max(3, h // 22) | 1), 0)
    image[ground:] = (wet * 0.75).astype(np.uint8)
    for _ in range(int(rng.integers(2, 6))):
        x, s = rng.uniform(0.05, 0.95) * w, h * rng.uniform(0.05, 0.09)
        y = ground + h * rng.uniform(0.03, 0.16)
        ellipse(image, (x, y - s * 1.9), (s * 0.16, s * 0.18), pal.tone(0.05))
        poly(
            image,
            [
                (x - s * 0.2, y - s * 1.7),
                (x + s * 0.2, y - s * 1.7),
                (x + s * 0.38, y - s * 0.5),
                (x + s * 0.1, y),
                (x - s * 0.1, y),
                (x - s * 0.38, y - s * 0.5),
            ],
            mix(pal.tone(0.05), pal.accent(rng), 0.4),
        )
    return image
