"""Copy, verify, then switch: the one way by which this program puts bytes into a folder of masters.

A copy is made under a temporary name beside its target, flushed to the medium, read back from the medium and
compared, and only then given its name. At no moment does the target's name stand for half a file, and nothing that
stands there is overwritten unless the caller says so.
"""

import errno
import hashlib
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import Busy, CatalogueError, Damaged, NotFound, Refused
from catalogue.progress import Cancelled, Progress, Report
from catalogue.reading.digests import Stopped

BUFFER_BYTES = 2 << 20
SPARE_BYTES = 16 << 20  # left free on the disk: a full file system cannot even rename
PART_PREFIX = ".catalogue-part-"
_NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EACCES, errno.EINVAL}
_NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL}
_NO_FOLDER_SYNC = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EBADF, errno.EACCES}
_OPEN = os.O_CLOEXEC | os.O_NOFOLLOW

__all__ = ["PART_PREFIX", "NoRoom", "Staged", "Stopped", "aside_name", "copy_verified", "drop_cache", "part_path",
           "sha256_of_fd", "staged_copy", "staged_file", "sync_folder", "write_atomically"]


class NoRoom(Refused):
    """The disk is full, or would be."""


@dataclass(frozen=True, slots=True)
class Staged:
    """A verified copy that still bears its temporary name."""

    part: Path
    target: Path
    sha256: str

    def put(self, *, replace: bool = False) -> None:
        """Give the copy its name. Without ``replace`` a file that stands there is left, and :class:`Refused` raised."""
        if replace:
            self.part.replace(self.target)
        else:
            _renamed_without_overwriting(self.part, self.target)
        sync_folder(self.target.parent)


def copy_verified(source: Path, target: Path, *, sha256: str | None, report: Report, cancelled: Cancelled,
                  replace: bool = False) -> str:
    """Copy ``source`` to ``target`` and prove that the disk holds the same bytes; gives their SHA-256.

    ``sha256``, where given, is what the source must have. The copy keeps the source's modification time. Whatever
    goes wrong, nothing stands at ``target`` that did not before, and the temporary file is removed; one left by a
    program that was killed is removed by the next copy to the same name.

    Raises:
        NotFound: no source. Damaged: the source fails its check, cannot be read, or the copy does not read back as
        written. Refused: ``target`` is taken, or the source changed meanwhile; NoRoom of these: the disk is full. Busy:
        another program is copying to the same name. CatalogueError: the disk failed. Stopped: ``cancelled`` said so.
    """
    with staged_copy(source, target, sha256=sha256, report=report, cancelled=cancelled, replace=replace) as staged:
        staged.put(replace=replace)
    return staged.sha256


