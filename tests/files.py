"""Files as tests look at them: all samples of a picture at once, the temporary file beside a target."""

from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

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
