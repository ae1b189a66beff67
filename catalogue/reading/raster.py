"""A TIFF image's samples as bands of whole rows, top down, whatever way the file lays them out.

Memory holds one row of segments (strips or tiles) and never a whole picture: uncompressed strips, however tall, are
read a few rows at a time.
"""

import logging
import os
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray

from .digests import ReadFailed
from .image import DEFLATE, JPEGS, Image
from .limits import Deadline, Limits
from .model import Fault, FaultFound
from .reduce import spans
from .structure import Structure

logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # its complaints become findings here

Rows = NDArray[Any]


@dataclass(slots=True)
class Trouble:
    """Segments that could not be had, gathered so that a thousand bad strips make one finding."""

    had: int = 0                       # segments of which at least a part was had
    missing: int = 0                   # not wholly inside the file
    failed: int = 0                    # there, but the codec refused them
    unread: list[ReadFailed] = field(default_factory=list)
    first_missing: int | None = None
    first_failed: int | None = None
    reason: str = ""

    def faults(self, total: int, cut_known: bool) -> tuple[FaultFound, ...]:
        """The findings they amount to. ``cut_known``: the structure check has already told of missing segments."""
        found = []
        if self.unread:
            found.append(FaultFound(Fault.UNREADABLE, str(self.unread[0]), "the medium may be failing: copy what can "
                                    "be read, then replace it", self.unread[0].offset))
        if self.missing and not cut_known:
            found.append(FaultFound(Fault.TRUNCATED, f"{self.missing:,} of {total:,} segments are not whole",
                                    "look for another copy of this file", self.first_missing))
        if self.failed and not self.had:
            found.append(FaultFound(Fault.UNDECODED, self.reason))
        elif self.failed:
            found.append(FaultFound(Fault.DAMAGED, f"{self.failed:,} of {total:,} segments do not decode: "
                                    f"{self.reason}", "look for another copy of this file", self.first_failed))
        return tuple(found)


class TooBig(Exception):
    """A segment would need more memory than ``Limits.held_bytes``."""