@contextmanager
def staged_copy(source: Path, target: Path, *, sha256: str | None, report: Report, cancelled: Cancelled,
                replace: bool = False) -> Iterator[Staged]:
    """A verified copy under a temporary name beside ``target``, removed on leaving unless it was put in place.

    Raises as :func:`copy_verified`.
    """
    try:
        origin = os.open(source, os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError as error:
        raise NotFound("The file to copy is not there.", path=source) from error
    except OSError as error:
        raise Damaged(f"The file to copy cannot be opened: {error.strerror}.", path=source) from error
    try:
        with _part(target) as (part, out):
            if not replace and os.path.lexists(target):
                raise Refused("A file with this name is already there; it is not overwritten.", path=target)
            stat = os.fstat(origin)
            _need_room(target.parent, stat.st_size, target)
            digest = _poured(origin, out, stat.st_size, source, target, report, cancelled)
            after = os.fstat(origin)
            if (after.st_size, after.st_mtime_ns) != (stat.st_size, stat.st_mtime_ns):
                raise Refused("The file changed while it was copied.", hint="Copy it when nothing writes to it.",
                              path=source)
            if sha256 is not None and digest != sha256:
                raise Damaged("The file to copy fails its check: its SHA-256 is not the recorded one.",
                              hint="Look for another copy.", path=source)
            with _writing(target), suppress(PermissionError):  # some shares keep times to themselves
                os.utime(out, ns=(stat.st_atime_ns, stat.st_mtime_ns))
            with _writing(target):
                _flush(out)
            _read_back(out, digest, stat.st_size, target, report, cancelled)
            with _writing(target):
                yield Staged(part, target, digest)
    finally:
        os.close(origin)


def write_atomically(target: Path, data: bytes) -> None:
    """Replace a small file of ours in one step, flushed to the medium. Raises :class:`CatalogueError`, ``Busy``."""
    with _part(target) as (part, out), _writing(target):
        _written(out, memoryview(data))
        _flush(out)
        part.replace(target)
        sync_folder(target.parent)


@contextmanager
def staged_file(target: Path) -> Iterator[Path]:
    """A temporary path for another writer, flushed and given its name on leaving; removed when that fails.

    Nothing that stands at ``target`` is overwritten. Raises as :func:`copy_verified`.
    """
    with _part(target) as (part, out):
        yield part
        with _writing(target):
            os.fsync(out)
            _renamed_without_overwriting(part, target)
            sync_folder(target.parent)


def part_path(target: Path) -> Path:
    """The temporary name of a copy to ``target``: hidden, beside it, never too long for the file system."""
    return target.with_name(PART_PREFIX + hashlib.sha256(os.fsencode(target.name)).hexdigest()[:16])


def aside_name(target: Path, moment: str) -> Path:
    """Where a bad file is kept: beside its place, with a suffix that is no picture's.

    ``moment`` is an ISO 8601 time. A number is added where the name is taken.
    """
    stamp = "".join(c for c in moment[:19] if c.isalnum())
    number, tail = 1, f".damaged-{stamp}"
    while True:
        stem = os.fsdecode(os.fsencode(target.name)[:255 - len(tail)])
        place = target.with_name(stem + tail)
        if not os.path.lexists(place):
            return place
        number += 1
        tail = f".damaged-{stamp}-{number}"


def drop_cache(fd: int) -> None:
    """Make the next reads of a file come from the medium, where the system can be asked to."""
    if hasattr(os, "posix_fadvise"):
        with suppress(OSError):  # advice only: a file system without it still reads right
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)
    elif sys.platform == "darwin":
        import fcntl

        with suppress(OSError):
            fcntl.fcntl(fd, 48, 1)  # F_NOCACHE


