"""Digests of a file's bytes, of stretches of them, and of a picture's decoded samples."""

import hashlib
import sys
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass, replace
from io import RawIOBase
from pathlib import Path
from typing import TYPE_CHECKING

from catalogue.progress import Cancelled, Progress, Report
from catalogue.reading.model import SegmentDigest

if TYPE_CHECKING:
    import numpy as np
    import xxhash
    from numpy.typing import NDArray

BUFFER_BYTES = 2 << 20  # measured: 1 to 8 MiB are equal within noise, smaller is slower


class ReadFailed(OSError):
    """The medium failed at a known place."""

    def __init__(self, offset: int, cause: OSError) -> None:
        super().__init__(cause.errno, cause.strerror)
        self.offset = offset

    def __str__(self) -> str:
        return f"{self.strerror or 'read error'} at byte {self.offset:,}"


class Stopped(Exception):
    """The caller's ``cancelled()`` said so; nothing was digested to the end."""


def _filled(file: object, view: memoryview, offset: int) -> int:
    """Read into ``view`` until it is full or the file ends; how many bytes came."""
    done = 0
    while done < len(view):
        try:
            count: int = file.readinto(view[done:])  # type: ignore[attr-defined]
        except OSError as error:
            raise ReadFailed(offset + done, error) from error
        if not count:
            break
        done += count
    return done


def digesting(path: str | Path) -> Generator[int, None, str]:
    """Yield the size of each buffer digested; return the SHA-256 in hex.

    Raises ``OSError``, of which ``ReadFailed`` names the byte where the medium failed.
    """
    sha = hashlib.sha256()
    buffer = bytearray(BUFFER_BYTES)
    view = memoryview(buffer)
    offset = 0
    with open(path, "rb", buffering=0) as file:  # noqa: PTH123 - a name that is not UTF-8 stays as it is
        while count := _filled(file, view, offset):
            sha.update(view[:count])
            offset += count
            yield count
    return sha.hexdigest()


def sha256_of(path: str | Path, *, report: Report, cancelled: Cancelled) -> str:
    """SHA-256 of a file's bytes in hex, telling bytes done as it goes.

    Raises ``OSError`` (``ReadFailed`` with the byte offset) and ``Stopped``.
    """
    steps = digesting(path)
    done = 0
    while True:
        if cancelled():
            steps.close()
            raise Stopped
        try:
            done += next(steps)
        except StopIteration as end:
            return str(end.value)
        report(Progress("sha-256", bytes_done=done))


@dataclass(frozen=True, slots=True)
class BytesDigest:
    """What one pass over a file's bytes gives. ``error`` is set when the medium failed on the way."""

    sha256: str
    segments: tuple[SegmentDigest, ...]
    error: ReadFailed | None = None


def digest_stretches(
    file: RawIOBase, stretches: Iterable[SegmentDigest], go_on: Callable[[], None]
) -> BytesDigest:
    """SHA-256 of the whole of an open, unbuffered file and XXH3-64 of each stretch, in one pass.

    ``stretches`` follow one another from byte 0 to the end with empty digests, which come back filled in. ``go_on``
    is called between buffers and raises to stop the work.
    """
    from xxhash import xxh3_64

    sha = hashlib.sha256()
    view = memoryview(bytearray(BUFFER_BYTES))
    filled: list[SegmentDigest] = []
    offset = 0
    for stretch in stretches:
        part = xxh3_64()
        end = stretch.offset + stretch.length
        while offset < end:
            go_on()
            try:
                count = _filled(file, view[: min(len(view), end - offset)], offset)
            except ReadFailed as error:
                return BytesDigest("", tuple(filled), error)
            if not count:
                break
            sha.update(view[:count])
            part.update(view[:count])
            offset += count
        filled.append(replace(stretch, digest=part.hexdigest()))
    while count := _filled(file, view, offset):  # the file grew after its size was taken
        go_on()
        sha.update(view[:count])
        offset += count
    return BytesDigest(sha.hexdigest(), tuple(filled))


class PixelDigest:
    """XXH3-128 of decoded samples in raster order, interleaved, little-endian.

    The same whatever the compression, byte order, strip or tile layout and plane order of the file. Shape, sample
    type, photometric meaning, palette and profile go in first, so that equal samples with another meaning differ.
    """

    def __init__(self, shape: tuple[int, int, int], dtype: str, meaning: str, extra: bytes) -> None:
        from xxhash import xxh3_128

        head = f"{shape[0]}x{shape[1]}x{shape[2]} {dtype} {meaning}".encode()
        self._hash: xxhash.xxh3_128 = xxh3_128(head + b"\0" + extra)

    def update(self, rows: "NDArray[np.generic]") -> None:
        """Add rows, H × W × S."""
        import numpy as np

        if sys.byteorder == "big":
            rows = rows.astype(rows.dtype.newbyteorder("<"))
        self._hash.update(np.ascontiguousarray(rows).data)

    def hexdigest(self) -> str:
        """The digest of all rows so far, 32 hex digits."""
        return self._hash.hexdigest()
