"""Copy, verify, then switch: the only way this program writes picture files into a store.

A copy is made under a temporary name beside its target, flushed to the medium, read back from the medium and compared,
and only then renamed. The target is never half a file, and nothing there is overwritten unless the caller says so.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from hashlib import sha256 as new_sha256
from pathlib import Path

from catalogue.errors import Damaged, NameTaken, NotFound, Refused, StoreAway
from catalogue.progress import Cancelled, Progress, Report, Stopped, data_size
from catalogue.reading.digests import BLOCK_BYTES, fetch_ahead, sha256_of_fd
from catalogue.storage.atomic import opened, part_of, rename_exclusive, rename_over
from catalogue.storage.folders import Entry, OpenFolder, still_at
from catalogue.storage.identity import is_regular
from catalogue.storage.medium import NoRoom, drop_cache, failed, flush, write_all, writing

FAILS_CHECK = "The file to copy fails its check: its SHA-256 is not the recorded one."
NOT_A_FILE = "What is to be copied is not a file."
READS_BACK_OTHERWISE = "The copy does not read back as written."
SPARE_BYTES = 16 << 20  # left free on the disk: a full file system cannot even rename

__all__ = ["NoRoom", "Staged", "Stopped", "copy_verified", "staged_copy"]


@dataclass(frozen=True, slots=True)
class Staged:
    """A verified copy still under its temporary name."""

    part: Entry
    target: Entry
    sha256: str

    def put(self, *, replace: bool = False) -> None:
        """Rename the copy to its final name. Without ``replace`` an existing file is kept, and :class:`Refused`
        raised."""
        if replace:
            rename_over(self.part, self.target)
        else:
            rename_exclusive(self.part, self.target)


def copy_verified(source: Path | Entry, target: Path | Entry, *, sha256: str | None, report: Report,
                  cancelled: Cancelled, replace: bool = False) -> str:
    """Copy ``source`` to ``target`` and prove that the disk holds the same bytes; returns their SHA-256.

    ``sha256``, where given, is what the source must have. The copy keeps the source's modification time. Whatever goes
    wrong, ``target`` is unchanged and the temporary file is removed; one left by a killed program is removed by the
    next copy to the same name.

    Source and target in a store are given as entries of an open folder, so that no link leads elsewhere.

    Raises NotFound: no source. Damaged: the source fails its check, cannot be read, or the copy does not read back as
    written. Refused: ``target`` is taken, is the source itself, or the source changed meanwhile; of these NoRoom: the
    disk is full, TooLarge: its file system holds no such file. Busy: another program is copying to the same name.
    StoreAway: the folder is not where it was any more. CatalogueError: the disk failed. Stopped: cancelled.
    """
    with staged_copy(source, target, sha256=sha256, report=report, cancelled=cancelled, replace=replace) as staged:
        staged.put(replace=replace)
    return staged.sha256


@contextmanager
def staged_copy(source: Path | Entry, target: Path | Entry, *, sha256: str | None, report: Report,
                cancelled: Cancelled, replace: bool = False) -> Iterator[Staged]:
    """A verified copy under a temporary name beside ``target``, removed on leaving unless it was put in place.

    Raises as :func:`copy_verified`.
    """
    origin, origin_path = _open_source(source)
    try:
        stat = os.fstat(origin)
        if not is_regular(stat):
            raise NotFound(NOT_A_FILE, path=origin_path)
        with opened(target) as entry, part_of(entry) as (part, out):
            with writing(entry.path):
                taken = entry.exists()
                if taken and not replace:
                    raise NameTaken(entry.path)
                if taken and os.path.samestat(entry.stat(), stat):
                    raise Refused("The file to copy and the file to replace are the same.",
                                  hint="Copy it from another store.", path=entry.path)
            _need_room(entry.folder, stat.st_size, entry.path)
            digest = _copy_bytes(origin, out, stat.st_size, origin_path, entry.path, report, cancelled)
            after = os.fstat(origin)
            if (after.st_size, after.st_mtime_ns) != (stat.st_size, stat.st_mtime_ns):
                raise Refused("The file changed while it was copied.", hint="Copy it when nothing is writing to it.",
                              path=origin_path)
            if sha256 is not None and digest != sha256:
                raise Damaged(FAILS_CHECK, hint="Look for another copy.", path=origin_path)
            with writing(entry.path), suppress(PermissionError):  # some shares keep times to themselves
                os.utime(out, ns=(stat.st_atime_ns, stat.st_mtime_ns))
            with writing(entry.path):
                flush(out)
            _read_back(out, digest, stat.st_size, entry.path, report, cancelled)
            if not still_at(entry.folder):
                raise StoreAway("The folder was disconnected while a file was being copied to it.",
                                hint="Connect the disk, then run this again.", path=entry.folder.path)
            yield Staged(part, entry, digest)
    finally:
        with suppress(OSError):  # it was only read
            os.close(origin)


def _open_source(source: Path | Entry) -> tuple[int, Path]:
    path = source.path if isinstance(source, Entry) else source
    try:
        if isinstance(source, Entry):
            return source.open(os.O_RDONLY), path
        return os.open(source, os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK), path
    except FileNotFoundError as error:
        raise NotFound("The file to copy is not there.", path=path) from error
    except OSError as error:
        raise Damaged(f"The file to copy cannot be opened: {error.strerror}.", path=path) from error


def _copy_bytes(origin: int, out: int, size: int, source: Path, target: Path, report: Report,
            cancelled: Cancelled) -> str:
    sha, buffer, copied = new_sha256(), memoryview(bytearray(BLOCK_BYTES)), 0
    while True:
        if cancelled():
            raise Stopped
        try:
            count = os.readv(origin, [buffer])
        except OSError as error:
            raise Damaged(f"The file to copy cannot be read at byte {copied:,}: {error.strerror}.",
                          hint="Look for another copy.", path=source) from error
        if not count:
            return sha.hexdigest()
        copied += count
        fetch_ahead(origin, copied)
        with writing(target):
            write_all(out, buffer[:count])
        sha.update(buffer[:count])
        report(Progress("copy", bytes_done=copied, bytes_total=size))


def _read_back(out: int, digest: str, size: int, target: Path, report: Report, cancelled: Cancelled) -> None:
    drop_cache(out)
    try:
        held, count = sha256_of_fd(out, report=report, cancelled=cancelled, stage="verify", total=size)
    except OSError as error:
        raise Damaged(f"The copy cannot be read back: {error.strerror}.", hint="Do not rely on this disk.",
                      path=target) from error
    if (held, count) != (digest, size):
        raise Damaged(READS_BACK_OTHERWISE, hint="Do not rely on this disk or its cable.", path=target)


def _need_room(folder: OpenFolder, size: int, target: Path) -> None:
    try:
        volume = os.statvfs(folder.fd)
    except OSError as error:
        raise failed(error, target) from error
    free = volume.f_bavail * volume.f_frsize
    if free < size + SPARE_BYTES:
        raise NoRoom(f"Not enough room on the disk: {data_size(size + SPARE_BYTES)} needed, {data_size(free)} free.",
                     hint="Free some space, then try again.", path=target)
