"""Collage and stencil."""

from __future__ import annotations

import cv2
import numpy as np

from .canvas import Painting, Palette, Random, as_floats, ellipse, line, mix, noise, plain, poly


def collage(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:  # noqa: ARG001
    """Torn and cut papers with print on them, shadows at their edges, stencilled shapes over all."""
    image = plain(w, h, mix(pal.tone(0.85), (235, 226, 205), 0.5))
    relief = np.zeros((h, w), np.uint8)
    unit = float(np.sqrt(w * h))
    for k in range(int(rng.integers(7, 13))):
        cx, cy, r = rng.uniform(0.08, 0.92) * w, rng.uniform(0.08, 0.92) * h, unit * rng.uniform(0.12, 0.26)
        turns = (
            np.sort(rng.uniform(0, 2 * np.pi, 28))
            if k % 2
            else np.radians([40, 140, 220, 320]) + rng.normal(0, 0.15, 4)
        )
        shape = np.stack(
            [
                cx + np.cos(turns) * r * rng.uniform(0.85, 1.1, len(turns)),
                cy + np.sin(turns) * r * rng.uniform(0.85, 1.1, len(turns)),
            ],
            1,
        )
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
            poly(
                stencil,
                [
                    (x, y),
                    (x + 2 * s, y),
                    (x + 2 * s, y - s * 0.5),
                    (x + 3 * s, y + s * 0.4),
                    (x + 2 * s, y + 1.3 * s),
                    (x + 2 * s, y + 0.8 * s),
                    (x, y + 0.8 * s),
                ],
                255,
            )
        elif kind == 1:
            ellipse(stencil, (x, y), (s, s), 255)
            ellipse(stencil, (x, y), (s * 0.6, s * 0.6), 0)
        elif kind == 2:
            for k in range(4):
                poly(
                    stencil,
                    [
                        (x + k * s * 0.5, y - s),
                        (x + k * s * 0.5 + s * 0.26, y - s),
                        (x + k * s * 0.5 + s * 0.26, y + s),
                        (x + k * s * 0.5, y + s),
                    ],
                    255,
                )
        else:
            for k in range(6):
                ellipse(stencil, (x, y), (s * 1.2, s * 0.3), 255, 30 * k)
    spray = (cv2.GaussianBlur(stencil, (0, 0), unit * 0.002) / np.float32(255)) * (
        np.float32(0.72) + np.float32(0.28) * noise(rng, w, h, 60, 2)
    )
    colour = np.asarray(pal.tone(0.0), np.float32)
    image = (image * (1 - spray[..., None]) + colour * spray[..., None]).astype(np.uint8)
    return Painting(as_floats(image), as_floats(relief))
