"""Renaming in an open store: never over another file, and the old name dropped only once the new one exists.

For a moment a file has both names, or on a disk without hard links exists twice, so that no kill loses it.
"""

import errno
import os
from collections import Counter, OrderedDict
from dataclasses import dataclass

from catalogue.errors import CatalogueError, NameTaken, Refused
from catalogue.fixity.copying import copy_verified
from catalogue.intake.naming import same_name
from catalogue.intake.removing import digest_of
from catalogue.progress import ignore_progress, never_cancelled
from catalogue.records.paths import native_path
from catalogue.storage.folders import Entry, OpenFolder, open_below, parts_of, sync
from catalogue.storage.identity import FileId
from catalogue.storage.sidecars import name_beside, sidecars_of, stem

NO_SECOND_NAMES = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EINVAL}
FOLDERS_KEPT = 500


def rename(old: Entry, new: Entry, sha256: str, *, copied: bool = False) -> bool:
    """Give a file its second name, or on a disk that knows none, or ``copied``, a verified copy; the old one stays.

    False if an interrupted move had already given it.
    """
    if new.exists() and not one_name(old, new):
        if two_names(old, new, sha256):
            return False
        raise NameTaken(new.path)
    if new.exists():
        old.rename_to(new)  # one file under a name that differs in capitals or accents' form alone
    elif copied:
        copy_verified(old, new, sha256=sha256, report=ignore_progress, cancelled=never_cancelled)
    else:
        try:
            old.link_to(new)
        except FileExistsError as error:
            raise NameTaken(new.path) from error
        except OSError as error:
            if error.errno not in NO_SECOND_NAMES:
                raise
            copy_verified(old, new, sha256=sha256, report=ignore_progress, cancelled=never_cancelled)
    sync(new.folder.fd)
    return True


def one_name(old: Entry, new: Entry) -> bool:
    """Whether the disk treats both names as one, as disks do that fold case and accents."""
    if old.folder.id != new.folder.id or same_name(old.name) != same_name(new.name) or old.name == new.name:
        return False
    return os.path.samestat(old.stat(), new.stat()) and not {old.name, new.name} <= set(new.folder.names())


def two_names(old: Entry, new: Entry, sha256: str) -> bool:
    """Whether the same bytes, those of ``sha256``, stand under both names."""
    if not old.exists() or not new.exists() or one_name(old, new):
        return False
    return digest_of(old) == digest_of(new) == sha256


def drop_old_name(old: Entry, new: Entry, sha256: str) -> None:
    """Drop the old name, if the file stands under another: one file with two names, or the same bytes twice."""
    if not old.exists() or not new.exists() or one_name(old, new):
        return
    if not os.path.samestat(old.stat(), new.stat()) and not digest_of(old) == digest_of(new) == sha256:
        return
    old.unlink()
    sync(old.folder.fd)


class Stems:
    """How many files of a folder share a stem; the folder is listed once and the count kept up to date."""

    def __init__(self) -> None:
        self._folders: OrderedDict[FileId, Counter[str]] = OrderedDict()

    def is_only_with_stem(self, entry: Entry) -> bool:
        """Whether no other file than a sidecar has the entry's stem."""
        return self._counts(entry.folder)[stem(entry.name)] <= 1

    def moved(self, old: Entry, new: Entry) -> None:
        """Update the counts after a move."""
        if old.folder.id in self._folders:
            self._folders[old.folder.id][stem(old.name)] -= 1
        if new.folder.id in self._folders:
            self._folders[new.folder.id][stem(new.name)] += 1

    def _counts(self, folder: OpenFolder) -> "Counter[str]":
        key = folder.id
        if key not in self._folders:
            self._folders[key] = Counter(stem(n) for n in folder.names() if not n.lower().endswith(".xmp"))
            if len(self._folders) > FOLDERS_KEPT:
                self._folders.popitem(last=False)
        return self._folders[key]


@dataclass(frozen=True, slots=True)
class SidecarMove:
    """A sidecar that gets a new name beside its picture; ``shared`` with another picture, it keeps the old one too."""

    old: Entry
    new: Entry
    sha256: str
    shared: bool


def sidecar_moves(stems: Stems, old: Entry, new: Entry) -> list[SidecarMove]:
    """How the sidecars of a picture go with it. Raises :class:`Refused` if another stands under a new name."""
    moves = []
    for sidecar in sidecars_of(old):
        target = new.folder.entry(name_beside(sidecar.name, old.name, new.name))
        sha256 = digest_of(sidecar)
        if target.exists() and not one_name(sidecar, target) and digest_of(target) != sha256:
            raise Refused(f"Its sidecar {sidecar.name} cannot go with it: another is called {target.name}.",
                          hint="Remove the one that is out of date, then tidy again.", path=target.path)
        shared = not sidecar.name.startswith(f"{old.name}.") and not stems.is_only_with_stem(old)
        moves.append(SidecarMove(sidecar, target, sha256, shared))
    return moves


def drop_empty_folders(root: OpenFolder, source: str) -> None:
    """Remove folders that a move emptied; others are kept."""
    *above, _ = parts_of(native_path(source))
    while above:
        *above, leaf = above
        try:
            with open_below(root, "/".join(above)) as folder:
                os.rmdir(leaf, dir_fd=folder.fd)
        except (OSError, CatalogueError):  # not empty, or not ours: it stays
            return
