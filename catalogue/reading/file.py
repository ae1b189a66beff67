"""Read one file into a Reading. Never raises for a bad file: its faults are in the Reading."""

import os
import stat
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from io import RawIOBase
from pathlib import Path
from time import monotonic
from typing import BinaryIO

import cv2
import numpy as np
from numpy.typing import NDArray

from catalogue.errors import one_line
from catalogue.reading import metadata, notes
from catalogue.reading.colour import UnusableProfile, to_srgb
from catalogue.reading.digests import PixelDigest
from catalogue.reading.handles import Hashing, file_state, open_without_waiting
from catalogue.reading.kinds import HEAD_BYTES, format_of
from catalogue.reading.limits import Deadline, Limits, OutOfTime
from catalogue.reading.model import ACCESS_DENIED, ANOTHER_COPY, Fault, FaultFound, Note, Reading
from catalogue.reading.opening import open_source
from catalogue.reading.preview import LONG_SIDE, encode, hashes
from catalogue.reading.reduce import Reducer, rows_at_a_time, spans, turned
from catalogue.reading.render import Rendering
from catalogue.reading.source import Samples, Source
from catalogue.reading.spectrum import Patches
from catalogue.reading.stretches import plain_stretches
from catalogue.reading.trouble import TooBig

SPOILS_DIGEST = (Fault.TRUNCATED, Fault.DAMAGED, Fault.UNREADABLE, Fault.UNDECODED)


def read_file(path: str | Path, *, limits: Limits = Limits()) -> Reading:  # noqa: B008 - frozen
    """Read one file: structure, tags, digests, preview, hashes. Raises nothing for a bad file.

    Digest and picture come from the same file: one that is written to, or replaced under its name, while it is read has
    a ``changing`` finding, and nothing in the Reading can be trusted.

    Safe to call in worker processes; holds no more than ``Limits`` says, whatever the file's size.
    """
    began = monotonic()
    work = _work(path, limits, Work.read)
    return replace(work.reading, faults=tuple(dict.fromkeys(work.faults)), seconds=monotonic() - began)


def read_picture(path: str | Path, *, limits: Limits = Limits()) -> "Work":  # noqa: B008 - frozen
    """Only what one file shows, as ``Work.shown``, and its faults: no digest, nothing to store.

    A JPEG is decoded no finer than needed. Raises nothing for a bad file.
    """
    return _work(path, replace(limits, long_side=LONG_SIDE), Work.read_picture)


def _work(path: str | Path, limits: Limits, read: Callable[["Work", BinaryIO, RawIOBase], None]) -> "Work":
    name = os.fspath(path)
    work = Work(Reading(name, 0, 0), limits, Deadline.after(limits.seconds))
    try:
        before = os.stat(name)  # noqa: PTH116 - a name that is not UTF-8 stays as it is
    except OSError as error:
        work.faults.append(_refusal(error))
        return work
    work.reading = Reading(name, before.st_size, before.st_mtime_ns)
    if not stat.S_ISREG(before.st_mode):
        work.faults.append(FaultFound(Fault.NOT_A_PICTURE, "is not an ordinary file"))
        return work
    cv2.setNumThreads(1)  # a pool already runs one process a core
    try:
        # two handles, for each reads ahead on its own; that both are of one file is asked of the system
        with (open(name, "rb", opener=open_without_waiting) as file,
              open(name, "rb", 0, opener=open_without_waiting) as raw):
            if file_state(os.fstat(file.fileno())) == file_state(os.fstat(raw.fileno())) == file_state(before):
                read(work, file, raw)
            handles = (os.fstat(file.fileno()), os.fstat(raw.fileno()))
        if any(file_state(handle) != file_state(before) for handle in handles):
            work.faults.append(FaultFound(Fault.CHANGING, "changed while it was read",
                                          "read it again when nothing is writing to it"))
        elif not _still_named(name, before):
            work.faults.append(FaultFound(Fault.CHANGING, "was replaced while it was read",
                                          "read it again when nothing is writing to it"))
    except OSError as error:
        work.faults.append(_refusal(error))
    except Exception as error:  # the worker's edge: one file's surprise must not end the run
        work.faults.append(_surprise(error))
    return work


def _still_named(name: str, before: os.stat_result) -> bool:
    try:
        return file_state(os.stat(name)) == file_state(before)  # noqa: PTH116
    except OSError:
        return False


def _refusal(error: OSError) -> FaultFound:
    if isinstance(error, FileNotFoundError):
        return FaultFound(Fault.VANISHED, "was listed, but is gone now")
    hint, cause = (("check its permissions", ACCESS_DENIED) if isinstance(error, PermissionError) else
                   ("the disk or its connection may be failing", ""))
    return FaultFound(Fault.UNREADABLE, error.strerror or str(error), hint, getattr(error, "offset", None), cause)


def _surprise(error: Exception) -> FaultFound:
    kind = Fault.UNDECODED if isinstance(error, (MemoryError, ImportError)) else Fault.DAMAGED  # not the file's doing
    return FaultFound(kind, f"could not be read to the end: {type(error).__name__}: {one_line(error)}")


def _undigested(error: Exception) -> FaultFound:
    if isinstance(error, OutOfTime):
        return FaultFound(Fault.UNREADABLE, "could not be read in full in the time allowed")
    return _refusal(error) if isinstance(error, OSError) else _surprise(error)


