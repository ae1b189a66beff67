"""Which file or folder a path leads to, as the system says rather than how the path is spelled.

Device and inode are the same under every symbolic link, hard link, bind mount and second mount of one file system, so
two paths lead to one file exactly when both numbers agree. They hold while the file system is mounted; across
mounts :func:`filesystem_id` and the inode are compared.
"""

import os
import stat
import sys
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

_MOUNTS = Path("/proc/self/mountinfo")
_UUIDS = Path("/dev/disk/by-uuid")
_BLOCKS = Path("/sys/dev/block")
_BOOT = Path("/proc/sys/kernel/random/boot_id")
# file systems whose source names the share itself, whatever the mount point
_SHARES = ("nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "fuse.sshfs", "afpfs", "webdav", "davfs")


class FileId(NamedTuple):
    """Device and inode of a file or folder."""

    device: int
    inode: int


class Device(NamedTuple):
    """What a place lies on: its file system, and the whole disks below that as far as the system tells."""

    filesystem: str
    disks: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class _Mount:
    device: str        # "major:minor"
    root: str          # which folder of the file system is mounted
    point: str
    kind: str
    source: str


def identity(place: Path | str | int, *, follow: bool = True) -> FileId | None:
    """What a path or an open file is; None where nothing is there, or it cannot be looked at."""
    try:
        status = os.stat(place, follow_symlinks=follow or isinstance(place, int))  # noqa: PTH116 - a handle too
    except (OSError, ValueError):  # ValueError: a path that holds a NUL leads nowhere
        return None
    return FileId(status.st_dev, status.st_ino)


def same_file(path_a: Path | str | int, path_b: Path | str | int) -> bool:
    """Whether both lead to one file or folder, now."""
    first = identity(path_a)
    return first is not None and first == identity(path_b)


def inside(path: Path, folder: Path) -> bool:
    """Whether ``path`` is ``folder`` or lies in it, by whatever links, bind mounts or second mounts it is reached.

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
    # a bind mount of a folder deeper down has parents of its own: compare the places within the file system
    inner, outer = _within_filesystem(real), _within_filesystem(Path(os.path.realpath(folder)))
    return (inner is not None and outer is not None and inner[0] == outer[0]
            and Path(inner[1]).is_relative_to(outer[1]))


def overlapping(first: Path, second: Path) -> bool:
    """Whether one folder is the other, or holds it."""
    return inside(first, second) or inside(second, first)


def filesystem_id(place: Path | str | int) -> str:
    """A name for the file system that stays over unmounting and a new mount point; "" where nothing is there.

    The volume's UUID where the system gives it, the share's source for a network mount, else the id that statvfs
    gives, which some file systems make from the device number.
    """
    try:
        status = os.stat(place)  # noqa: PTH116 - a handle too
        volume = os.statvfs(place)
    except OSError:
        return ""
    return _filesystem(status.st_dev, volume.f_fsid, _mount_table())


def device_of(place: Path | str | int) -> Device:
    """What a place lies on; nothing where nothing is there."""
    return Device(filesystem_id(place), physical_disks(place))


def shares_device(first: Device, second: Device) -> bool:
    """Whether two places are lost together when one disk fails: one file system, or file systems of one disk."""
    return bool(first.filesystem == second.filesystem or first.disks & second.disks)


def physical_disks(place: Path | str | int) -> frozenset[str]:
    """The whole disks under a file system: behind partitions, LVM and RAID, named so that a disk keeps its name.

    Empty where the system does not tell: shares, memory, pools that span devices, other systems than Linux. Layout of
    sysfs: Documentation/ABI/stable/sysfs-block and Documentation/ABI/testing/sysfs-block-device of the Linux kernel.
    """
    try:
        number = _number(os.stat(place).st_dev)  # noqa: PTH116 - a handle too
        if not (_BLOCKS / number).exists():  # as of btrfs, which numbers its subvolumes: by what was mounted
            number = next((_number(Path(mount.source).stat().st_rdev) for mount in _mounts(_mount_table())
                           if mount.device == number and mount.source.startswith("/dev/")), number)
        return frozenset(_whole_disks(_BLOCKS / number))
    except OSError:
        return frozenset()


def _number(device: int) -> str:
    return f"{os.major(device)}:{os.minor(device)}"


def _whole_disks(block: Path) -> Iterator[str]:
    if not block.exists():
        return
    real = block.resolve()
    below = sorted((real / "slaves").iterdir()) if (real / "slaves").is_dir() else []
    for slave in below:
        yield from _whole_disks(slave)
    if not below:
        yield _lasting_name(real.parent if (real / "partition").exists() else real)


def _lasting_name(disk: Path) -> str:
    """A disk's own number with its size, since cheap ones are all numbered alike; without a number, the system's name
    for it, which the next disk connected may bear, and until when that holds."""
    for number in ("device/wwid", "wwid", "serial", "device/serial", "device/cid"):
        if known := _first_line(disk / number):
            return f"disk {known} {_first_line(disk / 'size')}"
    return f"{disk.name} {_first_line(disk / 'diskseq')} {_first_line(_BOOT)}"


def _first_line(file: Path) -> str:
    try:
        return " ".join(file.read_text(errors="replace").split())
    except OSError:  # this system, or this kind of disk, does not tell
        return ""


@lru_cache(maxsize=64)
def _filesystem(device: int, fsid: int, mounts: bytes) -> str:
    """As :func:`filesystem_id`; asked again whenever something was mounted or unmounted."""
    number = _number(device)
    for mount in _mounts(mounts):
        if mount.device == number and mount.kind in _SHARES:
            return f"share {mount.source}"
    with suppress(OSError):  # no such folder in a container, or on another system
        for link in sorted(_UUIDS.iterdir()):
            if link.stat().st_rdev == device:
                return f"volume {link.name}"
    return f"id {fsid & (1 << 64) - 1:x}"


def is_regular(status: os.stat_result) -> bool:
    """Whether it is a file with bytes of its own: no folder, link, pipe or device."""
    return stat.S_ISREG(status.st_mode)


def _within_filesystem(real: Path) -> tuple[int, str] | None:
    """Device and path within the file system of a path without links; None where the system does not tell."""
    covering = [m for m in _mounts(_mount_table()) if real.is_relative_to(m.point)]
    file_id = identity(real)
    if not covering or file_id is None:
        return None
    longest = max(len(m.point) for m in covering)
    mount = [m for m in covering if len(m.point) == longest][-1]  # the last one mounted lies on top
    return file_id.device, os.path.normpath(os.path.join(mount.root, real.relative_to(mount.point)))  # noqa: PTH118


def _mount_table() -> bytes:
    """What is mounted where, as Linux tells it; nothing on other systems."""
    try:
        return _MOUNTS.read_bytes() if sys.platform == "linux" else b""
    except OSError:
        return b""


@lru_cache(maxsize=4)
def _mounts(table: bytes) -> list[_Mount]:
    mounts = []
    for line in table.splitlines():
        before, _, after = os.fsdecode(line).partition(" - ")
        fields, more = before.split(" "), after.split(" ")
        if len(fields) > 4 and len(more) > 1:
            mounts.append(_Mount(fields[2], _unescaped(fields[3]), _unescaped(fields[4]), more[0], _unescaped(more[1])))
    return mounts


def _unescaped(text: str) -> str:
    """proc(5): space, tab, newline and backslash are written as octal escapes."""
    for escape, plain in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        text = text.replace(escape, plain)
    return text
