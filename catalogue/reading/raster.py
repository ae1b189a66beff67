"""A TIFF image's samples as bands of whole rows, top down, whatever way the file lays them out.

Memory holds one row of segments (strips or tiles) and never a whole picture: uncompressed strips, however tall, are
read a few rows at a time.
"""

import logging
import zlib
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any, Literal

import imagecodecs
import numpy as np
import tifffile
from numpy.typing import NDArray

from catalogue.reading.codestreams import refuse_contradiction
from catalogue.reading.digests import ReadFailed, read_into
from catalogue.reading.image import DEFLATE, JPEGS, Image
from catalogue.reading.limits import Deadline, Limits
from catalogue.reading.reduce import spans
from catalogue.reading.source import Rows
from catalogue.reading.streams import Stream, can_stream, decoded, inflated_prefix
from catalogue.reading.structure import Structure
from catalogue.reading.trouble import TooBig, Trouble, read_at

logging.getLogger("tifffile").setLevel(logging.CRITICAL)  # its complaints become findings here

YCBCR = 6


class Raster:
    """The rows of one image of an open TIFF."""

    def __init__(self, structure: Structure, image: Image, file: Any, limits: Limits, deadline: Deadline) -> None:
        self.structure, self.image, self.limits, self.deadline = structure, image, limits, deadline
        self.trouble = Trouble()
        self.rows_in_band = max(1, limits.band_bytes // (image.stored_row_bytes() * image.planes))
        self._buffers: dict[int, NDArray[np.uint8]] = {}
        self.fd = file.fileno()
        file.seek(0)
        tif = tifffile.TiffFile(file)
        tif.filehandle.seek(image.ifd.offset)
        self.page = tifffile.TiffPage(tif, index=0)
        self.dtype = self._dtype()
        self.page.decode(None, 0)   # raises where tifffile has no codec, predictor or unpacking for such an image

    def _dtype(self) -> np.dtype[Any]:
        kind = self.page.dtype
        if kind is None:
            raise ValueError(f"{max(self.image.bits)}-bit {self.image.sample_format} samples have no decoder")
        kind = np.dtype(kind)
        return np.dtype(np.uint8) if kind == np.bool_ else kind.newbyteorder("=")

    def bands(self) -> Iterator[Rows]:
        """Rows × width × samples, native byte order, from the top down; zeros if a segment could not be decoded.

        A band is good until the next one is asked for.

        Raises ``TooBig``, ``OutOfTime``.
        """
        yield from self._way()
        self.trouble.finished = True

    def _way(self) -> Iterator[Rows]:
        image = self.image
        held, row = image.segment_bytes(), image.width * image.samples * self.dtype.itemsize
        if 4 * row > self.limits.held_bytes:   # a row is held several times over, once as float32
            raise TooBig(f"one row holds {row / 2**20:,.0f} MiB of samples")
        if self._rows_can_be_read():
            return self._strips(lambda plane, index: partial(self._plain_rows, plane, index))
        if held <= self.limits.held_bytes:
            return self._segment_rows()
        if self._can_stream():
            return self._strips(self._streamed)
        raise TooBig(f"one segment holds {held / 2**20:,.0f} MiB of samples in one piece of compressed data")

    def _rows_can_be_read(self) -> bool:
        image = self.image
        uniform = len(set(image.bits)) == 1 and image.depth == 1
        plain = image.compression == 1 and not image.tiled and self.structure.number(image.ifd, 266, 1) == 1
        packed = image.sample_format == "uint" and image.bits[0] < 32
        return plain and uniform and image.photometric != YCBCR and (self._whole_bytes() or packed)

    def _whole_bytes(self) -> bool:
        return self.image.bits[0] == self.dtype.itemsize * 8

    def _strips(self, rows_of: Callable[[int, int], Callable[[int, int], Rows]]) -> Iterator[Rows]:
        """Strips, some rows at a time: one may be the whole picture.

        ``rows_of``: of a plane and a strip's index what gives the strip's rows from one to another, asked in order.
        """
        image, step = self.image, self.rows_in_band
        for strip in range(image.rows_of_segments):
            planes = [rows_of(plane, plane * image.rows_of_segments + strip) for plane in range(image.planes)]
            for start, stop in spans(image.rows_in(strip), step):
                self.deadline.check()
                bands = [rows(start, stop) for rows in planes]
                yield bands[0] if len(bands) == 1 else np.concatenate(bands, axis=2)

    def _buffer(self, plane: int, size: int) -> NDArray[np.uint8]:
        """Room for a band of one plane, used again for the next: fresh memory for each costs a third more."""
        if plane not in self._buffers or len(self._buffers[plane]) < size:
            self._buffers[plane] = np.empty(size, np.uint8)
        return self._buffers[plane][:size]

    def _plain_rows(self, plane: int, index: int, start: int, stop: int) -> Rows:
        image, row_bytes = self.image, self.image.stored_row_bytes()
        wanted = (stop - start) * row_bytes
        data = self._buffer(plane, wanted)
        offset, got = self.structure.size, 0
        if index < len(image.offsets) and image.offsets[index] >= 0:
            offset = int(image.offsets[index]) + start * row_bytes
            try:
                got = read_into(self.fd, data.data, offset)
            except ReadFailed as error:
                self.trouble.unread.append(error)
                data[:] = 0
                got = wanted
            self.trouble.decoded += got > 0
        if got < wanted:
            data[got:] = 0
            self.trouble.note_missing(offset + got, once=start)
        if self._whole_bytes():
            samples = np.frombuffer(data, self.dtype.newbyteorder(self._order()))
        else:
            samples = np.asarray(imagecodecs.packints_decode(data.tobytes(), self.dtype, image.bits[0],
                                                             runlen=image.width * image.segment_samples))
        return samples.reshape(stop - start, image.width, image.segment_samples).astype(self.dtype, copy=False)

    def _can_stream(self) -> bool:
        image = self.image
        plain = not image.tiled and image.depth == 1 and len(set(image.bits)) == 1 and self._whole_bytes()
        predictor = self.structure.number(image.ifd, 317, 1)
        return plain and can_stream(image.compression) and predictor in (1, 2) and image.photometric != YCBCR

    def _streamed(self, _: int, index: int) -> Callable[[int, int], Rows]:
        """A compressed strip too large to hold, decoded as it is read."""
        image, stream = self.image, None
        if not 0 <= index < min(len(image.offsets), len(image.counts)) or (
                not 0 <= image.offsets[index] < self.structure.size):
            self.trouble.note_missing(self.structure.size)
        else:
            offset, count = int(image.offsets[index]), int(image.counts[index])
            if offset + count > self.structure.size:
                self.trouble.note_missing(offset)
            stream = Stream(decoded(self.fd, offset, count, image.compression,
                                    self.rows_in_band * image.stored_row_bytes()))

        def rows(start: int, stop: int) -> Rows:
            band = self._streamed_rows(stream, stop - start)
            if stop == image.rows_in(index) and stream and not stream.dead:
                self._finish(stream)
            return band

        return rows

    def _streamed_rows(self, stream: Stream | None, rows: int) -> Rows:
        wanted = rows * self.image.stored_row_bytes()
        data = self._from_stream(stream, wanted) if stream and not stream.dead else b""
        self.trouble.decoded += bool(data)
        stored = np.frombuffer(data.ljust(wanted, b"\0"), self.dtype.newbyteorder(self._order()))
        band = stored.astype(self.dtype).reshape(rows, self.image.width, self.image.segment_samples)
        if self.structure.number(self.image.ifd, 317, 1) == 2:
            band = np.asarray(imagecodecs.delta_decode(band, axis=-2))
        return band

    def _from_stream(self, stream: Stream, wanted: int) -> bytes:
        data, error = stream.read(wanted)
        if error is None and len(data) < wanted:
            error = EOFError("a strip's data ends before its rows do")
        self._note_stream(error)
        stream.dead = len(data) < wanted
        return data

    def _finish(self, stream: Stream) -> None:
        """All rows were had; the rest of the strip may still say that they are not those that were written."""
        while True:
            self.deadline.check()
            data, error = stream.read(self.limits.band_bytes)
            if error is not None or not data:
                self._note_stream(error)
                return

    def _note_stream(self, error: Exception | None) -> None:
        if isinstance(error, ReadFailed):
            self.trouble.unread.append(error)
        elif error is not None and (self.trouble.clean or not isinstance(error, EOFError)):
            self.trouble.note_failed(error, None)   # a premature end is reported once, as truncation if it is one

    def _order(self) -> Literal["<", ">"]:
        return "<" if self.structure.order == "<" else ">"

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
        if part.shape != (height, width, self.image.samples):
            band = self._empty(height)
            band[: part.shape[0], : part.shape[1], : part.shape[2]] = part
            return band
        return part

    def _segment(self, index: int) -> Rows | None:
        """One decoded segment, height × width × samples; ``None`` and a note where it cannot be decoded."""
        self.deadline.check()
        image, trouble = self.image, self.trouble
        if index >= min(len(image.offsets), len(image.counts)):
            self.trouble.note_missing(self.structure.size)
            return None
        offset, count = int(image.offsets[index]), int(image.counts[index])
        if offset == 0 or count == 0:
            return None  # TIFF for an empty segment
        if offset < 0 or count < 0 or offset >= self.structure.size:
            self.trouble.note_missing(offset)
            return None
        whole = offset + count <= self.structure.size
        if not whole:
            self.trouble.note_missing(offset)
            count = self.structure.size - offset
        if count + image.segment_bytes() > 1.6 * self.limits.held_bytes:
            raise TooBig(f"one segment is {count / 2**20:,.0f} MiB of compressed data")
        try:
            data = read_at(self.fd, count, offset)
        except ReadFailed as error:
            trouble.unread.append(error)
            return None
        try:
            part = self._decode(data, index)
        except Exception as error:  # the codec edge: whatever a codec raises is a finding about this segment
            part, refusal = self._salvaged(data, index, error)
            if whole and refusal is not None:
                self.trouble.note_failed(refusal, offset)
        trouble.decoded += part is not None
        if part is not None and part.shape[2] != image.segment_samples:
            self.trouble.note_failed(ValueError(f"holds {part.shape[2]} samples a pixel where the file declares "
                                         f"{image.segment_samples}"), offset)
            part = part[..., : image.segment_samples]
        return part

    def _salvaged(self, data: bytes, index: int, error: Exception) -> tuple[Rows | None, Exception | None]:
        """What zlib gets out of a Deflate segment that was refused, and the error that remains.

        None remains for a sound stream (RFC 1950: it ends, and its Adler-32 is right) of more bytes than were asked
        for, as some writers leave them in a last strip.
        """
        if self.image.compression not in DEFLATE:
            return None, error
        wanted = self.image.stored_row_bytes() * self.image.rows_in(index)
        rows, refusal = inflated_prefix(data, wanted)
        try:
            part = self._decode(zlib.compress(rows.ljust(wanted, b"\0"), 0), index) if rows else None
        except Exception:  # the codec edge: the first error is the one that is reported
            return None, error
        return part, refusal if len(rows) == wanted else error

    def _subsampling(self) -> tuple[int, int] | None:
        """Tag 530; (1, 1) where the colours are no YCbCr; ``None`` if it is not stated."""
        if self.image.photometric != YCBCR or self.image.planar:
            return (1, 1)
        stated = self.structure.numbers(self.image.ifd, 530)
        return (int(stated[0]), int(stated[1])) if len(stated) == 2 else None

    def _decode(self, data: bytes, index: int) -> Rows | None:
        image = self.image
        refuse_contradiction(data, image.compression, image.segment_width, image.segment_height, max(image.bits),
                             self._subsampling())
        options: dict[str, Any] = {}
        if image.compression in JPEGS:
            options = {"jpegtables": self.page.jpegtables, "jpegheader": self.page.jpegheader}
        rows, _, _ = self.page.decode(data, index, **options)
        if rows is None:
            return None
        rows = rows.reshape(rows.shape[-3:]) if rows.ndim > 3 else rows
        return np.asarray(rows.astype(self.dtype, copy=False))
