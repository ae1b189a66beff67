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
_BTRFS = Path("/sys/fs/btrfs")
_NUMBERED = "disk "
_PLUG = f"{_NUMBERED}usb "


class Device(NamedTuple):
    """What a folder or file is on: its file system, and the whole disks below that, or the server of a share, as far
    as the system reports them."""

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
    """Whether disks tell by their own numbers that a place lies on others than it did; one of several that is still
    there is enough. No where the system shows no numbers, as of virtual disks, nor where it shows the number of the
    disk now and that of its plug then: at another port a case may answer or not."""
    before, now = numbered_disks(noted), numbered_disks(present)
    return not before & now and bool({_is_plug(disk) for disk in before} & {_is_plug(disk) for disk in now})


def numbered_disks(device: Device) -> frozenset[str]:
    """A device's disks that have serial numbers."""
    return frozenset(disk for disk in device.disks if disk.startswith(_NUMBERED))


def with_noted_numbers(present: Device, noted: Device) -> Device:
    """A device with the numbers that were noted of it, of the kinds that the system does not show now."""
    shown = {_is_plug(disk) for disk in numbered_disks(present)}
    return present._replace(disks=present.disks | {
        disk for disk in numbered_disks(noted) if _is_plug(disk) not in shown})


def _is_plug(disk: str) -> bool:
    return disk.startswith(_PLUG)


def physical_disks(path: Path | str | int) -> frozenset[str]:
    """The whole disks under a file system: behind partitions, LVM and RAID, named so that a disk keeps its name.

    Of ZFS the pool stands for its disks. Empty if the system does not tell: shares, memory, other systems than Linux.
    """
    try:
        number = _number(os.stat(path).st_dev)  # noqa: PTH116 - a handle too
        if (_BLOCKS / number).exists():
            return frozenset(_whole_disks(_BLOCKS / number))
        mount = next((mount for mount in mounts_in(mount_table()) if mount.device == number), None)
        if mount is not None and mount.kind == "zfs":
            return frozenset({f"pool {mount.source.partition('/')[0]}"})
        if mount is None or not mount.source.startswith("/dev/"):
            return frozenset()
        # as of btrfs, which numbers its subvolumes and may span several devices, of which one was mounted
        return frozenset(disk for block in _spanned_with(_number(Path(mount.source).stat().st_rdev))
                         for disk in _whole_disks(block))
    except OSError:
        return frozenset()


def _spanned_with(number: str) -> list[Path]:
    """The block devices of the btrfs that one of them, by its number, belongs to."""
    for devices in _BTRFS.glob("*/devices"):
        members = sorted(devices.iterdir())
        if any(_first_line(member / "dev") == number for member in members):
            return members
    return [_BLOCKS / number]


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
        yield from device_of(image).disks if image else [_lasting_name(disk)]


def _lasting_name(disk: Path) -> str:
    """A disk's own number with its size, since cheap ones are all numbered alike; without a number, the system's name
    for it, which the next disk connected may bear, and until when that holds."""
    for number in ("device/wwid", "wwid", "serial", "device/serial", "device/cid"):
        if known := _first_line(disk / number):
            return f"{_NUMBERED}{known} {_first_line(disk / 'size')}"
    for above in disk.parents:  # a stick or case that answers nothing itself has the number of its plug
        if (above / "idVendor").exists() and (known := _first_line(above / "serial")):
            return f"{_PLUG}{_first_line(above / 'idVendor')} {known} {_first_line(disk / 'size')}"
    return f"{disk.name} {_first_line(disk / 'diskseq')} {_first_line(_BOOT)}"


def _first_line(file: Path) -> str:
    try:
        return " ".join(file.read_text(errors="replace").split())
    except OSError:  # not reported by this system, or for this kind of disk
        return ""
