"""Converting between ICC profiles through littleCMS at 16 bits, without its shortcut tables."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import lru_cache

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import Refused
from catalogue.print_files.channels import FULL, LABS
from catalogue.print_files.shaper import EXACT, shaper
from catalogue.reading.profile import describe

Pixels = NDArray[np.uint16]
INTENTS = {"perceptual": 0, "relative": 1, "saturation": 2, "absolute": 3}   # ICC.1:2022, 7.2.15
SPACES = {"GRAY": ("grey", "gray"), "RGB ": ("RGB", "rgb"), "CMYK": ("CMYK", "cmyk")}
MOST_THREADS = 8
PRINTING = (b"prtr", b"mntr", b"spac")     # device classes that colours can be converted to; ICC.1:2022, 7.2.5


def profile_space(icc: bytes) -> str:
    """The colour space of a profile that can be converted to: "grey", "RGB" or "CMYK".

    Raises Refused for bytes that are no profile, and for one of another kind (a scanner's, a device link, …).
    """
    about = describe(icc) if len(icc) >= 132 and icc[36:40] == b"acsp" else None
    if about is None:
        raise Refused("This file is not an ICC profile.", hint="Choose the .icc or .icm file of printer and paper.")
    if icc[12:16] not in PRINTING or about.space not in SPACES:
        raise Refused(f"The profile {about.name!r} is not an output profile: its class is"
                      f" {icc[12:16].decode('ascii', 'replace')!r} for {about.space.strip() or 'nothing known'}.",
                      hint="Choose the profile of printer and paper.")
    return SPACES[about.space][0]


def converter(space: str, bits: int, icc: bytes, to: bytes, intent: str, black_point: bool
              ) -> Callable[[Pixels], Pixels]:
    """What takes channels of a master (see ``channels``) to those of the profile ``to``.

    Raises Refused if either profile is missing, of the wrong kind, or refused by littleCMS.
    """
    target = next(name for kind, name in SPACES.values() if kind == profile_space(to))
    if space in LABS:
        source, name = _lab_profile(), "lab"
    else:
        name = next(name for kind, name in SPACES.values() if kind == space)
        if not icc:
            raise Refused("The master has no profile, so its colours cannot be converted.",
                          hint="Assign the right profile to a new version of the master, or print without converting.")
        if SPACES.get(describe(icc).space, ("", ""))[0] != space:
            raise Refused(f"The master's embedded profile does not fit its {space} pixels, so its colours cannot be"
                          " converted.",
                          hint="Assign the right profile to a new version of the master.")
        source = icc
    flags = EXACT
    if black_point:
        flags |= imagecodecs.CMS.FLAGS.BLACKPOINTCOMPENSATION

    def convert(channels: Pixels) -> Pixels:
        if name == "lab":
            channels = _version_4(channels, space, bits)
        flat = np.ascontiguousarray(channels[..., 0] if channels.shape[2] == 1 else channels)
        parts = np.array_split(flat, min(threads, len(flat)))     # by rows: each pixel is converted by itself
        with ThreadPoolExecutor(threads) as pool:
            done = np.concatenate(list(pool.map(work, parts)))
        return np.asarray(done, np.uint16).reshape(*channels.shape[:2], -1)

    def transform(part: Pixels) -> Pixels:
        return np.asarray(imagecodecs.cms_transform(part, source, to, colorspace=name, outcolorspace=target,
                                                    intent=INTENTS[intent], flags=int(flags)))

    work: Callable[[Pixels], Pixels] = transform
    threads = min(MOST_THREADS, os.cpu_count() or 1)
    try:
        convert(np.zeros((1, 1, {"gray": 1, "cmyk": 4}.get(name, 3)), np.uint16))
    except (imagecodecs.CmsError, ValueError) as error:
        raise Refused(f"The colours cannot be converted: littleCMS refuses one of the profiles ({error}).",
                      hint="Look at the profile in another program.") from error
    if (name, target) == ("rgb", "rgb"):
        work = shaper(source, to, transform) or transform
    return convert


def to_lab(channels: Pixels, space: str, bits: int, icc: bytes) -> NDArray[np.float64] | None:
    """CIELAB (D50) of channels, by relative colorimetric intent; grey and RGB without a profile are taken as sRGB, and
    for CMYK without one nothing can be said. Raises what littleCMS raises."""
    if space in LABS:
        wide = _version_4(channels, space, bits).astype(np.float64)
        return wide / [FULL / 100, 257, 257] - [0, 128, 128]
    if not icc and space == "CMYK":
        return None
    if not icc and space == "grey":
        channels, space = np.repeat(channels, 3, axis=2), "RGB"
    name = next(name for kind, name in SPACES.values() if kind == space)
    flat = channels[..., 0] if channels.shape[2] == 1 else channels
    return np.asarray(imagecodecs.cms_transform(
        np.ascontiguousarray(flat), icc or imagecodecs.cms_profile("srgb"), _lab_profile(), colorspace=name,
        outcolorspace="lab", outdtype="float64", intent=INTENTS["relative"], flags=int(EXACT)))


def _version_4(lab: Pixels, space: str, bits: int) -> Pixels:
    """TIFF's 16-bit Lab (256 steps a unit; ICCLab's white 65280) in ICC version 4's encoding (257 steps, 65535)."""
    if bits == 8:
        return lab      # 8 bits spread over 16 are that encoding
    wide = lab.astype(np.uint32)
    wide = np.minimum((wide * 257 + 128) // 256, FULL)
    if space == "CIELAB":
        wide[..., 0] = lab[..., 0]
    return wide.astype(np.uint16)


@lru_cache(maxsize=1)
def _lab_profile() -> bytes:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()    # D50
