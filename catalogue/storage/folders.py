"""Open folders, whose handles reach files part by part without following links.

A path is looked up again at every call, so a link swapped in, or a disk unmounted between two calls, redirects the
second one. A handle stays with the folder that was opened. ``dir_fd`` is POSIX (openat, linkat, renameat, unlinkat);
:func:`missing_calls` reports a system without it, and no store is opened there.
"""

import errno
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import NotFound, Refused, StoreAway
from catalogue.storage.identity import FileId, identity, is_regular
from catalogue.untrusted import MARKER_BYTES, unsafe_path

MARKER = ".scan-store.json"
_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC


@dataclass(frozen=True, slots=True)
class OpenFolder:
    """A folder held open. ``path`` is used in messages only, never to look anything up."""

    fd: int
    path: Path

    @property
    def id(self) -> FileId:
        status = os.fstat(self.fd)
        return FileId(status.st_dev, status.st_ino)

    def names(self) -> list[str]:
        """Names of the entries."""
        with os.scandir(self.fd) as entries:
            return [entry.name for entry in entries]

    def entry(self, name: str) -> "Entry":
        return Entry(self, name)


@dataclass(frozen=True, slots=True)
class Entry:
    """A name in an open folder, which need not exist. Links are examined themselves, never followed."""

    folder: OpenFolder
    name: str

    @property
    def path(self) -> Path:
        """For messages and records only."""
        return self.folder.path / self.name

    def stat(self) -> os.stat_result:
        return os.stat(self.name, dir_fd=self.folder.fd, follow_symlinks=False)

    def exists(self) -> bool:
        """Whether the name is taken, even by a dangling link. Raises ``OSError`` if that cannot be determined."""
        try:
            self.stat()
        except FileNotFoundError:
            return False
        return True

    def open(self, flags: int, mode: int = 0o666) -> int:
        """As ``os.open``; does not wait for a pipe."""
        return os.open(self.name, flags | os.O_NOFOLLOW | os.O_CLOEXEC | os.O_NONBLOCK, mode, dir_fd=self.folder.fd)

    def unlink(self) -> None:
        os.unlink(self.name, dir_fd=self.folder.fd)

    def link_to(self, other: "Entry") -> None:
        """Give the file a second name. Raises ``FileExistsError`` if it is taken."""
        os.link(self.name, other.name, src_dir_fd=self.folder.fd, dst_dir_fd=other.folder.fd, follow_symlinks=False)

    def rename_to(self, other: "Entry") -> None:
        """Rename the file, replacing whatever has that name."""
        os.replace(self.name, other.name, src_dir_fd=self.folder.fd, dst_dir_fd=other.folder.fd)


def missing_calls() -> list[str]:
    """What this system lacks of the calls by which names are looked up in an open folder and links are not followed.

    POSIX.1-2008 has all of them. Without, a link put in the way between two calls, or a disk unmounted there, leads the
    second one elsewhere: :func:`open_root` then refuses, so that nothing below a store is written or removed.
    """
    wanted = {"openat": "open", "fstatat": "stat", "linkat": "link", "renameat": "rename", "unlinkat": "unlink",
              "mkdirat": "mkdir"}
    there = {call.__name__ for call in os.supports_dir_fd}
    return [*(name for name, call in wanted.items() if call not in there),
            *(name for name in ("O_NOFOLLOW", "O_DIRECTORY") if not hasattr(os, name))]


@contextmanager
def open_folder(path: Path) -> Iterator[OpenFolder]:
    """A folder named by a person, following links. Raises ``OSError``."""
    fd = os.open(path, _FOLDER)
    try:
        yield OpenFolder(fd, path)
    finally:
        os.close(fd)


@contextmanager
def open_below(root: OpenFolder, relative: str, *, create: bool = False) -> Iterator[OpenFolder]:
    """The folder at ``relative`` (as the system writes it; "" is ``root``) below an open one.

    Raises:
        Refused: a part is a link or no folder, or leads upwards. NotFound: a folder is not there, without
        ``create``. ``OSError``: the disk failed.
    """
    fd, path = os.dup(root.fd), root.path
    try:
        for part in parts_of(relative):
            below = _opened(fd, part, path, create)
            os.close(fd)
            fd, path = below, path / part
        yield OpenFolder(fd, path)
    finally:
        os.close(fd)