@dataclass(slots=True)
class Work:
    """The reading of one open file; ``reading`` grows as parts succeed, so that a failure keeps earlier results."""

    reading: Reading
    limits: Limits
    deadline: Deadline
    faults: list[FaultFound] = field(default_factory=list)
    shown: NDArray[np.uint8] | None = None  # H × W × 3 sRGB, upright, the long side at most LONG_SIDE

    def read(self, file: BinaryIO, raw: RawIOBase) -> None:
        """Read everything that can be read. ``raw`` is a second handle on the same file, for the digest of its
        bytes."""
        source = self._opened(file)
        hashing = Hashing(raw, source.stretches or plain_stretches(self.reading.size), self.deadline.check)
        hashing.start()
        try:
            self._describe(source)
            self._decode(source)
        except Exception as error:  # the codec edge: the digest of the bytes is still wanted
            self.faults.append(_surprise(error))
        finally:
            hashing.join()
            if hashing.error is not None:
                self.faults.append(_undigested(hashing.error))
            self.reading = replace(self.reading, sha256=hashing.digest.sha256, segments=hashing.digest.segments)

    def read_picture(self, file: BinaryIO, _: RawIOBase) -> None:
        """Read only what is shown."""
        source = self._opened(file)
        self.faults.extend(source.faults)
        if source.samples and source.picture:
            self._reduce(source.samples, Rendering(source), source.picture.orientation)

    def _opened(self, file: BinaryIO) -> Source:
        kind = format_of(file.read(HEAD_BYTES))
        if not self.reading.size:
            self.faults.append(FaultFound(Fault.EMPTY, "is empty", ANOTHER_COPY))
            return Source("")
        if not kind:
            self.faults.append(FaultFound(Fault.NOT_A_PICTURE, "its first bytes are not a known picture format"))
            return Source("")
        try:
            return open_source(file, kind, self.reading.size, self.limits, self.deadline)
        except Exception as error:  # the codec edge
            return Source(kind, faults=[_surprise(error)])

    def _describe(self, source: Source) -> None:
        """What is known before decoding any pixels."""
        facts, conflicts = metadata.merge(source.statements)
        judged: tuple[Note, ...] = ()
        if source.picture:
            judged = notes.judge(source.picture, source.stated_srgb)
            if fault := notes.profile_fault(source.picture, source.stated_srgb):
                source.faults.append(fault)
        self.faults.extend(source.faults)
        self.reading = replace(
            self.reading, format=source.format, picture=source.picture, metadata=facts,
            notes=(*source.notes, *conflicts, *judged),
        )

    def _decode(self, source: Source) -> None:
        """The picture with its digest, preview and hashes."""
        samples, picture = source.samples, source.picture
        if samples is None or picture is None:
            return
        rendering = Rendering(source)
        patches = Patches(samples.width, samples.height, rendering.top)
        shape = (samples.height, samples.width, samples.channels)
        digest = PixelDigest(shape, samples.dtype.name, rendering.meaning, rendering.identity)
        self._reduce(samples, rendering, picture.orientation, digest, patches)
        if self.shown is None:
            return
        spoilt = any(fault.kind in SPOILS_DIGEST for fault in self.faults)
        upscaled = () if spoilt or samples.reduced else patches.notes()
        self.reading = replace(
            self.reading, preview=encode(self.shown), hashes=hashes(self.shown),
            pixel_digest="" if spoilt else source.coded_digest or digest.hexdigest(),
            notes=(*self.reading.notes, *rendering.notes(), *upscaled),
        )
    def _reduce(self, samples: Samples, rendering: Rendering, orientation: int, digest: PixelDigest | None = None,
                patches: Patches | None = None) -> None:
        """Take all bands; what they show, reduced, and what went wrong."""
        reducer = Reducer(samples.width, samples.height, rendering.channels, LONG_SIDE)
        try:
            for band in samples.bands():
                if digest:
                    digest.update(band)
                for start, stop in spans(len(band), rows_at_a_time(band[0].nbytes, self.limits.band_bytes)):
                    prepared = rendering.prepare(band[start:stop])   # a part at a time: it may be a copy
                    if patches:
                        patches.add(prepared)
                    reducer.add(prepared)
        except TooBig as stop:
            self.faults.append(FaultFound(Fault.UNDECODED, f"{stop}, too large for the memory allowed"))
        except OutOfTime:
            self.faults.append(FaultFound(Fault.UNDECODED, f"took longer than {self.limits.seconds:,.0f} s"))
        self.faults.extend(samples.final_faults())
        if reducer.rows_done and samples.any_decoded():
            shown = self._shown(rendering, reducer, rendering.source.icc)
            self.shown = np.ascontiguousarray(turned(shown, orientation))

    def _shown(self, rendering: Rendering, reducer: Reducer, icc: bytes) -> NDArray[np.uint8]:
        colours, meaning = rendering.finish(reducer.result())
        try:
            return to_srgb(colours, meaning, icc)
        except UnusableProfile as error:
            self.faults.append(
                FaultFound(Fault.NO_PROFILE, str(error), "assign the right profile; until then the preview is rough")
            )
            return to_srgb(colours, meaning, b"")
