"""A print file as a grid of patches in CIELAB, each the mean of its pixels, for measuring how far two files differ."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import imagecodecs
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import CatalogueError, Damaged
from catalogue.print_files.channels import FULL, channels_of, stored
from catalogue.print_files.conversion import to_lab
from catalogue.print_files.master import HINT, opened_picture
from catalogue.print_files.render import Sheet
from catalogue.progress import Cancelled, Progress, Report, Stopped, ignore_progress, never_cancelled
from catalogue.reading.reduce import Reducer, turned

LONG_SIDE = 1024


@dataclass(frozen=True, slots=True)
class Patches:
    """``lab``: rows × columns × 3, D50. ``size`` is the file's in pixels, ``side`` a patch's."""

    lab: NDArray[np.float64]
    size: tuple[int, int]
    side: float


@dataclass(frozen=True, slots=True)
class ReducedPicture:
    """A picture as shown, reduced: ``means`` are rows × columns × channels (uint16, of full range) of a picture of
    ``size``; the rest as in ``channels.Channels``."""

    means: NDArray[np.uint16]
    size: tuple[int, int]
    space: str
    bits: int
    icc: bytes


def reduced_picture(path: Path, sha256: str, long_side: int, *, report: Report = ignore_progress,
                    cancelled: Cancelled = never_cancelled) -> ReducedPicture:
    """A picture read through and reduced. Raises Damaged if its bytes are not those of ``sha256``, and as
    :func:`catalogue.print_files.master.opened_picture`; Refused for kinds that are not printed from; Stopped."""
    with opened_picture(path) as picture:
        samples, about, channels = picture.source.samples, picture.source.picture, channels_of(picture.source)
        if samples is None or about is None:
            raise Damaged("The picture cannot be read.", path=path)
        rows = (channels.of(band) for band in samples.bands())
        means = _means(rows, (samples.width, samples.height), long_side, path.name, report, cancelled)
        if picture.finish() != sha256 or means is None:
            raise Damaged("The file's bytes have changed since its checksum was recorded.", hint=HINT, path=path)
        return ReducedPicture(turned(means, about.orientation), (about.width, about.height), channels.space,
                              channels.bits, picture.source.icc)


def patches_of_file(path: Path, sha256: str, *, report: Report = ignore_progress,
                    cancelled: Cancelled = never_cancelled) -> Patches | None:
    """Patches of an existing print file, as shown; None if it is missing, was changed, or has undefined colours."""
    try:
        picture = reduced_picture(path, sha256, LONG_SIDE, report=report, cancelled=cancelled)
    except CatalogueError:
        return None
    return _patches(picture.means, picture.size, picture.space, picture.bits, picture.icc)


def patches_of_sheet(sheet: Sheet, *, report: Report = ignore_progress,
                     cancelled: Cancelled = never_cancelled) -> Patches | None:
    """Patches of a print file computed only for this and not written; afterwards the sheet has its digest."""
    form = sheet.form

    def channels() -> Iterator[NDArray[np.uint16]]:
        for band in sheet.channels():
            sheet.digest.update(stored(band, form.space, form.bits))
            yield band

    size = (form.width, form.height)
    means = _means(channels(), size, LONG_SIDE, "", report, cancelled)
    return None if means is None else _patches(means, size, form.space, form.bits, form.icc)


def _patches(means: NDArray[np.uint16], size: tuple[int, int], space: str, bits: int, icc: bytes) -> Patches | None:
    try:
        lab = to_lab(means, space, bits, icc)
    except (imagecodecs.CmsError, ValueError):
        return None
    return None if lab is None else Patches(lab, size, size[0] / means.shape[1])


def _means(bands: Iterable[NDArray[np.uint16]], size: tuple[int, int], long_side: int, note: str, report: Report,
           cancelled: Cancelled) -> NDArray[np.uint16] | None:
    """The bands reduced, to the nearest level; None if there are none. Raises Stopped."""
    reducer: Reducer | None = None
    for band in bands:
        if cancelled():
            raise Stopped
        reducer = reducer or Reducer(*size, band.shape[2], long_side)
        reducer.add(band)
        report(Progress("comparing colours", reducer.rows_done, size[1], note=note))
    return None if reducer is None else np.clip(np.rint(reducer.result()), 0, FULL).astype(np.uint16)
