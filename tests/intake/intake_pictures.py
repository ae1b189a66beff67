"""Pictures with detail everywhere, made from a seed."""

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.records.stores import Store

Pixels = npt.NDArray[np.uint8]
Write = Callable[..., Path]
TakeUp = Callable[[Store], None]


def scene(seed: int, width: int = 900, height: int = 700) -> Pixels:
    """A picture with detail everywhere: strokes and spots of many sizes on a soft ground."""
    dice = np.random.default_rng(seed)
    ground = cv2.resize(dice.integers(60, 200, (7, 9, 3), dtype=np.uint8), (width, height),
                        interpolation=cv2.INTER_CUBIC)
    for _ in range(420):
        x, y = int(dice.integers(0, width)), int(dice.integers(0, height))
        colour = tuple(int(c) for c in dice.integers(0, 256, 3))
        size = int(dice.integers(3, 34))
        if dice.random() < 0.5:
            cv2.ellipse(ground, (x, y), (size, max(2, size // 2)), float(dice.integers(0, 180)), 0, 360, colour, -1)
        else:
            cv2.line(ground, (x, y), (x + int(dice.integers(-60, 60)), y + int(dice.integers(-60, 60))), colour,
                     int(dice.integers(1, 6)))
    return np.asarray(cv2.GaussianBlur(ground, (0, 0), 0.7), np.uint8)


def askew(whole: Pixels, left: int, top: int, width: int, height: int, angle: float) -> Pixels:
    """A tile cut out of a picture that lies turned by some degrees about the tile's middle."""
    turn = cv2.getRotationMatrix2D((left + width / 2, top + height / 2), angle, 1.0)
    turn[:, 2] -= (left, top)
    return np.asarray(cv2.warpAffine(whole, turn, (width, height), flags=cv2.INTER_CUBIC,
                                     borderMode=cv2.BORDER_REFLECT), np.uint8)
