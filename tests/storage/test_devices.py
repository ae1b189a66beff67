"""What places are lost together with: sysfs and the table of mounts as Linux shows them, made up in files."""

import os
from pathlib import Path

import pytest

from catalogue.storage import devices as places
from catalogue.storage import identity, mounts
from catalogue.storage.devices import device_of, shares_device
from catalogue.storage.identity import filesystem_id
from catalogue.storage.mounts import host_of, server_name


def test_partitions_and_volumes_lead_to_the_whole_disks_below(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A tree as Linux shows it in sysfs (Documentation/ABI/stable/sysfs-block: a folder a device, partitions within
    that of their disk, "slaves" of a device made of others)."""
    device = tmp_path.stat().st_dev
    blocks, devices, boot = tmp_path / "block", tmp_path / "devices", tmp_path / "boot"
    monkeypatch.setattr(places, "_BLOCKS", blocks)
    monkeypatch.setattr(places, "_BOOT", boot)
    number = f"{os.major(device)}:{os.minor(device)}"
    assert places.physical_disks(tmp_path) == frozenset(), "the system does not tell"
    boot.write_text("b7c4\n")
    for disk in ("sda", "sdb"):
        (devices / disk / f"{disk}1").mkdir(parents=True)
        (devices / disk / f"{disk}1" / "partition").write_text("1\n")
        (devices / disk / "size").write_text("7814037168\n")
    (devices / "sda" / "device").mkdir()
    (devices / "sda" / "device" / "wwid").write_text("naa.5000c500a1b2c3d4\n")
    (devices / "sdb" / "diskseq").write_text("9\n")
    numbered, other = "disk naa.5000c500a1b2c3d4 7814037168", "sdb 9 b7c4"
    (devices / "dm-0" / "slaves").mkdir(parents=True)
    for disk in ("sda", "sdb"):
        (devices / "dm-0" / "slaves" / f"{disk}1").symlink_to(devices / disk / f"{disk}1")
    blocks.mkdir()
    for leads_to, disks in (("sda", {numbered}), ("sda/sda1", {numbered}), ("dm-0", {numbered, other})):
        (blocks / number).unlink(missing_ok=True)
        (blocks / number).symlink_to(devices / leads_to)
        assert places.physical_disks(tmp_path) == disks
    assert places.physical_disks(tmp_path / "gone") == frozenset()


@pytest.mark.parametrize(("source", "host"), [
    ("//NAS/scans", "nas"), ("//nas./prints", "nas"), (r"\\Nas\scans", "nas"), ("//nas:445/a", "nas"),
    ("//DOMAIN;ada@nas/a", "nas"), ("//192.168.1.5/a", "192.168.1.5"), ("//[FE80:0::1]:445/a", "fe80::1"),
    ("//2001:db8::7/a", "2001:db8::7"), ("nas.shop.lan:/export/a", "nas.shop.lan"), ("nas:/", "nas"),
    ("[2001:db8:0:0::7]:/export", "2001:db8::7"), ("2001:db8::7:/export", "2001:db8::7"), ("ada@Nas:scans", "nas"),
    ("ada@[::1]:scans/b", "::1"), ("sshfs#ada@nas:/scans", "nas"),
    ("https://ada@Cloud.example:8443/dav/", "cloud.example"),
    ("http://cloud.example/dav", "cloud.example"), ("::ffff:192.168.1.5:/a", "192.168.1.5"), ("/dev/sda1", ""),
    ("gvfsd-fuse", ""), ("/mnt/a:/mnt/b", ""), ("", ""), ("//", ""), ("hgfs", "")])
def test_the_server_that_a_mount_names(source: str, host: str) -> None:
    """Spellings as mount.cifs(8), nfs(5), sshfs(1) and mount.davfs(8) take them; addresses as RFC 5952 writes them."""
    assert host_of(source) == host


@pytest.fixture
def mounted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> "Mounted":
    monkeypatch.setattr(mounts, "_TABLE", tmp_path / "mountinfo")
    monkeypatch.setattr(places, "_BLOCKS", tmp_path / "block")
    return Mounted(tmp_path)


class Mounted:
    """A table of mounts that shows a folder as another mount each time it is asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.number = f"{os.major(folder.stat().st_dev)}:{os.minor(folder.stat().st_dev)}"

    def device(self, kind: str, source: str, options: str = "rw") -> places.Device:
        """What the folder lies on while it is mounted so; a line as proc_pid_mountinfo(5) describes it."""
        line = f"36 35 {self.number} / {self.folder} rw,noatime shared:1 - {kind} {source} {options}"
        (self.folder / "mountinfo").write_text(f"{line}\n")
        return device_of(self.folder)


def test_a_disk_has_the_number_of_its_plug_and_an_image_that_of_its_disk(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As sysfs shows a USB stick without wwid, and loop devices (drivers/block/loop.c: loop/backing_file)."""
    blocks, stick = tmp_path / "block", tmp_path / "usb1" / "1-1"
    disk, image = stick / "1-1:1.0" / "host2" / "block" / "sdb", tmp_path / "image"
    monkeypatch.setattr(places, "_BLOCKS", blocks)
    for folder in (blocks, disk, tmp_path / "loop0" / "loop"):
        folder.mkdir(parents=True)
    for file, text in {stick / "idVendor": "0781", stick / "serial": "4C53", disk / "size": "100", image: "",
                       tmp_path / "loop0" / "loop" / "backing_file": str(image)}.items():
        file.write_text(f"{text}\n")
    number = f"{os.major(tmp_path.stat().st_dev)}:{os.minor(tmp_path.stat().st_dev)}"
    (blocks / number).symlink_to(disk)
    assert places.physical_disks(image) == {"disk usb 0781 4C53 100"}
    assert list(places._whole_disks(tmp_path / "loop0")) == ["disk usb 0781 4C53 100"]
    (stick / "serial").unlink()
    assert places.physical_disks(image) == {"sdb  " + places._first_line(places._BOOT)}, "it has no number"


@pytest.mark.parametrize(("noted", "present", "other"), [
    (["disk a 1"], ["disk b 1"], True), (["disk a 1"], ["disk a 1"], False), (["disk a 1"], ["disk a 2"], True),
    (["disk a 1", "disk b 1"], ["disk b 1", "disk c 1"], False), ([], ["disk b 1"], False), (["disk a 1"], [], False),
    (["disk naa.5 1"], ["disk usb 0781 4C53 1"], False), (["disk usb 0781 4C53 1"], ["disk naa.5 1"], False),
    (["disk usb 0781 4C53 1"], ["disk usb 0781 4C54 1"], True),
    (["disk naa.5 1", "disk usb 0 1 1"], ["disk naa.6 1"], True),
    (["sda 1 x"], ["sdb 2 x"], False), (["disk a 1"], ["sda 1 x"], False), (["server a"], ["server b"], False)])
def test_another_disk_is_known_by_numbers_alone(noted: list[str], present: list[str], other: bool) -> None:
    """A member of a RAID may be replaced; virtual disks have no numbers, and shares no disks. A USB case is asked for
    the disk's number at one port and not at another (drivers/usb/storage/scsiglue.c against uas.c; from memory)."""
    first, second = (places.Device("volume 7", frozenset(disks)) for disks in (noted, present))
    assert places.is_other_disk(first, second) is other
    assert shares_device(first, second) is not other


@pytest.mark.parametrize(("noted", "present", "kept"), [
    ({"disk naa.5 1"}, {"disk usb 0 A 1"}, {"disk naa.5 1", "disk usb 0 A 1"}),
    ({"disk naa.5 1"}, {"disk naa.6 1"}, set()),
    ({"disk naa.5 1", "disk usb 0 A 1"}, {"disk naa.5 1"}, {"disk naa.5 1", "disk usb 0 A 1"}),
    ({"disk naa.5 1"}, {"sda 1 x"}, {"disk naa.5 1", "sda 1 x"}), ({"sda 1 x"}, {"sdb 2 y"}, set())])
def test_a_number_that_is_not_shown_now_stays_noted(noted: set[str], present: set[str], kept: set[str]) -> None:
    """Else a clone whose number is shown would pass for the disk, last seen at a port where its own was not."""
    first, second = (places.Device("volume 7", frozenset(disks)) for disks in (noted, present))
    assert places.with_noted_numbers(second, first).disks == (kept or present)


def test_a_disk_and_its_clone_have_one_uuid_whichever_the_link_leads_to(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """udev(7) keeps facts by device number, "E:" before each property; only one link of a name can be."""
    number = f"{os.major(tmp_path.stat().st_dev)}:{os.minor(tmp_path.stat().st_dev)}"
    monkeypatch.setattr(identity, "_UDEV", tmp_path)
    monkeypatch.setattr(identity, "_UUIDS", tmp_path / "none")
    (tmp_path / f"b{number}").write_text("S:disk/by-id/x\nE:ID_FS_UUID=b7 c4\nE:ID_FS_UUID_ENC=b7\\x20c4\n")
    identity._filesystem.cache_clear()
    assert filesystem_id(tmp_path) == r"volume b7\x20c4"
    identity._filesystem.cache_clear()


def test_two_shares_of_one_server_are_lost_together(mounted: Mounted) -> None:
    first = mounted.device("cifs", "//nas/a", "rw,vers=3.1.1,username=ada,addr=192.168.1.5,file_mode=0755")
    assert first.filesystem == "share //nas/a" and server_name(first.disks) == "nas"
    for kind, source, options in [
            ("cifs", "//NAS./b", "rw"), ("nfs4", "nas:/export/b", "rw,clientaddr=192.168.1.9,addr=192.168.1.7"),
            ("fuse.sshfs", "ada@nas:scans", "rw,user_id=0"), ("fuse", "https://nas/dav", "rw"),
            ("nfs", "archive.shop.lan:/b", "rw,addr=192.168.1.5"), ("nfs", "192.168.1.5:/b", "rw")]:
        other = mounted.device(kind, source, options)
        assert other.filesystem == f"share {source}"
        assert shares_device(first, other), source
    for kind, source, options in [("cifs", "//nas2/a", "rw,addr=192.168.1.6"), ("9p", "hgfs", "rw"),
                                  ("nfs", "other:/nas/a", "rw,clientaddr=192.168.1.5")]:
        assert not shares_device(first, mounted.device(kind, source, options)), source


def test_an_address_names_a_server_only_where_nothing_else_does(mounted: Mounted) -> None:
    assert server_name(mounted.device("nfs", "10.0.0.5:/a", "rw,addr=10.0.0.5").disks) == "10.0.0.5"
    assert mounted.device("ext4", "/dev/sda1").disks == frozenset()
    assert mounted.device("fuse.mergerfs", "a:b").disks == frozenset() and server_name(["disk naa.5 100"]) == ""
    assert not filesystem_id(mounted.folder).startswith("share")


def test_datasets_of_one_zfs_pool_are_lost_together(mounted: Mounted) -> None:
    """mount.zfs(8): the source is the data set, the pool its first part."""
    scans, copies, other = (mounted.device("zfs", source) for source in ("tank/scans", "tank/copies/b", "safe/copies"))
    copies, other = (device._replace(filesystem=f"id {n}") for n, device in enumerate((copies, other)))
    assert shares_device(scans, copies) and not shares_device(scans, other)
    assert not places.numbered_disks(scans)


def test_a_btrfs_lies_on_every_disk_that_it_spans(
        tmp_path: Path, mounted: Mounted, monkeypatch: pytest.MonkeyPatch) -> None:
    """/sys/fs/btrfs/UUID/devices has a link to each block device (fs/btrfs/sysfs.c)."""
    members = tmp_path / "btrfs" / "b7c4" / "devices"
    members.mkdir(parents=True)
    for disk in ("sda", "sdb"):
        (tmp_path / disk / "device").mkdir(parents=True)
        (tmp_path / disk / "device" / "wwid").write_text(f"naa.{disk}\n")
        (tmp_path / disk / "size").write_text("100\n")
        (tmp_path / disk / "dev").write_text("1:3\n" if disk == "sdb" else "8:0\n")
        (members / disk).symlink_to(tmp_path / disk)
    monkeypatch.setattr(places, "_BTRFS", tmp_path / "btrfs")
    assert mounted.device("btrfs", "/dev/null").disks == {"disk naa.sda 100", "disk naa.sdb 100"}, "null is 1:3"


def test_an_image_on_a_share_is_lost_with_its_server(tmp_path: Path, mounted: Mounted) -> None:
    (tmp_path / "loop0" / "loop").mkdir(parents=True)
    (tmp_path / "loop0" / "loop" / "backing_file").write_text(f"{tmp_path}\n")
    on_share = mounted.device("nfs", "nas:/export", "rw,addr=192.168.1.5")
    assert set(places._whole_disks(tmp_path / "loop0")) == on_share.disks != set()
