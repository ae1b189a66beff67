"""Candidate paths for a disk that is not at its last mount point."""

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path


def candidates(last: Path) -> Iterator[Path]:
    """Places where the store may be now: every volume's root, and the same folder on every volume."""
    tops = [Path("/Volumes")] if sys.platform == "darwin" else [Path("/mnt"), Path("/media"), Path("/run/media")]
    for top in tops:
        for volume in _folders(top):
            for folder in (volume, *_folders(volume)):
                yield folder
                parts = last.parts
                for depth in range(max(1, len(parts) - 4), len(parts)):
                    yield _as_spelled_there(folder, parts[depth:])


def _as_spelled_there(folder: Path, parts: Sequence[str]) -> Path:
    """A folder below a place, its parts as they are spelled there where that differs in capitals alone."""
    for part in parts:
        alike = (entry for entry in _folders(folder) if entry.name.casefold() == part.casefold())
        folder = folder / part if (folder / part).exists() else next(alike, folder / part)
    return folder


def _folders(top: Path) -> list[Path]:
    try:
        return sorted(entry for entry in top.iterdir() if entry.is_dir())
    except OSError:  # not there, or not ours to see: no store of ours either
        return []
