"""Walking a store in the catalogue's order of paths, so that both can be compared side by side.

Memory is bounded by the largest folder. Links are not followed: a link is not a copy, and loops would never end.
"""

import errno
import os
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fnmatch import translate
from pathlib import Path

from catalogue.reading.kinds import looks_like_picture
from catalogue.records.paths import escape_path, stored_mtime


@dataclass(frozen=True, slots=True)
class Obstacle:
    """Something that could not be entered or was skipped; ``path`` relative to the root, in stored form."""

    kind: str       # "unreadable folder" or "link"
    path: str
    detail: str
    hint: str


Seen = tuple[str, int, int]  # path in stored form, size, mtime in ns


def crawl(root: Path, ignore: tuple[str, ...], on_error: Callable[[Obstacle], None]) -> Iterator[Seen]:
    """Every picture file below ``root``, in binary order of its stored path."""
    return _walk(os.fspath(root), "", _matcher(ignore), on_error)


def _matcher(patterns: tuple[str, ...]) -> Callable[[str], bool]:
    plain = {p for p in patterns if not any(c in p for c in "*?[")}
    hidden = ".*" in patterns
    globs = [p for p in patterns if p not in plain and not (hidden and p.startswith("."))]
    pattern = re.compile("|".join(translate(p) for p in globs)) if globs else None

    def skipped(name: str) -> bool:
        return (hidden and name[0] == ".") or name in plain or (pattern is not None and bool(pattern.match(name)))

    return skipped


def _walk(folder: str, prefix: str, skipped: Callable[[str], bool],
          on_error: Callable[[Obstacle], None]) -> Iterator[Seen]:
    # a stack of half-read folders: nested generators would pass every file up through every level
    stack = [(prefix, iter(_list_folder(folder, prefix, skipped, on_error)))]
    while stack:
        prefix, entries = stack[-1]
        for name, path, size, mtime in entries:
            if size < 0:
                inner = prefix + name
                stack.append((inner, iter(_list_folder(path, inner, skipped, on_error))))
                break
            yield prefix + name, size, mtime
        else:
            stack.pop()


def _list_folder(folder: str, prefix: str, skipped: Callable[[str], bool],
            on_error: Callable[[Obstacle], None]) -> list[tuple[str, str, int, int]]:
    """One folder's own entries in order: kept name (folders end in "/"), a folder's real path, size (-1: a folder),
    mtime. This runs once a file on every index run, so it asks the cheap questions first.
    """
    files: list[tuple[str, str, int, int]] = []
    try:
        with os.scandir(folder) as entries:
            for entry in entries:
                name = entry.name
                if skipped(name):
                    continue
                try:
                    if entry.is_symlink():
                        if looks_like_picture(name) or _leads_to_folder(entry):
                            on_error(Obstacle("link", prefix + escape_path(name), "a link, not a file: not followed",
                                             "If it should count, add what it points to as a store."))
                    elif entry.is_dir(follow_symlinks=False):
                        files.append((escape_path(name) + "/", entry.path, -1, 0))
                    elif looks_like_picture(name) and entry.is_file(follow_symlinks=False):
                        stat = entry.stat(follow_symlinks=False)
                        files.append((escape_path(name), "", stat.st_size, stored_mtime(stat.st_mtime_ns)))
                except FileNotFoundError:  # gone between listing and asking: not there
                    continue
                except OSError as error:  # this entry alone: the others of its folder can be looked at
                    on_error(_unreadable(prefix + escape_path(name), error))
    except OSError as error:
        on_error(_unreadable(prefix.rstrip("/"), error))
    files.sort()
    return files


def _unreadable(path: str, error: OSError) -> Obstacle:
    if error.errno == errno.ENAMETOOLONG:
        return Obstacle("unreadable folder", path,
                        "its path is longer than the system allows, so its contents were not read",
                        "Move it closer to the store's root, then index again.")
    return Obstacle("unreadable folder", path, f"the folder cannot be read: {error.strerror}",
                    "Check its permissions and the disk, then index again.")


def _leads_to_folder(link: "os.DirEntry[str]") -> bool:
    """Whether a link points to a folder; one that points to itself, or whose target cannot be asked, points nowhere."""
    try:
        return link.is_dir()
    except OSError:
        return False
