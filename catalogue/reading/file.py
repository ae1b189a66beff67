"""One file to one Reading. Never raises for a bad file: whatever is wrong with it is in the Reading."""

import os
import stat
from dataclasses import dataclass, field, replace
from pathlib import Path
from threading import Thread
from time import monotonic
from typing import BinaryIO

import cv2
import numpy as np

from . import metadata
from .colour import to_srgb
from .digests import BytesDigest, PixelDigest, digest_stretches
from .kinds import HEAD_BYTES, format_of
from .limits import Deadline, Limits, OutOfTime
from .model import Fault, FaultFound, Reading
from .preview import LONG_SIDE, encode, hashes
from .raster import TooBig
from .reduce import Reducer, turned
from .render import Rendering
from .source import Source
from .stretches import plain_stretches
from .tiff import open_tiff
from .whole import open_whole


def read_file(path: str | Path, *, limits: Limits = Limits()) -> Reading:  # noqa: B008 - frozen
    """Read one file: structure, tags, digests, preview, hashes. Raises nothing for a bad file.

    Safe to call in worker processes; holds less than ``Limits`` says, whatever the file's size.
    """
    began = monotonic()
    name = os.fspath(path)
    try:
        before = os.stat(name)  # noqa: PTH116
    except OSError as error:
        return _without(name, _refusal(error))
    reading = Reading(name, before.st_size, before.st_mtime_ns)
    if not stat.S_ISREG(before.st_mode):
        return replace(reading, faults=(FaultFound(Fault.NOT_A_PICTURE, "not an ordinary file"),))
    cv2.setNumThreads(1)  # the pool already runs one process a core
    work = Work(name, limits, Deadline.after(limits.seconds))
    try:
        with open(name, "rb") as file:  # noqa: PTH123 - a name that is not UTF-8 stays as it is
            reading = work.read(file, reading)
            after = os.fstat(file.fileno())
        if (after.st_size, after.st_mtime_ns) != (before.st_size, before.st_mtime_ns):
            work.faults.append(FaultFound(Fault.CHANGING, "changed while it was read", "read it again later"))
    except OSError as error:
        work.faults.append(_refusal(error))
    except Exception as error:  # the worker's edge: one file's surprise must not end the run
        text = " ".join(str(error).split())[:200]
        work.faults.append(FaultFound(Fault.DAMAGED, f"could not be read: {type(error).__name__} {text}"))
    return replace(reading, faults=tuple(work.faults), seconds=monotonic() - began)


def _without(name: str, fault: FaultFound) -> Reading:
    return Reading(name, 0, 0, faults=(fault,))


def _refusal(error: OSError) -> FaultFound:
    if isinstance(error, FileNotFoundError):
        return FaultFound(Fault.VANISHED, "was there when listed, is gone now")
    hint = "see who may read it" if isinstance(error, PermissionError) else "the disk or its connection may be failing"
    return FaultFound(Fault.UNREADABLE, error.strerror or str(error), hint, getattr(error, "offset", None))


@dataclass(slots=True)
class Work:
    """The reading of one open file."""

    path: str
    limits: Limits
    deadline: Deadline
    faults: list[FaultFound] = field(default_factory=list)

    def read(self, file: BinaryIO, reading: Reading) -> Reading:
        """Everything, as far as it goes."""
        head = file.read(HEAD_BYTES)
        kind = format_of(head)
        if not reading.size:
            self.faults.append(FaultFound(Fault.EMPTY, "holds no bytes", "look for another copy of this file"))
        elif not kind:
            self.faults.append(FaultFound(Fault.NOT_A_PICTURE, "its first bytes are of no picture format known here"))
        source = self._open(file, kind, reading.size) if kind and reading.size else Source("")
        stretches = source.stretches or plain_stretches(reading.size)
        hashing = Hashing(self.path, stretches, self.deadline)
        hashing.start()
        try:
            reading = self._decode(source, reading)
        finally:
            digest = hashing.result()
        self.faults.extend(source.faults)
        self.faults.extend(hashing.faults)
        return replace(
            reading, sha256=digest.sha256, segments=digest.segments, format=source.format, picture=source.picture,
            metadata=metadata.merge(source.statements),
        )

    def _open(self, file: BinaryIO, kind: str, size: int) -> Source:
        if kind in ("TIFF", "BigTIFF"):
            return open_tiff(file, size, self.limits, self.deadline)
        return open_whole(file, kind, self.limits, self.deadline)

    def _decode(self, source: Source, reading: Reading) -> Reading:
        samples, picture = source.samples, source.picture
        if samples is None or picture is None:
            return reading
        rendering = Rendering(source)
        reducer = Reducer(samples.width, samples.height, rendering.channels, LONG_SIDE)
        digest = PixelDigest(
            (samples.height, samples.width, samples.channels), samples.dtype.name, rendering.meaning, rendering.extra
        )
        whole = True
        try:
            for band in samples.bands():
                digest.update(band)
                reducer.add(rendering.prepare(band))
        except (TooBig, OutOfTime) as stop:
            whole = False
            why = str(stop) or f"took longer than {self.limits.seconds:,.0f} s"
            self.faults.append(FaultFound(Fault.UNDECODED, why))
        troubles = samples.settle()
        self.faults.extend(troubles)
        if not reducer.rows_done or any(fault.kind is Fault.UNDECODED for fault in troubles):
            return reading
        shown = turned(to_srgb(*rendering.finish(reducer.result()), source.icc), picture.orientation)
        shown = np.ascontiguousarray(shown)
        return replace(
            reading, preview=encode(shown), hashes=hashes(shown),
            pixel_digest=digest.hexdigest() if whole and not troubles else "",
        )


class Hashing(Thread):
    """SHA-256 of the file beside the decoding: both walk the file together, so the disk is read once."""

    def __init__(self, path: str, stretches: object, deadline: Deadline) -> None:
        super().__init__(name="sha-256", daemon=True)
        self.path, self.stretches, self.deadline = path, stretches, deadline
        self.faults: list[FaultFound] = []
        self._digest = BytesDigest("", ())

    def run(self) -> None:
        """Digest the file; a failure becomes a finding."""
        try:
            self._digest = digest_stretches(self.path, self.stretches, self.deadline.check)  # type: ignore[arg-type]
        except OutOfTime:
            self.faults.append(FaultFound(Fault.UNREADABLE, "was not read to its end in the time allowed"))
        except OSError as error:
            self.faults.append(_refusal(error))
        if self._digest.error:
            self.faults.append(_refusal(self._digest.error))

    def result(self) -> BytesDigest:
        """Wait for the digest."""
        self.join()
        return self._digest
