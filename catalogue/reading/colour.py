"""Colours of a reduced picture converted to sRGB through its embedded profile.

Colours go through littleCMS from 16 bits, so that averages are not rounded to 8 bits first; CIELAB is computed in float
here. Relative colorimetric throughout, with black-point compensation; out-of-gamut values are clipped.
"""

from typing import Any

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import one_line
from catalogue.reading.profile import describe

Floats = NDArray[np.float32]
Doubles = NDArray[np.float64]
Bytes = NDArray[np.uint8]

D50 = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2022, 7.2.16
# IEC 61966-2-1 primaries adapted to D50 by Bradford, as ICC prints the sRGB colorants.
XYZ_FROM_SRGB = np.array(
    [[0.4360747, 0.3850649, 0.1430804], [0.2225045, 0.7168786, 0.0606169], [0.0139322, 0.0971045, 0.7141733]]
)
SRGB_FROM_XYZ = np.linalg.inv(XYZ_FROM_SRGB)
# Without its shortcut tables, which are off by up to six levels.
LITTLECMS_FLAGS = imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION | imagecodecs.CMS.FLAGS.NOOPTIMIZE
RELATIVE_COLORIMETRIC = imagecodecs.CMS.INTENT.RELATIVE_COLORIMETRIC
COLOUR_NAMES = {1: "gray", 3: "rgb", 4: "cmyk"}
SPACES = {1: "GRAY", 3: "RGB ", 4: "CMYK"}


class UnusableProfile(Exception):
    """The embedded profile is broken, or of another colour space than the picture."""


def to_srgb(values: Floats, meaning: str, icc: bytes) -> Bytes:
    """Colours to sRGB bytes, H × W × 3.

    ``values``: H × W × C; in 0..1, except for Lab: L* 0..100, a*, b*, D50. Without a profile grey and RGB are taken
    as sRGB and CMYK by plain subtraction. Raises ``UnusableProfile``.
    """
    if meaning == "Lab":
        return _encoded(xyz_from_lab(values.astype(np.float64)))
    channels = values.shape[2]
    if channels not in SPACES:
        raise UnusableProfile(f"no colour meaning is known for {channels} channels")
    if not icc:
        return _unprofiled(values)
    about = describe(icc)
    if about.space != SPACES[channels]:
        stated = about.space.strip() or "nothing readable"
        raise UnusableProfile(f"the embedded profile is for {stated}, the picture is {SPACES[channels].strip()}")
    return through_littlecms(values, icc)


def through_littlecms(values: Floats, icc: bytes) -> Bytes:
    """Convert through any profile littleCMS accepts, from 16 bits. Raises ``UnusableProfile``."""
    levels = np.clip(np.rint(values * 65535), 0, 65535).astype(np.uint16)
    name = COLOUR_NAMES[levels.shape[2]]
    try:
        return np.asarray(imagecodecs.cms_transform(
            levels[..., 0] if name == "gray" else levels, icc, imagecodecs.cms_profile("srgb"), colorspace=name,
            outcolorspace="rgb", outdtype=np.uint8, intent=RELATIVE_COLORIMETRIC, flags=LITTLECMS_FLAGS))
    except (imagecodecs.CmsError, ValueError) as error:
        raise UnusableProfile(f"the embedded profile cannot be used: {one_line(error)}") from error


def xyz_from_lab(lab: Doubles) -> Doubles:
    """CIELAB (D50) to XYZ with Y = 1 for white; CIE 15:2004, 8.2.1."""
    f_y = (lab[..., 0] + 16) / 116
    f = np.stack([f_y + lab[..., 1] / 500, f_y, f_y - lab[..., 2] / 200], axis=-1)
    return np.asarray(np.where(f > 6 / 29, f**3, 3 * (6 / 29) ** 2 * (f - 4 / 29)) * D50)


def srgb_curve(linear: Doubles) -> Doubles:
    """Linear light to sRGB values; IEC 61966-2-1."""
    linear = np.clip(linear, 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.power(linear, 1 / 2.4) - 0.055)


def _encoded(xyz: Doubles) -> Bytes:
    return _to_bytes(srgb_curve(xyz @ SRGB_FROM_XYZ.T))


def _unprofiled(values: Floats) -> Bytes:
    if values.shape[2] == 4:
        return _to_bytes((1 - values[..., :3]) * (1 - values[..., 3:]))
    return _to_bytes(np.repeat(values, 3, axis=2) if values.shape[2] == 1 else values)


def _to_bytes(values: NDArray[Any]) -> Bytes:
    levels: Bytes = np.clip(np.rint(values * 255), 0, 255).astype(np.uint8)
    return levels
