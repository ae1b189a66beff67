"""ICC profiles that recipes of print files name, kept beside the catalogue and in its backups.

Each file is called after its SHA-256; one whose bytes are others is damaged, and is neither copied nor counted.
"""

from hashlib import sha256
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.settings import Home
from catalogue.storage.atomic import write_atomically
from catalogue.untrusted import read_regular

PROFILE_BYTES = 64 << 20
FOLDER = "profiles"


def read_profile_file(path: Path) -> bytes | None:
    """The bytes of a kept profile; None where it is missing or damaged."""
    try:
        data = read_regular(path, PROFILE_BYTES)
    except (OSError, CatalogueError):
        return None
    return data if path.name == f"{sha256(data).hexdigest()}.icc" else None


def keep_profile(home: Home, data: bytes) -> None:
    """Keep a profile beside the catalogue, in the place of a damaged file of its name. Raises CatalogueError."""
    path = home.profiles / f"{sha256(data).hexdigest()}.icc"
    if read_profile_file(path) is None:
        write_atomically(path, data)


def copy_profiles(source: Path, target: Path) -> int:
    """Copy the sound profiles of a folder that the other lacks, or holds damaged; gives how many. Raises CatalogueError
    where one cannot be written."""
    copied = 0
    for path in sorted(source.glob("*.icc")):
        if read_profile_file(target / path.name) is None and (data := read_profile_file(path)) is not None:
            write_atomically(target / path.name, data)
            copied += 1
    return copied


def back_up_profiles(home: Home, also: Path | None) -> None:
    """Beside the backups, and in the folder that gets a copy of them. Raises CatalogueError."""
    for folder in (home.backups, *([also] if also else [])):
        copy_profiles(home.profiles, folder / FOLDER)


def bring_back_profiles(home: Home, backups: Path) -> int:
    """Put back what is missing or damaged from a folder of backups, and from the catalogue's own; gives how many."""
    return sum(copy_profiles(folder / FOLDER, home.profiles) for folder in {backups, home.backups})
