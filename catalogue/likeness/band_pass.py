"""The band between a picture's grain and its composition: canvas, paper, strokes. Soft pictures have it too."""

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.likeness.features import Bytes

Floats = npt.NDArray[np.float32]


def band_pass(grey: Bytes, fine: float, coarse: float, around: float, floor: float) -> Floats:
    """The band of a grey picture, H×W uint8, between two blurs, each passage brought to about the same strength.

    ``fine``, ``coarse`` and ``around``, the reach of a passage, are standard deviations in pixels; ``floor`` is added
    to the strength, in levels of 255, so that a blank passage stays weak. Clipped to three strengths.
    """
    light = grey.astype(np.float32)
    between = cv2.GaussianBlur(light, (0, 0), fine) - cv2.GaussianBlur(light, (0, 0), coarse)
    strength = np.sqrt(cv2.GaussianBlur(between * between, (0, 0), around)) + floor
    return np.asarray(np.clip(between / strength, -3, 3), np.float32)
