"""Still lifes, and abstract layouts of blocks. Scenes as in `scenes`."""

from __future__ import annotations

import cv2
import numpy as np

from .canvas import Colour, Palette, Picture, Random, ellipse, gradient, line, mix, plain, poly


def _vessel(image: Picture, rng: Random, x: float, base: float, s: float, colour: Colour, pal: Palette) -> None:
    """A bottle, jug or bowl turned from a profile, lit from the left."""
    kind = int(rng.integers(3))
    profile = (
        [(0.0, 0.34), (0.05, 0.36), (0.55, 0.36), (0.7, 0.3), (0.8, 0.13), (1.15, 0.11), (1.2, 0.14)],
        [(0.0, 0.28), (0.1, 0.36), (0.4, 0.46), (0.65, 0.4), (0.85, 0.24), (1.0, 0.3)],
        [(0.0, 0.22), (0.05, 0.25), (0.2, 0.5), (0.45, 0.62)],
    )[kind]
    heights = np.linspace(0, profile[-1][0], 24)
    radii = np.interp(heights, [p[0] for p in profile], [p[1] for p in profile])
    if kind == 1:
        for r, c in ((0.24, mix(colour, pal.tone(0.1), 0.4)),):
            arc = np.radians(np.linspace(-80, 80, 20))
            hx, hy = x + (0.36 + r * np.cos(arc)) * s, base - (0.55 + r * np.sin(arc)) * s
            line(image, np.stack([hx, hy], 1), c, s * 0.08)
    strips = 14
    for k in range(strips):
        a, b = -1 + 2 * k / strips, -1 + 2 * (k + 1.3) / strips
        light = np.exp(-(((a + 0.45) / 0.35) ** 2)) * 0.45
        tone = mix(mix(colour, pal.tone(0.02), 0.5 * max(0.0, a + 0.1)), pal.tone(1.0), float(light))
        left = np.stack([x + a * radii * s, base - heights * s], 1)
        right = np.stack([x + min(b, 1) * radii * s, base - heights * s], 1)
        poly(image, np.concatenate([left, right[::-1]]), tone)
    ellipse(image, (x, base - heights[-1] * s), (radii[-1] * s, radii[-1] * s * 0.25), mix(colour, pal.tone(0), 0.55))


def still_life(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """Vessels and fruit on a table by a wall."""
    wall = gradient(w, h, pal.tone(rng.uniform(0.3, 0.8)), pal.tone(rng.uniform(0.4, 0.95)))
    image = wall
    if rng.random() < 0.5:
        edge = rng.uniform(0.55, 0.8) * w
        poly(image, [(edge, 0), (w, 0), (w, h), (edge + 0.05 * w, h)], mix(pal.tone(0.35), pal.accent(rng), 0.4))
    top = h * rng.uniform(0.52, 0.64)
    cloth = mix(pal.tone(rng.uniform(0.65, 1)), pal.accent(rng), rng.uniform(0.1, 0.4))
    poly(image, [(0, top), (w, top + rng.uniform(-0.03, 0.03) * h), (w, h), (0, h)], cloth)
    for k in range(int(rng.integers(0, 9))):
        fx = (k + rng.random()) / 8 * w
        line(image, [(fx, top), (fx + (fx - w / 2) * 0.8, h)], mix(cloth, pal.accent(rng), 0.5), h / 110)
    count = int(rng.integers(3, 6))
    shares = np.linspace(0.18, 0.82, count) + rng.uniform(-0.05, 0.05, count)
    for base, share in sorted(zip(rng.uniform(0.66, 0.8, count) * h, rng.permutation(shares), strict=True)):
        s, x = h * rng.uniform(0.26, 0.42), float(share * w)
        shade = image.copy()
        ellipse(shade, (x + s * 0.45, base), (s * 0.6, s * 0.1), pal.tone(0.05))
        image[:] = cv2.addWeighted(shade, 0.5, image, 0.5, 0)
        _vessel(image, rng, x, base, s, mix(pal.accent(rng), pal.tone(rng.random()), rng.uniform(0, 0.5)), pal)
    for _ in range(int(rng.integers(2, 6))):
        r, x, y = h * rng.uniform(0.035, 0.065), rng.uniform(0.12, 0.88) * w, h * rng.uniform(0.78, 0.93)
        fruit = mix(pal.accent(rng), pal.accents[1], rng.uniform(0, 0.6))
        ellipse(image, (x + r * 0.5, y + r * 0.65), (r * 1.3, r * 0.35), mix(cloth, pal.tone(0.05), 0.5))
        for k in range(7):
            t = k / 6
            ellipse(
                image,
                (x - r * 0.3 * t, y - r * 0.3 * t),
                (r * (1 - 0.75 * t), r * (0.95 - 0.75 * t)),
                mix(mix(fruit, pal.tone(0), 0.35), mix(fruit, pal.tone(1), 0.55), t),
            )
        line(image, [(x, y - r * 0.8), (x + r * 0.25, y - r * 1.3)], pal.tone(0.1), h / 150)
    return image


def blocks(rng: Random, w: int, h: int, pal: Palette) -> Picture:
    """An abstract of leaning blocks, bars and one disc."""
    image = plain(w, h, pal.tone(rng.uniform(0.6, 1)))
    for _ in range(int(rng.integers(8, 16))):
        cx, cy = rng.uniform(0.05, 0.95) * w, rng.uniform(0.05, 0.95) * h
        bw, bh, a = w * rng.uniform(0.05, 0.24), h * rng.uniform(0.04, 0.3), rng.normal() * 0.25
        corners = np.array([[-bw, -bh], [bw, -bh], [bw, bh], [-bw, bh]]) * rng.uniform(0.8, 1.2, (4, 2))
        turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
        colour = pal.accent(rng) if rng.random() < 0.45 else pal.tone(rng.random())
        poly(image, corners @ turn + [cx, cy], colour)
    r = h * rng.uniform(0.08, 0.2)
    ellipse(image, (rng.uniform(0.2, 0.8) * w, rng.uniform(0.2, 0.8) * h), (r, r), pal.accent(rng))
    for _ in range(int(rng.integers(2, 6))):
        line(
            image,
            rng.uniform(0, 1, (2, 2)) * [w, h],
            pal.tone(float(rng.choice([0.0, 1.0]))),
            h * rng.uniform(0.006, 0.025),
        )
    return image
