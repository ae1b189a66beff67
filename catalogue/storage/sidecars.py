"""XMP sidecars: which files beside a picture describe it, by their names.

Those of ``name.tif`` are ``name.tif.xmp`` and ``name.xmp``; the latter is shared if another picture has the same stem.
"""

from contextlib import suppress
from pathlib import PurePosixPath

from catalogue.storage.folders import Entry
from catalogue.storage.identity import is_regular

SUFFIXES = (".xmp", ".XMP")


def stem(name: str) -> str:
    """A name without its suffix."""
    return PurePosixPath(name).stem


def sidecar_names(picture: str) -> tuple[str, ...]:
    """The names a sidecar of a picture may have."""
    return tuple(f"{of}{suffix}" for of in (picture, stem(picture)) for suffix in SUFFIXES)


def name_beside(sidecar: str, picture: str, other: str) -> str:
    """The name of a picture's sidecar beside ``other``, a copy of the picture or its new name."""
    if sidecar in (f"{picture}{suffix}" for suffix in SUFFIXES):
        return other + sidecar[len(picture):]
    return stem(other) + sidecar[len(stem(picture)):]


def sidecars_of(picture: Entry) -> list[Entry]:
    """The sidecars beside a picture, including shared ones; links do not count. Raises ``OSError`` if the disk
    fails."""
    entries: dict[tuple[int, str], Entry] = {}  # one of each where a disk takes two names for one
    for name in dict.fromkeys(sidecar_names(picture.name)):
        entry = picture.folder.entry(name)
        with suppress(FileNotFoundError):
            status = entry.stat()
            if is_regular(status):
                entries.setdefault((status.st_ino, name.lower()), entry)
    return list(entries.values())
