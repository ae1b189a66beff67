"""Finding the piece that a photograph shows, among all scans held."""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from catalogue.errors import CatalogueError, Damaged
from catalogue.likeness import feature_cache, retrieval
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Bytes, Features, extract, thumbnail
from catalogue.likeness.photo import PhotoMatch, match_photo, rank_matches
from catalogue.records import likenesses
from catalogue.records.database import Database
from catalogue.records.likenesses import ComparedScan
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Match:
    """One scan that the picture shows, with its piece if it has one."""

    scan_id: int
    sha256: str
    piece_id: int | None
    role: str
    photo_match: PhotoMatch


def find_picture(db: Database, home: Home, path: Path, limit: int = 5) -> list[Match]:
    """The scans a picture shows (photograph of a print, copy from the web, crop), likeliest first; at most ``limit``.

    Raises CatalogueError if the file cannot be read or nothing has been compared yet.
    """
    if not path.is_file():
        raise CatalogueError("There is no such file.", hint="Check its spelling and folder.", path=path)
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        # A command line has nothing loaded yet. While the reader is imported and decodes, the index is opened and
        # OpenCV makes its tables for CIELAB, a tenth of a second, which it does at the first conversion.
        opening = pool.submit(_index, home)
        tables = pool.submit(thumbnail, np.zeros((1, 1, 3), np.uint8))
        from catalogue.reading.preview import hashes

        photo = _decoded(path)
        hashing = pool.submit(hashes, photo)
        tables.result()
        cv2.setNumThreads(os.cpu_count() or 1)  # for the one picture; reading and matching are held to one thread
        seen = extract(photo, limits.SIFT_PHOTO)
        cv2.setNumThreads(1)
        phashes = [int(h.value, 16) for h in hashing.result()]
        known = scans_of(db, opening.result().candidates(seen, phashes, limits.CANDIDATES))
        seen_in = pool.map(partial(_seen, home, photo, seen), known)
        matches = [(scan, match) for scan, match in zip(known, seen_in, strict=True) if match]
    by_key = {match.key: scan for scan, match in matches}
    return [_match(by_key[match.key], match) for match in rank_matches([match for _, match in matches])[:limit]]


def _decoded(path: Path) -> Bytes:
    """What a picture's file shows. Raises CatalogueError if it cannot be read."""
    from catalogue.reading.file import read_picture

    read = read_picture(path)
    if read.shown is None:
        why = read.faults[0].detail if read.faults else "nothing could be decoded"
        raise CatalogueError(f"The picture cannot be read: {why}.", hint="Try another copy of it.", path=path)
    return read.shown


def _seen(home: Home, photo: Bytes, seen: Features, scan: ComparedScan) -> PhotoMatch | None:
    try:
        return match_photo(photo, seen, scan.sha256, feature_cache.features(home, scan.sha256),
                           partial(feature_cache.preview, home, scan.sha256))
    except Damaged:
        return None  # its preview is gone: it cannot be shown to match


def _match(scan: ComparedScan, match: PhotoMatch) -> Match:
    return Match(scan.id, scan.sha256, scan.piece_id, scan.role, match)


def scans_of(db: Database, near: Sequence[retrieval.Candidate]) -> list[ComparedScan]:
    """The scans of these candidates, in their order."""
    ids = likenesses.ids_of(db, (c.key for c in near))
    scans = likenesses.compared_scans(db, ids.values())
    return [scans[ids[c.key]] for c in near if c.key in ids]


def _index(home: Home) -> retrieval.Index:
    index = retrieval.Index(feature_cache.index_folder(home))
    if not len(index):
        raise CatalogueError("No scan has been compared yet.", hint="Run: catalogue alike")
    return index
