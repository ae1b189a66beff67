"""Disk operations and the errors shown if the disk refuses: space, size, permissions, locks, flushing."""

import errno
import fcntl
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from catalogue.errors import CatalogueError, Refused
from catalogue.storage.folders import open_folder, sync

NO_LINKS = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EACCES, errno.EINVAL}
NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL}
FOLDER_READ_ONLY = "The folder cannot be written to."


class NoRoom(Refused):
    """The disk is full, or would be."""


class TooLarge(Refused):
    """The disk's file system cannot hold a file of this size; smaller ones still fit."""


def try_lock(fd: int) -> bool:
    """Lock an open file against other programs; False while another program holds it."""
    try:
        fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        return error.errno in NO_LOCKS  # a share without locks: one program at a time is the shop's own care
    return True


def write_all(out: int, data: memoryview) -> None:
    """Write every byte; the system may accept less at a time."""
    while data:
        data = data[os.write(out, data):]


def flush(fd: int) -> None:
    """Flush a file's bytes to the medium."""
    if sys.platform == "darwin":
        with suppress(OSError):  # a share may not know it; fsync below still holds
            fcntl.fcntl(fd, 51)  # F_FULLFSYNC: fsync alone leaves the bytes in the disk's own cache there
    os.fsync(fd)


def drop_cache(fd: int) -> None:
    """Make the next reads of a file come from the medium, if the system supports that."""
    if hasattr(os, "posix_fadvise"):
        with suppress(OSError):  # advice only: a file system without it still reads right
            os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)
    elif sys.platform == "darwin":
        with suppress(OSError):
            fcntl.fcntl(fd, 48, 1)  # F_NOCACHE


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries, so that a rename survives a power cut."""
    with open_folder(folder) as held:
        sync(held.fd)


def make_folders(folder: Path) -> None:
    """Create a folder and its parents, flushing each into its parent."""
    if folder.is_dir():
        return
    make_folders(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


@contextmanager
def writing(target: Path) -> Iterator[None]:
    """Translate the system's errors about the target into ours."""
    try:
        yield
    except OSError as error:
        raise failed(error, target) from error


def failed(error: OSError, target: Path) -> CatalogueError:
    """The error shown for a failed write."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return NoRoom("The disk is full.", hint="Free some space, then try again.", path=target)
    if error.errno == errno.EFBIG:
        return TooLarge("The file is too large for this disk's file system.",
                        hint="Use a disk with another file system: FAT32, for example, stops at 4 GiB.", path=target)
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return Refused(FOLDER_READ_ONLY, hint="The disk or the folder is read-only.", path=target)
    return CatalogueError(f"The file cannot be written: {error.strerror or error}.",
                          hint="Is the disk still there?", path=target)
