"""XMP sidecars: which files beside a picture carry its facts, as their names tell.

Of ``name.tif`` these are ``name.tif.xmp`` and ``name.xmp``; the latter is shared where another picture has its stem.
"""

from pathlib import PurePosixPath

from catalogue.storage.folders import Entry
from catalogue.storage.identity import is_regular

SUFFIXES = (".xmp", ".XMP")


def stem(name: str) -> str:
    """A name without its suffix."""
    return PurePosixPath(name).stem


def sidecar_names(picture: str) -> tuple[str, ...]:
    """What a sidecar of a picture may be called."""
    return tuple(f"{of}{suffix}" for of in (picture, stem(picture)) for suffix in SUFFIXES)


def name_beside(sidecar: str, picture: str, other: str) -> str:
    """What a picture's sidecar is called beside ``other``, a copy of the picture or its new name."""
    if sidecar in (f"{picture}{suffix}" for suffix in SUFFIXES):
        return other + sidecar[len(picture):]
    return stem(other) + sidecar[len(stem(picture)):]


def sidecars_of(picture: Entry) -> list[Entry]:
    """The sidecars beside a picture, shared ones too; a link is none. Raises ``OSError`` where the disk fails."""
    entries: list[Entry] = []
    for name in dict.fromkeys(sidecar_names(picture.name)):
        entry = picture.folder.entry(name)
        if entry.exists() and is_regular(entry.stat()) and not any(
                entry.stat().st_ino == other.stat().st_ino and entry.name.lower() == other.name.lower()
                for other in entries):  # a disk that takes both for one name
            entries.append(entry)
    return entries