class Raster:
    """The rows of one image of an open TIFF."""

    def __init__(self, found: Structure, image: Image, file: Any, limits: Limits, deadline: Deadline) -> None:
        self.found, self.image, self.limits, self.deadline = found, image, limits, deadline
        self.trouble = Trouble()
        self.salvage_is_partial = False
        self._buffers: dict[int, NDArray[np.uint8]] = {}
        file.seek(0)
        tif = tifffile.TiffFile(file)
        tif.filehandle.seek(image.ifd.offset)
        self.page = tifffile.TiffPage(tif, index=0)
        self.dtype = self._dtype()
        self.samples = image.samples

    def _dtype(self) -> np.dtype[Any]:
        kind = self.page.dtype
        if kind is None:
            raise ValueError(f"{max(self.image.bits)}-bit {self.image.sample_format} samples have no decoder")
        kind = np.dtype(kind)
        return np.dtype(np.uint8) if kind == np.bool_ else kind.newbyteorder("=")

    def bands(self) -> Iterator[Rows]:
        """Rows × width × samples, native byte order, from the top down; zeros where a segment could not be had.

        A band is good until the next one is asked for.

        Raises ``TooBig``, ``OutOfTime``.
        """
        image = self.image
        if self._rows_can_be_read():
            yield from self._plain_strips()
            return
        if image.segment_bytes() > self.limits.held_bytes:
            raise TooBig(f"one segment holds {image.segment_bytes() / 2**20:,.0f} MiB of samples in one piece of "
                         "compressed data")
        yield from self._segment_rows()

    def _rows_can_be_read(self) -> bool:
        image = self.image
        uniform = len(set(image.bits)) == 1 and image.depth == 1
        plain = image.compression == 1 and not image.tiled and self.found.number(image.ifd, 266, 1) == 1
        return plain and uniform and image.photometric != 6 and (self._whole_bytes() or self._packed())

    def _whole_bytes(self) -> bool:
        return self.image.bits[0] == self.dtype.itemsize * 8

    def _packed(self) -> bool:
        return self.image.sample_format == "uint" and self.image.bits[0] < 32

    def _plain_strips(self) -> Iterator[Rows]:
        """Uncompressed strips, some rows at a time: a strip may be the whole picture."""
        image = self.image
        row_bytes = image.stored_row_bytes()
        step = max(1, self.limits.band_bytes // (row_bytes * image.planes))
        per_plane = image.rows_of_segments
        for strip in range(per_plane):
            top = strip * image.segment_height
            rows = min(image.segment_height, image.height - top)
            for start, stop in spans(rows, step):
                self.deadline.check()
                planes = [
                    self._plain_rows(plane, plane * per_plane + strip, start, stop, row_bytes)
                    for plane in range(image.planes)
                ]
                yield planes[0] if len(planes) == 1 else np.concatenate(planes, axis=2)

    def _buffer(self, plane: int, size: int) -> NDArray[np.uint8]:
        """Room for a band of one plane, used again for the next: fresh memory for each costs a third more."""
        if plane not in self._buffers or len(self._buffers[plane]) < size:
            self._buffers[plane] = np.empty(size, np.uint8)
        return self._buffers[plane][:size]

    def _plain_rows(self, plane: int, index: int, start: int, stop: int, row_bytes: int) -> Rows:
        image = self.image
        wanted = (stop - start) * row_bytes
        data = self._buffer(plane, wanted)
        if index < len(image.offsets):
            offset = int(image.offsets[index]) + start * row_bytes
            try:
                got = self._read_into(data, offset)
            except ReadFailed as error:
                self.trouble.unread.append(error)
                data[:] = 0
                got = wanted
            self.trouble.had += got > 0
            if got < wanted:
                data[got:] = 0
                self._note_missing(offset + got, once=start)
        else:
            data[:] = 0
            self._note_missing(self.found.size, once=start)
        shape = (stop - start, image.width, image.segment_samples)
        if self._whole_bytes():
            stored = self.dtype.newbyteorder("<" if self.found.order == "<" else ">")
            return np.frombuffer(data, stored).reshape(shape).astype(self.dtype, copy=False)
        bits = image.bits[0]
        run = image.width * image.segment_samples
        unpacked = imagecodecs.packints_decode(data.tobytes(), self.dtype, bits, runlen=run)
        return np.asarray(unpacked).reshape(shape).astype(self.dtype, copy=False)

    def _note_missing(self, offset: int, once: int = 0) -> None:
        if self.trouble.first_missing is None:
            self.trouble.first_missing = offset
        self.trouble.missing += 0 if once and self.trouble.missing else 1

    def _read_into(self, data: bytearray | NDArray[np.uint8], offset: int) -> int:
        view, done = memoryview(data.data if isinstance(data, np.ndarray) else data), 0
        while done < len(view):
            try:
                count = os.preadv(self.found.fd, [view[done:]], offset + done)
            except OSError as error:
                raise ReadFailed(offset + done, error) from error
            if not count:
                break
            done += count
        return done

    def _segment_rows(self) -> Iterator[Rows]:
        """Any segments, one row of them at a time, edge tiles clipped, planes interleaved."""
        image = self.image
        per_plane = image.rows_of_segments * image.columns_of_segments
        for row in range(image.rows_of_segments):
            height = min(image.segment_height, image.height - row * image.segment_height)
            first = row * image.columns_of_segments
            if image.columns_of_segments == 1 and image.planes == 1:
                part = self._segment(first)
                yield self._empty(height) if part is None else self._fitted(part, height, image.width)
                continue
            band = self._empty(height)
            for plane in range(image.planes):
                for column in range(image.columns_of_segments):
                    part = self._segment(plane * per_plane + first + column)
                    if part is None:
                        continue
                    left = column * image.segment_width
                    part = part[:height, : image.width - left]
                    samples = slice(plane, plane + 1) if image.planes > 1 else slice(0, part.shape[2])
                    band[: part.shape[0], left : left + part.shape[1], samples] = part
            yield band

    def _empty(self, height: int) -> Rows:
        return np.zeros((height, self.image.width, self.image.samples), self.dtype)

    def _fitted(self, part: Rows, height: int, width: int) -> Rows:
        part = part[:height, :width]
        if part.shape[:2] != (height, width):
            band = self._empty(height)
            band[: part.shape[0], : part.shape[1], : part.shape[2]] = part
            return band
        return part

    def _segment(self, index: int) -> Rows | None:
        """One decoded segment, height × width × samples; ``None`` and a note where it cannot be had."""
        self.deadline.check()
        image, trouble = self.image, self.trouble
        if index >= min(len(image.offsets), len(image.counts)):
            self._note_missing(self.found.size)
            return None
        offset, count = int(image.offsets[index]), int(image.counts[index])
        if offset == 0 or count == 0:
            return None  # TIFF for an empty segment
        if offset < 0 or count < 0 or offset >= self.found.size:
            self._note_missing(offset)
            return None
        whole = offset + count <= self.found.size
        if not whole:
            self._note_missing(offset)
            count = self.found.size - offset
        if count + image.segment_bytes() > 1.6 * self.limits.held_bytes:
            raise TooBig(f"one segment is {count / 2**20:,.0f} MiB of compressed data")
        try:
            data = read_at(self.found.fd, count, offset)
        except ReadFailed as error:
            trouble.unread.append(error)
            return None
        try:
            part = self._decode(data, index)
        except Exception as error:  # the codec edge: whatever a codec raises is a finding about this segment
            part = self._salvaged(data, index)
            if whole and (part is None or self.salvage_is_partial):
                trouble.failed += 1
                if not trouble.reason:
                    trouble.reason, trouble.first_failed = _reason(error), offset
        trouble.had += part is not None
        return part

    def _salvaged(self, data: bytes, index: int) -> Rows | None:
        """What zlib gets out of a Deflate segment with bytes too many or too few; ``None`` for nothing."""
        self.salvage_is_partial = False
        if self.image.compression not in DEFLATE:
            return None
        wanted = self.image.stored_row_bytes() * self.image.rows_in(index)
        try:
            found = zlib.decompressobj().decompress(data, wanted)
            self.salvage_is_partial = len(found) < wanted
            return self._decode(zlib.compress(found.ljust(wanted, b"\0"), 0), index) if found else None
        except Exception:  # the codec edge: the first error is the one that is told
            return None

    def _decode(self, data: bytes, index: int) -> Rows | None:
        options: dict[str, Any] = {}
        if self.image.compression in JPEGS:
            options = {"jpegtables": self.page.jpegtables, "jpegheader": self.page.jpegheader}
        decoded, _, _ = self.page.decode(data, index, **options)
        if decoded is None:
            return None
        rows = decoded.reshape(decoded.shape[-3:]) if decoded.ndim > 3 else decoded
        return np.asarray(rows.astype(self.dtype, copy=False))


def read_at(fd: int, count: int, offset: int) -> bytes:
    """Up to ``count`` bytes from ``offset``; fewer at the file's end. Raises ``ReadFailed``."""
    try:
        data = os.pread(fd, count, offset)
    except OSError as error:
        raise ReadFailed(offset, error) from error
    while len(data) < count:  # the system gives at most 2 GiB, and less where it likes
        try:
            more = os.pread(fd, count - len(data), offset + len(data))
        except OSError as error:
            raise ReadFailed(offset + len(data), error) from error
        if not more:
            break
        data += more
    return data


def _reason(error: Exception) -> str:
    text = " ".join(str(error).split()) or type(error).__name__
    return text[:200]
