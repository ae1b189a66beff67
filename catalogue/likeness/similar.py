"""Held scans that a file just read resembles, before it is in the catalogue."""

import cv2
import numpy as np

from catalogue.errors import CatalogueError
from catalogue.likeness import feature_cache, retrieval
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence
from catalogue.likeness.examine import Side, against
from catalogue.likeness.facts import facts_of_reading, side_of
from catalogue.likeness.features import Bytes, extract
from catalogue.likeness.finding import scans_of
from catalogue.reading.model import Reading
from catalogue.reading.preview import hashes
from catalogue.records.database import Database
from catalogue.records.likenesses import ComparedScan
from catalogue.settings import Home


def similar_scans(db: Database, home: Home, reading: Reading) -> list[tuple[ComparedScan, Evidence]]:
    """Held scans that a file just read resembles, surest first; each evidence has the new file as side a.

    Empty if it has no preview or nothing has been indexed yet.
    """
    folder = feature_cache.index_folder(home)
    if reading.preview is None or not folder.is_dir():
        return []
    photo = _decoded(reading.preview)
    side = Side(facts_of_reading(reading), extract(photo), lambda: photo)
    near = retrieval.Index(folder).candidates(
        side.features, [int(h.value, 16) for h in reading.hashes or hashes(photo)], limits.CANDIDATES
    )
    held = [(scan, there) for scan in scans_of(db, near) if (there := side_of(home, scan))]
    answers = zip(held, against(side, [there for _, there in held]), strict=True)
    similar = [(scan, evidence) for (scan, _), evidence in answers if evidence and evidence.relation.same_piece]
    return sorted(similar, key=lambda pair: -pair[1].sure)


def _decoded(preview: bytes) -> Bytes:
    """A preview's bytes as H×W×3 uint8."""
    picture = cv2.imdecode(np.frombuffer(preview, np.uint8), cv2.IMREAD_COLOR_RGB)
    if picture is None:
        raise CatalogueError("A preview just made cannot be decoded.", hint="Run: catalogue doctor.")
    return np.asarray(picture, np.uint8)
