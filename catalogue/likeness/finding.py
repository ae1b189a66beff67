"""Which piece does this show? A photograph of a print, or a scan not yet in the catalogue, against all that is held."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np

from catalogue.errors import CatalogueError, Damaged
from catalogue.likeness import feature_cache, retrieval
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence
from catalogue.likeness.examine import Side, against
from catalogue.likeness.facts import facts_of_reading, side_of
from catalogue.likeness.features import Bytes, Features, extract
from catalogue.likeness.photo import PhotoMatch, match_photo, rank_matches
from catalogue.likeness.thread_pool import thread_pool
from catalogue.reading.file import read_file
from catalogue.reading.model import Reading
from catalogue.reading.preview import hashes
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

    Raises CatalogueError where the file cannot be read or nothing has been compared yet.
    """
    if not path.is_file():
        raise CatalogueError("There is no such file.", hint="Check how it is written, and where it lies.", path=path)
    reading = read_file(path)
    if reading.preview is None:
        why = reading.faults[0].detail if reading.faults else "nothing could be decoded"
        raise CatalogueError(f"The picture cannot be read: {why}.", hint="Try another copy of it.", path=path)
    photo = decoded(reading.preview)
    index = _index(home)
    seen = extract(photo, limits.SIFT_PHOTO)
    turned = reading.hashes or hashes(photo)
    near = index.candidates(seen, [int(h.value, 16) for h in turned], limits.CANDIDATES)
    known = _known(db, near)
    with thread_pool() as pool:
        seen_in = pool.map(partial(_seen, home, photo, seen), known)
        matches = [(scan, match) for scan, match in zip(known, seen_in, strict=True) if match]
    by_key = {match.key: scan for scan, match in matches}
    return [_match(by_key[match.key], match) for match in rank_matches([match for _, match in matches])[:limit]]


def _seen(home: Home, photo: Bytes, seen: Features, scan: ComparedScan) -> PhotoMatch | None:
    there = side_of(home, scan)
    try:
        return match_photo(photo, seen, scan.sha256, there.features, there.load) if there else None
    except Damaged:
        return None  # its preview is gone: it cannot be shown to match


def _match(scan: ComparedScan, match: PhotoMatch) -> Match:
    return Match(scan.id, scan.sha256, scan.piece_id, scan.role, match)


def similar_scans(db: Database, home: Home, reading: Reading) -> list[tuple[ComparedScan, Evidence]]:
    """Held scans that a file just read resembles, surest first; each evidence has the new file as side a.

    Empty where it has no preview or nothing has been indexed yet.
    """
    folder = feature_cache.index_folder(home)
    if reading.preview is None or not folder.is_dir():
        return []
    photo = decoded(reading.preview)
    side = Side(facts_of_reading(reading), extract(photo), lambda: photo)
    near = retrieval.Index(folder).candidates(
        side.features, [int(h.value, 16) for h in reading.hashes or hashes(photo)], limits.CANDIDATES
    )
    held = [(scan, there) for scan in _known(db, near) if (there := side_of(home, scan))]
    answers = zip(held, against(side, [there for _, there in held]), strict=True)
    similar = [(scan, evidence) for (scan, _), evidence in answers if evidence and evidence.relation.same_piece]
    return sorted(similar, key=lambda pair: -pair[1].sure)


def _known(db: Database, near: Sequence[retrieval.Candidate]) -> list[ComparedScan]:
    """The scans of these candidates, in their order."""
    ids = likenesses.ids_of(db, (c.key for c in near))
    scans = likenesses.compared_scans(db, ids.values())
    return [scans[ids[c.key]] for c in near if c.key in ids]


def decoded(preview: bytes) -> Bytes:
    """A preview's bytes as H×W×3 uint8."""
    picture = cv2.imdecode(np.frombuffer(preview, np.uint8), cv2.IMREAD_COLOR_RGB)
    if picture is None:
        raise CatalogueError("A preview just made cannot be decoded.", hint="Run: catalogue doctor.")
    return np.asarray(picture, np.uint8)


def _index(home: Home) -> retrieval.Index:
    index = retrieval.Index(feature_cache.index_folder(home))
    if not len(index):
        raise CatalogueError("No scan has been compared yet.", hint="Run: catalogue alike")
    return index
