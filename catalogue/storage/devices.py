"""What a folder or file is lost together with: the disks under it, or the server of a share.

Layout of sysfs: Documentation/ABI/stable/sysfs-block, Documentation/ABI/testing/sysfs-block-device and
Documentation/ABI/stable/sysfs-bus-usb of the Linux kernel. On other systems nothing is known.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from catalogue.storage.identity import filesystem_id
from catalogue.storage.mounts import mount_table, mounts_in, servers_of

_BLOCKS = Path("/sys/dev/block")
_BOOT = Path("/proc/sys/kernel/random/boot_id")
_NUMBERED = "disk "


class Device(NamedTuple):
    """What a folder or file is on: its file system, and the whole disks below that, or the server of a share, as far
    as the system tells."""

    filesystem: str
    disks: frozenset[str] = frozenset()


def device_of(path: Path | str | int) -> Device:
    """The device of a path; empty if nothing is there."""
    try:
        number = _number(os.stat(path).st_dev)  # noqa: PTH116 - a handle too
    except OSError:
        return Device("")
    return Device(filesystem_id(path), physical_disks(path) or servers_of(number))


def shares_device(first: Device, second: Device) -> bool:
    """Whether two locations are lost together when one disk or server fails: one file system, file systems of one
    disk, or shares of one server, because nothing says that these are on disks of their own. A file system cloned
    bit for bit is one by its name only."""
    return bool(first.disks & second.disks) or (
        first.filesystem == second.filesystem and not is_other_disk(first, second))


def is_other_disk(noted: Device, present: Device) -> bool:
    """Whether disks tell by their own numbers that a place is on others than it did; one of several that is still
    there is enough. No where the system shows no numbers, as of virtual disks."""
    return (bool(numbered_disks(noted)) and bool(numbered_disks(present))
            and not numbered_disks(noted) & numbered_disks(present))


def numbered_disks(device: Device) -> frozenset[str]:
    """A device's disks that have serial numbers."""
    return frozenset(disk for disk in device.disks if disk.startswith(_NUMBERED))


def physical_disks(path: Path | str | int) -> frozenset[str]:
    """The whole disks under a file system: behind partitions, LVM and RAID, named so that a disk keeps its name.

    Empty if the system does not tell: shares, memory, pools that span devices, other systems than Linux.
    """
    try:
        number = _number(os.stat(path).st_dev)  # noqa: PTH116 - a handle too
        if not (_BLOCKS / number).exists():  # as of btrfs, which numbers its subvolumes: by what was mounted
            number = next((_number(Path(mount.source).stat().st_rdev) for mount in mounts_in(mount_table())
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
        disk = real.parent if (real / "partition").exists() else real
        image = _first_line(disk / "loop" / "backing_file")
        yield from physical_disks(image) if image else [_lasting_name(disk)]


def _lasting_name(disk: Path) -> str:
    """A disk's own number with its size, since cheap ones are all numbered alike; without a number, the system's name
    for it, which the next disk connected may bear, and until when that holds."""
    for number in ("device/wwid", "wwid", "serial", "device/serial", "device/cid"):
        if known := _first_line(disk / number):
            return f"{_NUMBERED}{known} {_first_line(disk / 'size')}"
    for above in disk.parents:  # a stick or case that answers nothing itself has the number of its plug
        if (above / "idVendor").exists() and (known := _first_line(above / "serial")):
            return f"{_NUMBERED}usb {_first_line(above / 'idVendor')} {known} {_first_line(disk / 'size')}"
    return f"{disk.name} {_first_line(disk / 'diskseq')} {_first_line(_BOOT)}"


def _first_line(file: Path) -> str:
    try:
        return " ".join(file.read_text(errors="replace").split())
    except OSError:  # this system, or this kind of disk, does not tell
        return ""
