"""A print file as a grid of patches in CIELAB, each the mean of the pixels it covers, to tell how far two depart."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import CatalogueError
from catalogue.print_files.channels import FULL, channels_of
from catalogue.print_files.conversion import to_lab
from catalogue.print_files.master import opened_picture
from catalogue.print_files.render import Sheet
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.reading.digests import Stopped
from catalogue.reading.reduce import Reducer

LONG_SIDE = 1024


@dataclass(frozen=True, slots=True)
class Patches:
    """``lab``: rows × columns × 3, D50. ``size`` is the file's in pixels, ``side`` a patch's."""

    lab: NDArray[np.float64]
    size: tuple[int, int]
    side: float


def patches_of_file(path: Path, sha256: str, *, report: Report = ignore_progress,
                    cancelled: Cancelled = never_cancelled) -> Patches | None:
    """Of a print file that still lies there; None where it is gone, is another by now, or has no known colours."""
    try:
        with opened_picture(path) as picture:
            samples, channels = picture.source.samples, channels_of(picture.source)
            if samples is None:
                return None
            rows = (channels.of(band) for band in samples.bands())
            found = _patches(rows, (samples.width, samples.height), channels.space, channels.bits, picture.source.icc,
                             report, cancelled)
            return found if picture.finish() == sha256 else None
    except CatalogueError:
        return None


def patches_of_sheet(sheet: Sheet, *, report: Report = ignore_progress,
                     cancelled: Cancelled = never_cancelled) -> Patches | None:
    """Of a print file that is made for this alone and not written."""
    form = sheet.form
    return _patches(sheet.channels(), (form.width, form.height), form.space, form.bits, form.icc, report, cancelled)


def _patches(bands: Iterable[NDArray[np.uint16]], size: tuple[int, int], space: str, bits: int, icc: bytes,
             report: Report, cancelled: Cancelled) -> Patches | None:
    reducer: Reducer | None = None
    for band in bands:
        if cancelled():
            raise Stopped
        reducer = reducer or Reducer(*size, band.shape[2], LONG_SIDE)
        reducer.add(band)
        report(Progress("comparing with last time's", reducer.rows_done, size[1]))
    if reducer is None:
        return None
    means = np.clip(np.rint(reducer.result()), 0, FULL).astype(np.uint16)
    try:
        lab = to_lab(means, space, bits, icc)
    except (imagecodecs.CmsError, ValueError):
        return None
    return None if lab is None else Patches(lab, size, size[0] / means.shape[1])
