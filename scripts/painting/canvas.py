"""What every manner paints with: noise, gradients, polygons, palettes, and the captured picture.

Colours are RGB in the display encoding. Scenes are drawn as uint8 (OpenCV smooths edges only there); a finished
`Painting` is float32 in 0..1 with a relief map, so that a second capture can light the same relief anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Picture = NDArray[np.uint8]
Floats = NDArray[np.float32]
Random = np.random.Generator
Point = tuple[float, float]
Colour = tuple[int, int, int]


@dataclass(frozen=True)
class Painting:
    """One original: its colours (h, w, 3) in 0..1 and its relief (h, w), about 0..1 where 1 is thick paint."""

    colour: Floats
    relief: Floats

    @property
    def size(self) -> tuple[int, int]:
        return self.colour.shape[1], self.colour.shape[0]


@dataclass(frozen=True)
class Palette:
    """Tones from dark to light, and accents."""

    tones: tuple[Colour, ...]
    accents: tuple[Colour, ...]

    def tone(self, t: float) -> Colour:
        """The colour at `t` in 0 (dark) to 1 (light), mixed between the two nearest tones."""
        at = min(1.0, max(0.0, float(t))) * (len(self.tones) - 1)
        low = min(int(at), len(self.tones) - 2)
        return mix(self.tones[low], self.tones[low + 1], at - low)

    def accent(self, rng: Random) -> Colour:
        return self.accents[int(rng.integers(len(self.accents)))]


def _hex(text: str) -> tuple[Colour, ...]:
    return tuple((int(c[:2], 16), int(c[2:4], 16), int(c[4:], 16)) for c in text.split())


PALETTES: tuple[Palette, ...] = tuple(
    Palette(_hex(tones), _hex(accents))
    for tones, accents in (
        ("14213a 24466b 3f7793 86b2b4 d3d9c6 f3e7cb", "d9552f f2b33d f4efe2 7c2f34"),  # harbour day
        ("0e1430 1f2a5a 3c4f8f 6f7fb8 b59fc0 f0c9a4", "f6b04a e8743b fbe6b0 39d0c8"),  # blue hour
        ("2b2a1f 55592f 8a8c3f c0b256 e5d385 f7efd0", "b5452c dd8a35 5b7f9f efe9dc"),  # summer field
        ("2a1a1f 5b2c33 9a4a3f cf8253 ecba7c f7e6c9", "2f6f73 e0c34b f3f0e6 1f3d4d"),  # red earth
        ("1d2b28 33544c 5a8574 93b39c c9d5bf f1f0e0", "e2725b f3c969 3b5b92 fbf7ec"),  # green water
        ("23202b 48435a 77708a a8a1b3 d4cfd8 f4f1ee", "c94f6d efb366 3f8f8b fdf8f0"),  # violet grey
        ("2d2620 5e4d3d 927a5e bfa685 dfcfb2 f6efdf", "3e6d8e c4572e e6b84e 7a8f4a"),  # linen
        ("101c22 17414a 2f7f7a 74b49b c6dca7 fbf1c2", "ef6f3c f7b733 a4343a fdfbf1"),  # lagoon
        ("1a1a1a 3d3b3a 6b6763 9e9992 cfc9bf f3efe6", "d8392b f0c419 2a6f97 f8f4ea"),  # black and red
        ("34203f 6a3a6b a6597f dc8a86 f3c09b fdeccb", "2e7f86 f5d05a fbf4e8 52204a"),  # evening rose
        ("1f2f1e 3d5a2c 6c8b3b a5b557 d9d791 f5f3d7", "e25b45 f0a63a f7f2e4 5c6fb1"),  # orchard
        ("2b3440 4d5d6c 7b8d99 aab8bd d2d9d8 f2f2ec", "e07a4f ecc35c 9c3f4a f9f6ee"),  # rain
    )
)


def mix(a: Colour, b: Colour, t: float) -> Colour:
    """`a` towards `b` by `t`."""
    return tuple(round(p + (q - p) * t) for p, q in zip(a, b, strict=True))  # type: ignore[return-value]


def shifted(palette: Palette, rng: Random, hue: float = 12.0, value: float = 0.08) -> Palette:
    """The palette turned in hue by up to ±`hue`° and in brightness by up to ±`value`, as another tube of paint."""
    colours = np.array(palette.tones + palette.accents, np.uint8)[None]
    hsv = cv2.cvtColor(colours, cv2.COLOR_RGB2HSV).astype(np.float32)
    hsv[..., 0] = (hsv[..., 0] + rng.uniform(-hue, hue) / 2) % 180
    hsv[..., 1] = np.clip(hsv[..., 1] * rng.uniform(0.85, 1.15), 0, 255)
    hsv[..., 2] = np.clip(hsv[..., 2] * (1 + rng.uniform(-value, value)), 0, 255)
    turned = cv2.cvtColor(hsv.astype(np.uint8), cv2.COLOR_HSV2RGB)[0]
    made: list[Colour] = [(int(r), int(g), int(b)) for r, g, b in turned]
    return Palette(tuple(made[: len(palette.tones)]), tuple(made[len(palette.tones) :]))


def noise(rng: Random, w: int, h: int, cells: float, octaves: int = 3, stretch: float = 1.0) -> Floats:
    """Smooth noise (h, w) about 0..1; `cells` across the width; `stretch` > 1 makes it long horizontally."""
    total = np.zeros((h, w), np.float32)
    weight, whole = 1.0, 0.0
    for _ in range(octaves):
        across = max(2, min(w, round(cells / stretch)))
        down = max(2, min(h, round(cells * h / w)))
        grid = rng.random((down + 2, across + 2), np.float32)
        total += weight * cv2.resize(grid, (w, h), interpolation=cv2.INTER_CUBIC)
        whole += weight
        weight *= 0.5
        cells *= 2.1
    return total / np.float32(whole)


def gradient(w: int, h: int, top: Colour, bottom: Colour, power: float = 1.0) -> Picture:
    """A vertical gradient (h, w, 3)."""
    t = np.linspace(0, 1, h, dtype=np.float32)[:, None] ** power
    column = np.asarray(top, np.float32) * (1 - t) + np.asarray(bottom, np.float32) * t
    return np.ascontiguousarray(np.repeat(column[:, None], w, axis=1).astype(np.uint8))


def plain(w: int, h: int, colour: Colour) -> Picture:
    """One flat colour (h, w, 3)."""
    return np.full((h, w, 3), colour, np.uint8)


def _fixed(points: Sequence[Point] | NDArray[np.floating]) -> NDArray[np.int32]:
    return np.round(np.asarray(points, np.float64) * 16).astype(np.int32)


def poly(image: NDArray[np.generic], points: Sequence[Point] | NDArray[np.floating], colour: object) -> None:
    """A filled polygon with smooth edges, in place."""
    cv2.fillPoly(image, [_fixed(points)], colour, cv2.LINE_AA, 4)


def line(
    image: NDArray[np.generic],
    points: Sequence[Point] | NDArray[np.floating],
    colour: object,
    width: float = 1,
    closed: bool = False,
) -> None:
    """A polyline with smooth edges, in place; at least one pixel wide."""
    cv2.polylines(image, [_fixed(points)], closed, colour, max(1, round(width)), cv2.LINE_AA, 4)


def ellipse(
    image: NDArray[np.generic],
    centre: Point,
    axes: Point,
    colour: object,
    angle: float = 0,
    start: float = 0,
    end: float = 360,
) -> None:
    """A filled ellipse or sector, degrees clockwise as seen, in place."""
    at = round(centre[0] * 16), round(centre[1] * 16)
    size = max(1, round(axes[0] * 16)), max(1, round(axes[1] * 16))
    cv2.ellipse(image, at, size, angle, start, end, colour, -1, cv2.LINE_AA, 4)


def ridge(
    rng: Random, w: int, y: float, height: float, waves: float = 2.0, rough: float = 0.15
) -> NDArray[np.floating]:
    """The outline (n, 2) of a hill line about `y`, `height` high, from the left edge to the right."""
    x = np.linspace(-2, w + 2, 60)
    u = x / w * waves * np.pi
    p = rng.uniform(0, 2 * np.pi, 4)
    rise = (
        np.sin(u + p[0])
        + 0.5 * np.sin(2.1 * u + p[1])
        + rough * np.sin(7 * u + p[2])
        + rough * 0.6 * np.sin(17 * u + p[3])
    )
    return np.stack([x, y - height * rise / 2], 1)


def below(outline: NDArray[np.floating], bottom: float) -> NDArray[np.floating]:
    """The outline closed down to `bottom`."""
    return np.concatenate([outline, [[outline[-1, 0], bottom], [outline[0, 0], bottom]]])


def as_floats(picture: Picture) -> Floats:
    return picture.astype(np.float32) / np.float32(255)


def weave(w: int, h: int, pitch: float = 4.0) -> Floats:
    """The relief of woven canvas, 0..1, `pitch` pixels a thread."""
    x = np.arange(w, dtype=np.float32) * np.float32(np.pi / pitch)
    y = np.arange(h, dtype=np.float32) * np.float32(np.pi / pitch)
    sx, sy = np.sin(x), np.sin(y)
    over = np.sign(np.sin(x / 2))[None] * np.sign(np.sin(y / 2))[:, None]
    made: Floats = np.where(over > 0, np.abs(sx)[None], np.abs(sy)[:, None]).astype(np.float32)
    return made
