"""Soft work: colour fields with hardly any detail, and watercolour washes."""

from __future__ import annotations

import cv2
import numpy as np

from .canvas import Floats, Painting, Palette, Picture, Random, below, ellipse, line, mix, noise, poly, ridge


def colour_field(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:  # noqa: ARG001
    """Two to four soft-edged fields, hardly any detail: the hard case for likeness."""
    full = (w, h)
    if w * h <= 200_000:  # nothing in it is finer than two pixels
        w, h = (w + 1) // 2, (h + 1) // 2
    image: Floats = np.full((h, w, 3), pal.tone(rng.uniform(0.1, 0.9)), np.float32) / np.float32(255)
    bands = int(rng.integers(2, 5))
    cuts = np.sort(rng.uniform(0.12, 0.88, bands - 1))
    tops, bottoms = np.r_[0.05, cuts + 0.015], np.r_[cuts - 0.015, 0.95]
    y, x = np.mgrid[0:h, 0:w].astype(np.float32)
    inset = rng.uniform(0.04, 0.09) * w
    for top, bottom in zip(tops, bottoms, strict=True):
        colour = np.asarray(pal.accent(rng) if rng.random() < 0.5 else pal.tone(rng.random()), np.float32) / 255
        soft = rng.uniform(0.008, 0.03) * h
        wobble = (noise(rng, w, h, 4, 2) - np.float32(0.5)) * np.float32(0.05 * h)
        inside = np.minimum(
            np.minimum(y + wobble - top * h, bottom * h - y - wobble),
            np.minimum(x + wobble - inset, w - inset - x - wobble),
        )
        cover = np.float32(1) / (np.float32(1) + np.exp(np.clip(-inside / np.float32(soft), -30, 30)))
        cover = cover * (np.float32(0.78) + np.float32(0.22) * noise(rng, w, h, 3, 2))
        image = image * (1 - cover[..., None]) + colour * cover[..., None]
    image = image * (np.float32(0.97) + np.float32(0.06) * noise(rng, w, h, 6, 2)[..., None])
    if full != (w, h):
        image = cv2.resize(image, full, interpolation=cv2.INTER_LINEAR)
    return Painting(np.clip(image, 0, 1).astype(np.float32), np.zeros((full[1], full[0]), np.float32))


def wash(rng: Random, w: int, h: int, pal: Palette, scene: str) -> Painting:
    """Watercolour: transparent layers with dark drying edges on rough paper."""
    paper = noise(rng, w, h, w / 5, 2)
    sheet = mix(pal.tone(1), (253, 251, 245), 0.75)
    image: Floats = np.full((h, w, 3), sheet, np.float32) / np.float32(255)
    unit = float(np.sqrt(w * h))
    big = w * h > 200_000

    def lay(mask: Picture, colour: tuple[int, int, int], strength: float) -> None:
        nonlocal image
        ragged = cv2.GaussianBlur(mask, (0, 0), unit * 0.006).astype(np.float32) / 255
        ragged = np.clip((ragged + (noise(rng, w, h, 22, 2 if big else 1) - 0.5) * 0.5 - 0.42) * 7, 0, 1).astype(
            np.float32
        )
        edge = np.clip(ragged - cv2.GaussianBlur(ragged, (0, 0), unit * 0.007), 0, 1)
        bloom = np.float32(0.55) + np.float32(0.75) * noise(rng, w, h, 5, 3 if big else 1)
        density = strength * ragged * bloom * (np.float32(0.85) + np.float32(0.3) * paper) + 0.45 * edge * ragged
        image = image * np.exp(-density[..., None] * (1 - np.asarray(colour, np.float32) / 255) * 1.9)

    mask = np.zeros((h, w), np.uint8)
    if scene == "branch":
        stem = np.array([[0.02, 0.85], [0.25, 0.66], [0.45, 0.55], [0.7, 0.32], [0.95, 0.2]]) + rng.normal(
            0, 0.02, (5, 2)
        )
        line(mask, stem * [w, h], 255, unit * 0.016)
        for k in range(1, 5):
            line(
                mask,
                np.stack([stem[k], stem[k] + [rng.uniform(-0.02, 0.1), rng.choice([-0.22, 0.2])]]) * [w, h],
                255,
                unit * 0.009,
            )
        lay(mask, pal.tone(0.12), 1.2)
        for _ in range(26):
            k, u = int(rng.integers(4)), rng.random()
            at = (stem[k] * (1 - u) + stem[k + 1] * u + rng.normal(0, 0.075, 2)) * [w, h]
            flower = np.zeros((h, w), np.uint8)
            for p in range(5):
                a = 2 * np.pi * p / 5 + u
                ellipse(
                    flower,
                    (at[0] + np.cos(a) * unit * 0.021, at[1] + np.sin(a) * unit * 0.021),
                    (unit * 0.02, unit * 0.015),
                    255,
                    float(np.degrees(a)),
                )
            lay(flower, pal.accents[int(rng.integers(2))], rng.uniform(0.35, 0.8))
        return Painting(np.clip(image, 0, 1).astype(np.float32), paper * np.float32(0.35))
    top = rng.uniform(0.3, 0.5)
    poly(mask, below(ridge(rng, w, 0.05 * h, 0.05 * h), top * h * 1.1), 255)
    lay(mask, pal.tone(rng.uniform(0.45, 0.7)), rng.uniform(0.25, 0.5))
    layers = 5 if big else 3
    for i in range(layers):
        t = i / max(1, layers - 1)
        mask = np.zeros((h, w), np.uint8)
        y = h * (top + (0.9 - top) * t)
        poly(
            mask,
            below(
                ridge(rng, w, y, h * (0.16 - 0.08 * t), rng.uniform(1, 3), 0.2),
                min(h + 2.0, y + h * rng.uniform(0.2, 0.5)),
            ),
            255,
        )
        lay(mask, mix(pal.tone(0.6 - 0.35 * t), pal.accent(rng), rng.uniform(0.05, 0.55)), rng.uniform(0.35, 0.62))
    mask = np.zeros((h, w), np.uint8)
    for _ in range(int(rng.integers(3, 9))):
        x, y, s = rng.uniform(0.05, 0.95) * w, h * rng.uniform(top, 0.85), unit * rng.uniform(0.015, 0.05)
        s *= 0.75
        line(mask, [(x, y), (x, y - 2.2 * s)], 255, s * 0.45)
        ellipse(mask, (x, y - 2.4 * s), (s * 0.8, s * 1.2), 255)
    lay(mask, pal.tone(0.1), 0.9)
    if scene == "rain":
        falling = np.zeros((h, w), np.uint8)
        for x, y, s in rng.random((max(40, w // 5), 3)):
            long = h * (0.04 + 0.1 * s)
            line(
                falling, [(x * w * 1.1, y * h), (x * w * 1.1 - long * 0.3, y * h + long)], int(60 + 120 * s), unit / 900
            )
        pale = cv2.GaussianBlur(falling, (0, 0), unit / 900 + 0.3)[..., None] / np.float32(255)
        image = image * (1 - 0.45 * pale) + np.float32(0.95) * 0.45 * pale
    return Painting(np.clip(image, 0, 1).astype(np.float32), paper * np.float32(0.35))