@contextmanager
def open_entry(root: OpenFolder, relative: str, *, create: bool = False) -> Iterator[Entry]:
    """The name at ``relative`` below an open folder, its folder held open. Raises as :func:`open_below`."""
    *above, leaf = parts_of(relative) or [""]
    if not leaf:
        raise Refused("This is not a file name.", path=root.path / relative)
    with open_below(root, "/".join(above), create=create) as folder:
        yield Entry(folder, leaf)


def parts_of(relative: str) -> list[str]:
    """The parts of a relative path. Raises :class:`Refused` for one that could lead out of the folder."""
    reason = unsafe_path(relative) if relative else ""
    if reason:
        raise Refused(f"This path is not followed: {reason}.", path=relative.replace("\0", "?"))
    return relative.split("/") if relative else []


def _opened(fd: int, part: str, above: Path, create: bool) -> int:
    flags = _FOLDER | os.O_NOFOLLOW
    try:
        return os.open(part, flags, dir_fd=fd)
    except FileNotFoundError as error:
        if not create:
            raise NotFound("There is no such folder.", path=above / part) from error
    except OSError as error:
        if error.errno in (errno.ELOOP, errno.ENOTDIR, errno.EMLINK):
            raise Refused("This is a link or a file where a folder is expected; links are not followed.",
                          path=above / part) from error
        raise
    with suppress(FileExistsError):  # another program made it just now
        os.mkdir(part, dir_fd=fd)
        sync(fd)
    try:
        return os.open(part, flags, dir_fd=fd)
    except OSError as error:
        if error.errno in (errno.ELOOP, errno.ENOTDIR):
            raise Refused("A link was put where a folder is expected; links are not followed.",
                          path=above / part) from error
        raise


def sync(fd: int) -> None:
    """Flush an open folder's entries, so that a rename survives a power cut."""
    try:
        os.fsync(fd)
    except OSError as error:
        # network shares know no such thing
        if error.errno not in (errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EBADF, errno.EACCES):
            raise


@contextmanager
def open_root(path: Path, marker: str | None, *, known: FileId | None = None, name: str = "") -> Iterator[OpenFolder]:
    """A store's root folder, verified to be the store's through the returned handle.

    ``marker`` is the id its marker must hold, None for a store that has none; ``known`` is what the root was when the
    work began.

    Raises:
        StoreAway: it is no longer there, or another folder is in its place. Refused: this system cannot look
        names up in an open folder.
    """
    lacking = missing_calls()
    if lacking:
        raise Refused(f"Nothing is written below a store here, because this system lacks {', '.join(lacking)}.",
                      hint="A link swapped in could redirect the write. Use Linux or macOS.", path=path)
    store_label = f"The store {name!r}" if name else "The store"
    try:
        fd = os.open(path, _FOLDER)
    except OSError as error:
        raise StoreAway(f"{store_label} can no longer be reached: {error.strerror}.", path=path,
                        hint="Connect it, then run this again.") from error
    try:
        root = OpenFolder(fd, path)
        if (known is not None and root.id != known) or (
                marker is not None and marker_facts_in(root).get("store") != marker):
            raise StoreAway(f"{store_label} can no longer be reached: another folder is in its place.",
                            hint="Connect it, then run this again.", path=path)
        yield root
    finally:
        os.close(fd)


def still_at(root: OpenFolder) -> bool:
    """Whether the root's path still leads to the folder held open."""
    return identity(root.path) == root.id


def marker_facts_in(root: OpenFolder) -> dict[str, str]:
    """``store`` (the id) and ``name`` from the marker of an open folder, as far as a small file there says them."""
    data = read_small(root.entry(MARKER), MARKER_BYTES)
    try:
        facts = json.loads(data) if data else None
    except (ValueError, RecursionError):  # a foreign one
        return {}
    if not isinstance(facts, dict):
        return {}
    return {key: facts[key] for key in ("store", "name") if isinstance(facts.get(key), str)}


def read_small(entry: Entry, most: int) -> bytes | None:
    """The bytes of a regular file of at most ``most`` bytes; None for anything else, so no pipe or link is read."""
    try:
        fd = entry.open(os.O_RDONLY)
    except OSError:
        return None
    try:
        status = os.fstat(fd)
        if not is_regular(status) or status.st_size > most:
            return None
        data = b""
        while len(data) <= most and (block := os.read(fd, most + 1 - len(data))):
            data += block
        return data if len(data) <= most else None
    except OSError:
        return None
    finally:
        os.close(fd)
