"""Which file or folder a path leads to, as the system says rather than how the path is spelled.

Device and inode are the same under every symbolic link, hard link, bind mount and second mount of one file system, so
two paths lead to one file exactly when both numbers agree. They hold while the file system is mounted; across
mounts :func:`filesystem_id` and the inode are compared.
"""

import os
import stat
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

from catalogue.storage.mounts import mount_table, mounts_in

_UUIDS = Path("/dev/disk/by-uuid")
_UDEV = Path("/run/udev/data")


class FileId(NamedTuple):
    """Device and inode of a file or folder."""

    device: int
    inode: int


def identity(path: Path | str | int, *, follow: bool = True) -> FileId | None:
    """What a path or an open file is; None if nothing is there, or it cannot be looked at."""
    try:
        status = os.stat(path, follow_symlinks=follow or isinstance(path, int))  # noqa: PTH116 - a handle too
    except (OSError, ValueError):  # ValueError: a path that holds a NUL leads nowhere
        return None
    return FileId(status.st_dev, status.st_ino)


def same_file(path_a: Path | str | int, path_b: Path | str | int) -> bool:
    """Whether both paths lead to one file or folder now."""
    first = identity(path_a)
    return first is not None and first == identity(path_b)


def inside(path: Path, folder: Path) -> bool:
    """Whether ``path`` is ``folder`` or is in it, by whatever links, bind mounts or second mounts it is reached.

    ``path`` need not exist: then the nearest folder above it that does is what counts. As they are spelled is all there
    is to go by where the folder is on a disk that is not connected.
    """
    if path.is_relative_to(folder):
        return True
    wanted = identity(folder)
    real = Path(os.path.realpath(path))
    while not os.path.lexists(real) and real != real.parent:
        real = real.parent
    if wanted is not None and any(identity(above) == wanted for above in (real, *real.parents)):
        return True
    # a bind mount of a folder deeper down has parents of its own: compare the paths within the file system
    inner, outer = _within_filesystem(real), _within_filesystem(Path(os.path.realpath(folder)))
    return (inner is not None and outer is not None and inner[0] == outer[0]
            and Path(inner[1]).is_relative_to(outer[1]))


def overlapping(first: Path, second: Path) -> bool:
    """Whether one folder is the other, or contains it."""
    return inside(first, second) or inside(second, first)


def filesystem_id(path: Path | str | int) -> str:
    """A name for the file system that stays over unmounting and a new mount point; "" if nothing is there.

    The volume's UUID where the system gives it, the share's source for a network mount, else the id that statvfs gives,
    which some file systems make from the device number.
    """
    try:
        status = os.stat(path)  # noqa: PTH116 - a handle too
        volume = os.statvfs(path)
    except OSError:
        return ""
    return _filesystem(status.st_dev, volume.f_fsid, mount_table())


def _number(device: int) -> str:
    return f"{os.major(device)}:{os.minor(device)}"


@lru_cache(maxsize=64)
def _filesystem(device: int, fsid: int, mounts: bytes) -> str:
    """As :func:`filesystem_id`; asked again whenever something was mounted or unmounted."""
    number = _number(device)
    for mount in mounts_in(mounts):
        if mount.device == number and mount.is_share:
            return f"share {mount.source}"
    with suppress(OSError):  # first: of a disk and its clone only one has the link below
        for line in (_UDEV / f"b{number}").read_text(encoding="utf-8", errors="replace").splitlines():
            if line.startswith("E:ID_FS_UUID_ENC="):
                return f"volume {line.partition('=')[2]}"
    with suppress(OSError):  # no such folder in a container, or on another system
        for link in sorted(_UUIDS.iterdir()):
            if link.stat().st_rdev == device:
                return f"volume {link.name}"
    return f"id {fsid & (1 << 64) - 1:x}"


def is_regular(status: os.stat_result) -> bool:
    """Whether it is a regular file: not a folder, link, pipe or device."""
    return stat.S_ISREG(status.st_mode)


def _within_filesystem(real: Path) -> tuple[int, str] | None:
    """Device and path within the file system of a path without links; None if the system does not report it."""
    covering = [m for m in mounts_in(mount_table()) if real.is_relative_to(m.point)]
    file_id = identity(real)
    if not covering or file_id is None:
        return None
    longest = max(len(m.point) for m in covering)
    mount = [m for m in covering if len(m.point) == longest][-1]  # the last one mounted is on top
    return file_id.device, os.path.normpath(os.path.join(mount.root, real.relative_to(mount.point)))  # noqa: PTH118
