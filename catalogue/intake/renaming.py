"""New names for files of an open store: never over another file, and the old one dropped only where the new one stands.

A file bears both names for a moment, or on a disk without second names is there twice, so that no kill loses it.
"""

import errno
import os
from collections import Counter, OrderedDict
from pathlib import PurePosixPath

from catalogue.errors import CatalogueError, NameTaken
from catalogue.fixity.copying import copy_verified
from catalogue.intake.naming import same_name
from catalogue.intake.removing import digest_of
from catalogue.progress import ignore_progress, never_cancelled
from catalogue.records.paths import native_path
from catalogue.storage.folders import Entry, OpenFolder, open_below, parts_of, sync
from catalogue.storage.identity import FileId

NO_SECOND_NAMES = {errno.EPERM, errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOSYS, errno.EMLINK, errno.EINVAL}
FOLDERS_KEPT = 500


def rename(old: Entry, new: Entry, sha256: str) -> bool:
    """Give a file its second name, or on a disk that knows none a verified copy; the old name stays for now.

    False where a move cut short had given it already.
    """
    if new.exists() and not one_name(old, new):
        if two_names(old, new, sha256):
            return False
        raise NameTaken(new.path)
    if new.exists():
        old.rename_to(new)  # one file under a name that differs in capitals or accents' form alone
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
    """Whether the disk takes both names for one, as disks do that fold case and accents."""
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
    """How many files of a folder share a stem, from one listing a folder; kept up to date by the moves."""

    def __init__(self) -> None:
        self._folders: OrderedDict[FileId, Counter[str]] = OrderedDict()

    def alone(self, entry: Entry) -> bool:
        """Whether no other file than a sidecar has the entry's stem."""
        return self._counts(entry.folder)[stem(entry.name)] <= 1

    def moved(self, old: Entry, new: Entry) -> None:
        """Take note of a move."""
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


def stem(name: str) -> str:
    return PurePosixPath(name).stem


def sidecars(stems: Stems, old: Entry, new: Entry) -> list[tuple[Entry, Entry, str]]:
    """Sidecar files that go with a file, ``name.xmp`` and ``name.tif.xmp``, where their new name is free."""
    pairs = []
    for name, target in ((f"{old.name}.xmp", f"{new.name}.xmp"), (f"{stem(old.name)}.xmp", f"{stem(new.name)}.xmp")):
        sidecar, its_target = old.folder.entry(name), new.folder.entry(target)
        if not sidecar.exists() or (its_target.exists() and not one_name(sidecar, its_target)):
            continue
        sha256 = digest_of(sidecar)
        if sha256 and (name == f"{old.name}.xmp" or stems.alone(old)):  # another picture of the same stem may own it
            pairs.append((sidecar, its_target, sha256))
    return pairs


def drop_empty_folders(root: OpenFolder, source: str) -> None:
    """Folders that a move has emptied go; one that still holds anything stays."""
    *above, _ = parts_of(native_path(source))
    while above:
        *above, leaf = above
        try:
            with open_below(root, "/".join(above)) as folder:
                os.rmdir(leaf, dir_fd=folder.fd)
        except (OSError, CatalogueError):  # not empty, or not ours: it stays
            return