def sha256_of_fd(fd: int, report: Report, cancelled: Cancelled, *, stage: str, total: int) -> tuple[str, int]:
    """SHA-256 and length of an open file from its start. Raises ``OSError`` and ``Stopped``."""
    sha, buffer, done = hashlib.sha256(), memoryview(bytearray(BUFFER_BYTES)), 0
    os.lseek(fd, 0, os.SEEK_SET)
    while count := os.readv(fd, [buffer]):
        sha.update(buffer[:count])
        done += count
        report(Progress(stage, bytes_done=done, bytes_total=total))
        if cancelled():
            raise Stopped
    return sha.hexdigest(), done


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries, so that a name given survives a power cut."""
    fd = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(fd)
    except OSError as error:
        if error.errno not in _NO_FOLDER_SYNC:  # network shares know no such thing
            raise
    finally:
        os.close(fd)


@contextmanager
def _part(target: Path) -> Iterator[tuple[Path, int]]:
    """The temporary file for ``target``, locked, removed on leaving unless it was renamed."""
    with _writing(target):
        _make_folders(target.parent)
    part = part_path(target)
    out = _created(part, target)
    try:
        yield part, out
    finally:
        with suppress(OSError):  # the disk may be gone; the next copy to this name removes what is left
            if _stands_for(part, out):
                part.unlink()
        os.close(out)


def _created(part: Path, target: Path) -> int:
    """A new, locked, empty file; a leftover of a killed program is removed, a living one's left and Busy raised.

    A leftover is unlinked, never emptied: it may be a second name of a file already in place.
    """
    for _ in range(8):
        try:
            out = os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL | _OPEN, 0o666)
        except FileExistsError:
            _remove_leftover(part, target)
            continue
        except OSError as error:
            raise _failed(error, target) from error
        if _locked(out) and _stands_for(part, out):
            return out
        os.close(out)
    raise Busy("Another program is copying to the same name.", hint="Wait until it is done.", path=target)


def _remove_leftover(part: Path, target: Path) -> None:
    try:
        left = os.open(part, os.O_RDWR | _OPEN)
    except FileNotFoundError:
        return  # its owner has just finished
    except OSError as error:
        raise _failed(error, target) from error
    try:
        if not _locked(left):
            raise Busy("Another program is copying to the same name.", hint="Wait until it is done.", path=target)
        if _stands_for(part, left):
            part.unlink(missing_ok=True)
    finally:
        os.close(left)


def _locked(fd: int) -> bool:
    import fcntl

    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno in _NO_LOCKS  # a share without locks: one program at a time is the shop's own care
    return True


def _stands_for(path: Path, fd: int) -> bool:
    try:
        named = os.lstat(path)
    except OSError:
        return False
    held = os.fstat(fd)
    return (named.st_dev, named.st_ino) == (held.st_dev, held.st_ino)


def _poured(origin: int, out: int, size: int, source: Path, target: Path, report: Report,
            cancelled: Cancelled) -> str:
    sha, buffer, done = hashlib.sha256(), memoryview(bytearray(BUFFER_BYTES)), 0
    while True:
        if cancelled():
            raise Stopped
        try:
            count = os.readv(origin, [buffer])
        except OSError as error:
            raise Damaged(f"The file to copy cannot be read at byte {done:,}: {error.strerror}.",
                          hint="Look for another copy.", path=source) from error
        if not count:
            return sha.hexdigest()
        with _writing(target):
            _written(out, buffer[:count])
        sha.update(buffer[:count])
        done += count
        report(Progress("copy", bytes_done=done, bytes_total=size))


def _written(out: int, data: memoryview) -> None:
    while data:
        data = data[os.write(out, data):]


def _flush(fd: int) -> None:
    if sys.platform == "darwin":
        import fcntl

        with suppress(OSError):  # a share may not know it; fsync below still holds
            fcntl.fcntl(fd, 51)  # F_FULLFSYNC: fsync alone leaves the bytes in the disk's own cache there
    os.fsync(fd)


def _read_back(out: int, digest: str, size: int, target: Path, report: Report, cancelled: Cancelled) -> None:
    drop_cache(out)
    try:
        held, count = sha256_of_fd(out, report, cancelled, stage="verify", total=size)
    except OSError as error:
        raise Damaged(f"The copy cannot be read back: {error.strerror}.", hint="Do not trust this disk.",
                      path=target) from error
    if (held, count) != (digest, size):
        raise Damaged("The copy does not read back as it was written.", hint="Do not trust this disk or its cable.",
                      path=target)


def _need_room(folder: Path, size: int, target: Path) -> None:
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise _failed(error, target) from error
    if free < size + SPARE_BYTES:
        raise NoRoom(f"The disk lacks room: {size / 1e6:,.1f} MB wanted, {free / 1e6:,.1f} MB free.",
                     hint="Make room, then try again.", path=target)


def _renamed_without_overwriting(part: Path, target: Path) -> None:
    try:
        os.link(part, target, follow_symlinks=False)
    except FileExistsError as error:
        raise Refused("A file with this name is already there; it is not overwritten.", path=target) from error
    except OSError as error:
        if error.errno not in _NO_LINKS:
            raise
        # exFAT and many shares know no second name; then a look just before is the best there is
        if os.path.lexists(target):
            raise Refused("A file with this name is already there; it is not overwritten.", path=target) from error
        part.rename(target)
    else:
        part.unlink()


def _make_folders(folder: Path) -> None:
    if folder.is_dir():
        return
    _make_folders(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


@contextmanager
def _writing(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise _failed(error, target) from error


def _failed(error: OSError, target: Path) -> CatalogueError:
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return NoRoom("The disk is full.", hint="Make room, then try again.", path=target)
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return Refused("The folder may not be written to.", hint="The disk or the folder is read-only.", path=target)
    return CatalogueError(f"The file cannot be written: {error.strerror or error}.",
                          hint="Is the disk still there?", path=target)
