"""Files as tests write and look at them: small scans, all samples of a picture, the temporary file beside a target."""

import struct
from pathlib import Path
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import ImageCms

from catalogue.reading.kinds import HEAD_BYTES, format_of
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.opening import open_source
from catalogue.storage.atomic import part_name


def part_path(target: Path) -> Path:
    """Where the temporary file of ``target`` lies: beside it."""
    return target.with_name(part_name(target.name))


def samples_of(path: str | Path, limits: Limits = Limits()) -> NDArray[Any] | None:  # noqa: B008 - frozen
    """All samples of a file's picture as stored, H × W × S, native byte order; ``None`` where nothing decodes.

    Raises ``OSError`` and what codecs raise.
    """
    with open(path, "rb") as file:
        kind = format_of(file.read(HEAD_BYTES))
        size = file.seek(0, 2)
        if not kind:
            return None
        samples = open_source(file, kind, size, limits, Deadline.after(limits.seconds)).samples
        if samples is None:
            return None
        bands = [band.copy() for band in samples.bands()]
        return np.concatenate(bands) if bands and samples.any_decoded() else None


def _srgb() -> bytes:
    """littleCMS' sRGB profile, created on a fixed day: it would write the present second (ICC.1, header 24 to 35)."""
    made = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    made[24:36] = struct.pack(">6H", 2020, 1, 1, 0, 0, 0)
    return bytes(made)


SRGB = _srgb()


def write_scan(path: Path, *, seed: int = 0, size: tuple[int, int] = (60, 80), **options: Any) -> Path:
    """Write a small TIFF of noise, RGB with a profile, 100 ppi."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pixels = np.random.default_rng(seed).integers(0, 255, (*size, 3), dtype=np.uint8)
    tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2, metadata=None,
                     iccprofile=SRGB, **options)
    return path
