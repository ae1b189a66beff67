"""Digests of a file's bytes, of stretches of them, and of a picture's decoded samples."""

import hashlib
import os
import sys
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, replace
from io import RawIOBase
from pathlib import Path
from typing import TYPE_CHECKING, Any

from catalogue.progress import Cancelled, Progress, Report, Stopped, ignore_progress, never_cancelled
from catalogue.reading.model import SegmentDigest

if TYPE_CHECKING:
    import numpy as np
    import xxhash
    from numpy.typing import NDArray

BUFFER_BYTES = 2 << 20  # read into by Python's file objects: 1 to 8 MiB are equal within noise, smaller is slower
BLOCK_BYTES = 512 << 10  # hashed at a time: stays in the processor's cache; 2 MiB cost 6 % more processor time
AHEAD_BYTES = 4 << 20


class ReadFailed(OSError):
    """The medium failed at a known offset."""

    def __init__(self, offset: int, cause: OSError) -> None:
        super().__init__(cause.errno, cause.strerror)
        self.offset = offset

    def __str__(self) -> str:
        return f"{self.strerror or 'read error'} at byte {self.offset:,}"


def read_into(fd: int, room: memoryview, offset: int) -> int:
    """Fill ``room`` from ``offset``; how many bytes came. Raises ``ReadFailed``."""
    bytes_read = 0
    while bytes_read < len(room):
        try:
            count = os.preadv(fd, [room[bytes_read:]], offset + bytes_read)
        except OSError as error:
            raise ReadFailed(offset + bytes_read, error) from error
        if not count:
            break
        bytes_read += count
    return bytes_read


def read_block(fd: int, buffer: memoryview, offset: int) -> int:
    """Bytes of a file from ``offset`` into ``buffer``; how many came, 0 at the end. Raises :class:`ReadFailed`."""
    try:
        os.lseek(fd, offset, os.SEEK_SET)
        return os.readv(fd, [buffer])
    except OSError as error:
        raise ReadFailed(offset, error) from error


def fetch_ahead(fd: int, offset: int) -> None:
    """Have the medium read on while the present block is digested; asked once in half of what is fetched."""
    if hasattr(os, "posix_fadvise") and offset % (AHEAD_BYTES // 2) == 0:
        with suppress(OSError):  # advice only
            os.posix_fadvise(fd, offset, AHEAD_BYTES, os.POSIX_FADV_WILLNEED)


def hash_open_file(fd: int, hashes: Iterable[Any], after_block: Callable[[int], None], *,
                   read: Callable[[int, memoryview, int], int] = read_block) -> int:
    """Feed every byte of an open file, from its start, to ``hashes`` (as hashlib's); returns its length.

    ``after_block`` is called with the size of each block and raises to stop. Raises what ``read`` raises.
    """
    hashes, buffer, offset = tuple(hashes), memoryview(bytearray(BLOCK_BYTES)), 0
    while count := read(fd, buffer, offset):
        offset += count
        fetch_ahead(fd, offset)
        for digest in hashes:
            digest.update(buffer[:count])
        after_block(count)
    return offset


def sha256_of_fd(fd: int, *, report: Report = ignore_progress, cancelled: Cancelled = never_cancelled,
                 stage: str = "sha-256", total: int | None = None) -> tuple[str, int]:
    """SHA-256 in hex and length of an open file, from its start, reporting bytes done.

    Raises ``OSError`` (:class:`ReadFailed` with the byte offset) and :class:`Stopped`.
    """
    sha, bytes_read = hashlib.sha256(), 0

    def after_block(count: int) -> None:
        nonlocal bytes_read
        bytes_read += count
        report(Progress(stage, bytes_done=bytes_read, bytes_total=total))
        if cancelled():
            raise Stopped

    if cancelled():
        raise Stopped
    length = hash_open_file(fd, [sha], after_block)
    return sha.hexdigest(), length


def sha256_of(path: str | Path, *, report: Report, cancelled: Cancelled) -> str:
    """SHA-256 of a file's bytes in hex, as :func:`sha256_of_fd`."""
    with open(path, "rb", buffering=0) as file:  # noqa: PTH123 - a name that is not UTF-8 stays as it is
        return sha256_of_fd(file.fileno(), report=report, cancelled=cancelled)[0]


@dataclass(frozen=True, slots=True)
class BytesDigest:
    """The result of one pass over a file's bytes. ``error`` is set if the medium failed on the way."""

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
                count = read_into(file.fileno(), view[: min(len(view), end - offset)], offset)
            except ReadFailed as error:
                return BytesDigest("", tuple(filled), error)
            if not count:
                break
            sha.update(view[:count])
            part.update(view[:count])
            offset += count
        filled.append(replace(stretch, digest=part.hexdigest()))
    while count := read_into(file.fileno(), view, offset):  # the file grew after its size was taken
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
