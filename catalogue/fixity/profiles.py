"""ICC profiles named by recipes of print files, kept beside the catalogue and in its backups.

Each file is named after its SHA-256; one with other bytes is damaged, and is neither copied nor counted.
"""

import os
from hashlib import sha256
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.reading.handles import open_without_waiting
from catalogue.reading.kinds import HEAD_BYTES, format_of
from catalogue.reading.limits import Deadline, Limits
from catalogue.records import print_files
from catalogue.records.database import Database
from catalogue.records.paths import native_path
from catalogue.settings import Home
from catalogue.storage.atomic import write_atomically
from catalogue.untrusted import read_regular

PROFILE_BYTES = 64 << 20
FOLDER = "profiles"


def read_profile_file(path: Path) -> bytes | None:
    """The bytes of a kept profile; None if it is missing or damaged."""
    try:
        data = read_regular(path, PROFILE_BYTES)
    except (OSError, CatalogueError):
        return None
    return data if path.name == f"{sha256(data).hexdigest()}.icc" else None


def keep_profile(home: Home, data: bytes) -> None:
    """Write a profile beside the catalogue, replacing a damaged file of that name. Raises CatalogueError."""
    path = home.profiles / f"{sha256(data).hexdigest()}.icc"
    if read_profile_file(path) is None:
        write_atomically(path, data)


def copy_profiles(source: Path, target: Path) -> int:
    """Copy the sound profiles of a folder that the other lacks, or holds damaged; returns how many. Raises
    CatalogueError if one cannot be written."""
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


def bring_back_profiles(db: Database, home: Home, backups: Path) -> list[str]:
    """Put back the profiles that are missing or damaged: from a folder of backups, from the catalogue's own, and those
    that recipes name from files that embed them. Gives, in words, what is not back; raises nothing of ours, for the
    catalogue stands already."""
    try:
        for folder in {backups, home.backups}:
            copy_profiles(folder / FOLDER, home.profiles)
        missing = [digest for digest in print_files.profiles_named(db)
                   if read_profile_file(home.profiles / f"{digest}.icc") is None and not _taken_out(db, home, digest)]
    except CatalogueError as error:
        return [f"Profiles that print files were converted to could not be put back. {error}"]
    return [f"A profile that print files were converted to is missing; its SHA-256 is {digest}. Choose its file with"
            " --profile when you print again." for digest in missing]


def _taken_out(db: Database, home: Home, digest: str) -> bool:
    """Extract the profile embedded in a print file or a file in a store and keep it; whether there was such a file."""
    for root, path in print_files.embedding(db, digest):
        icc = _embedded(root, path)
        if sha256(icc).hexdigest() == digest:
            keep_profile(home, icc)
            return True
    return False


def _embedded(root: str, path: str) -> bytes:
    """The profile that a picture file embeds; b"" if there is none, or the file cannot be read."""
    from catalogue.reading.opening import open_source

    limits = Limits()
    try:
        with open(Path(root, native_path(path)), "rb", opener=open_without_waiting) as file:
            kind = format_of(file.read(HEAD_BYTES))
            return open_source(file, kind, os.fstat(file.fileno()).st_size, limits,
                               Deadline.after(limits.seconds)).icc if kind else b""
    except Exception:   # the codec edge: whatever a damaged file raises, it gives no profile
        return b""
