"""What is mounted where on Linux, and which server a share is on. Other systems report nothing.

Layout of the table: proc_pid_mountinfo(5). No name is resolved over the network: one server under two names is
recognised by its address if the mount's options have it (``addr=``, of NFS and CIFS), otherwise not.
"""

import os
import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

_TABLE = Path("/proc/self/mountinfo")
# file systems whose source names the share itself, whatever the mount point
SHARES = frozenset({"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "afpfs", "webdav", "davfs", "ceph", "fuse.sshfs",
                    "fuse.rclone", "fuse.curlftpfs", "fuse.glusterfs"})
_SCHEME = re.compile(r"^[a-z][a-z0-9+.-]*://", re.IGNORECASE)
_SERVER = "server "


@dataclass(frozen=True, slots=True)
class Mount:
    """One line of the table. ``device`` is "major:minor"; ``root`` which folder of the file system is mounted;
    ``address`` what the options say of the server, "" if they say nothing."""

    device: str
    root: str
    point: str
    kind: str
    source: str
    address: str = ""

    @property
    def is_share(self) -> bool:
        """Whether the source names the share. davfs2 mounts are plain "fuse", with a URL for their source."""
        return self.kind in SHARES or (self.kind == "fuse" and bool(_SCHEME.match(self.source)))


def mount_table() -> bytes:
    """The table as it is now."""
    try:
        return _TABLE.read_bytes() if sys.platform == "linux" else b""
    except OSError:
        return b""


@lru_cache(maxsize=4)
def mounts_in(table: bytes) -> list[Mount]:
    """What a table holds, in the order of mounting."""
    mounts = []
    for line in table.splitlines():
        before, _, after = os.fsdecode(line).partition(" - ")
        fields, more = before.split(" "), after.split(" ")
        if len(fields) > 4 and len(more) > 1:
            options = more[2].split(",") if len(more) > 2 else []
            address = next((option[5:] for option in options if option.startswith("addr=")), "")
            mounts.append(Mount(fields[2], _unescaped(fields[3]), _unescaped(fields[4]), more[0], _unescaped(more[1]),
                                address))
    return mounts


def servers_of(device: str) -> frozenset[str]:
    """The names that a share's server is known by, as :func:`server_name` reads them: its host as the mount spells
    it, and its address. Empty if the device is no share, or its source names no host."""
    share = next((mount for mount in mounts_in(mount_table()) if mount.device == device and mount.is_share), None)
    if share is None or share.kind == "9p":  # whose source is a channel of a virtual machine
        return frozenset()
    return frozenset(_SERVER + host for host in (host_of(share.source), _plain(share.address)) if host)


def server_name(names: Iterable[str]) -> str:
    """The server among the names of a place's devices, rather by a word than by an address; "" if none is one."""
    servers = [name.removeprefix(_SERVER) for name in names if name.startswith(_SERVER)]
    return min(servers, key=lambda host: (_is_address(host), host), default="")


def host_of(source: str) -> str:
    """The server that a mount's source names, without user and port, in small letters; "" if it names none.

    ``//host/share``, ``host:/path``, ``user@host:path``, ``https://host:443/path``; IPv6 addresses in brackets.
    """
    text = _SCHEME.sub("//", source.removeprefix("sshfs#").replace("\\", "/"))
    if text.startswith("//"):
        host = text[2:].partition("/")[0].rpartition("@")[2]
        port = host.count(":") == 1 or host.startswith("[")
        return _plain(host.rpartition(":")[0] if port and not host.endswith("]") else host)
    host, colon, _ = text.partition(":/")  # first: an IPv6 address without brackets holds colons
    if not colon:
        host, colon, _ = text.partition("]:") if "]:" in text else text.partition(":")
    return _plain(host.rpartition("@")[2]) if colon and "/" not in host else ""


def _plain(host: str) -> str:
    """A host as two spellings of it are compared."""
    host = host.strip("[]").casefold().rstrip(".")
    return _address(host) or host


def _is_address(host: str) -> bool:
    return bool(_address(host))


def _address(host: str) -> str:
    """An IP address in its shortest form, "" for anything else."""
    from ipaddress import IPv6Address, ip_address

    try:
        address = ip_address(host)
    except ValueError:
        return ""
    if isinstance(address, IPv6Address) and address.ipv4_mapped:
        return str(address.ipv4_mapped)
    return str(address)


def _unescaped(text: str) -> str:
    """proc(5): space, tab, newline and backslash are written as octal escapes."""
    for escape, plain in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        text = text.replace(escape, plain)
    return text
