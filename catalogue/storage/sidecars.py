"""XMP sidecars: which files beside a picture carry its facts, as their names tell.

Of ``name.tif`` these are ``name.tif.xmp`` and ``name.xmp``; the latter is shared where another picture has its stem.
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
    """What a sidecar of a picture may be called."""
    return tuple(f"{of}{suffix}" for of in (picture, stem(picture)) for suffix in SUFFIXES)


def name_beside(sidecar: str, picture: str, other: str) -> str:
    """What a picture's sidecar is called beside ``other``, a copy of the picture or its new name."""
    if sidecar in (f"{picture}{suffix}" for suffix in SUFFIXES):
        return other + sidecar[len(picture):]
    return stem(other) + sidecar[len(stem(picture)):]


def sidecars_of(picture: Entry) -> list[Entry]:
    """The sidecars beside a picture, shared ones too; a link is none. Raises ``OSError`` where the disk fails."""
    entries: dict[tuple[int, str], Entry] = {}  # one of each where a disk takes two names for one
    for name in dict.fromkeys(sidecar_names(picture.name)):
        entry = picture.folder.entry(name)
        with suppress(FileNotFoundError):
            status = entry.stat()
            if is_regular(status):
                entries.setdefault((status.st_ino, name.lower()), entry)
    return list(entries.values())
