"""Temporary files beside their targets: locked, flushed, given their name without overwriting, removed on failure."""

import errno
import hashlib
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from catalogue.errors import Busy, CatalogueError, Refused

PART_PREFIX = ".catalogue-part-"
NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EACCES, errno.EINVAL}
_NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL}
_NO_FOLDER_SYNC = {errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EBADF, errno.EACCES}
_OPEN = os.O_CLOEXEC | os.O_NOFOLLOW


class NoRoom(Refused):
    """The disk is full, or would be."""


@contextmanager
def part_folder(target: Path) -> Iterator[Path]:
    """A new folder under a temporary name beside ``target``, locked; it gets its name on leaving, or is removed.

    One left by a program that was killed is removed first. Raises :class:`Busy` when another program is filling it.
    """
    part = part_path(target)
    busy = Busy("Another program is writing to the same name.", hint="Wait until it is done.", path=target)
    with writing(target):
        make_folders(target.parent)
        if part.is_dir() and not part.is_symlink():
            left = os.open(part, os.O_RDONLY | _OPEN)
            try:
                if not _locked(left):
                    raise busy
                shutil.rmtree(part)
            finally:
                os.close(left)
        try:
            part.mkdir()
        except FileExistsError as error:
            raise busy from error
    held = os.open(part, os.O_RDONLY | _OPEN)
    try:
        if not _locked(held):
            raise busy
        yield part
        with writing(target):
            if os.path.lexists(target):
                raise Refused("There is already something of this name.", path=target)
            part.rename(target)
            sync_folder(target.parent)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)  # the error itself is what is to be told
        raise
    finally:
        os.close(held)


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


def write_atomically(target: Path, data: bytes) -> None:
    """Replace a small file of ours in one step, flushed to the medium. Raises :class:`CatalogueError`, ``Busy``."""
    with part_of(target) as (part, out), writing(target):
        write_all(out, memoryview(data))
        flush(out)
        part.replace(target)
        sync_folder(target.parent)


@contextmanager
def staged_file(target: Path) -> Iterator[Path]:
    """A temporary path for another writer, flushed and given its name on leaving; removed when that fails.

    Nothing that stands at ``target`` is overwritten. Raises as :func:`copy_verified`.
    """
    with part_of(target) as (part, out):
        yield part
        with writing(target):
            os.fsync(out)
            rename_without_overwriting(part, target)
            sync_folder(target.parent)


@contextmanager
def part_of(target: Path) -> Iterator[tuple[Path, int]]:
    """The temporary file for ``target``, locked, removed on leaving unless it was renamed."""
    with writing(target):
        make_folders(target.parent)
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
            remove_leftover(target)
            continue
        except OSError as error:
            raise failed(error, target) from error
        if _locked(out) and _stands_for(part, out):
            return out
        os.close(out)
    raise Busy("Another program is copying to the same name.", hint="Wait until it is done.", path=target)


def remove_leftover(target: Path) -> None:
    """Remove the temporary file that a killed program left of a copy to ``target``, if there is one.

    Raises :class:`Busy` while another program is copying to the same name.
    """
    part = part_path(target)
    try:
        left = os.open(part, os.O_RDWR | _OPEN)
    except FileNotFoundError:
        return  # its owner has just finished
    except OSError as error:
        raise failed(error, target) from error
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


def write_all(out: int, data: memoryview) -> None:
    """Write to the last byte; the system may take less at a time."""
    while data:
        data = data[os.write(out, data):]


def flush(fd: int) -> None:
    """Have a file's bytes put onto the medium."""
    if sys.platform == "darwin":
        import fcntl

        with suppress(OSError):  # a share may not know it; fsync below still holds
            fcntl.fcntl(fd, 51)  # F_FULLFSYNC: fsync alone leaves the bytes in the disk's own cache there
    os.fsync(fd)


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


def rename_without_overwriting(part: Path, target: Path) -> None:
    """Give a file its name; :class:`Refused` where the name is taken."""
    try:
        os.link(part, target, follow_symlinks=False)
    except FileExistsError as error:
        raise Refused("A file with this name is already there; it is not overwritten.", path=target) from error
    except OSError as error:
        if error.errno not in NO_LINKS:
            raise
        # exFAT and many shares know no second name; then a look just before is the best there is
        if os.path.lexists(target):
            raise Refused("A file with this name is already there; it is not overwritten.", path=target) from error
        part.rename(target)
    else:
        part.unlink()


def make_folders(folder: Path) -> None:
    """Make a folder and those above it, each flushed into the one above."""
    if folder.is_dir():
        return
    make_folders(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


@contextmanager
def writing(target: Path) -> Iterator[None]:
    """Turn the system's errors about the target into ours."""
    try:
        yield
    except OSError as error:
        raise failed(error, target) from error


def failed(error: OSError, target: Path) -> CatalogueError:
    """What a person is told about a write that failed."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
        return NoRoom("The disk is full.", hint="Make room, then try again.", path=target)
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return Refused("The folder may not be written to.", hint="The disk or the folder is read-only.", path=target)
    return CatalogueError(f"The file cannot be written: {error.strerror or error}.",
                          hint="Is the disk still there?", path=target)
