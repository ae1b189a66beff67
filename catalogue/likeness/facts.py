"""The facts about a scan that comparing needs, from the catalogue or from a reading."""

import json
from collections.abc import Callable
from functools import partial

from catalogue.errors import Damaged
from catalogue.likeness import feature_cache
from catalogue.likeness.evidence import ScanFacts
from catalogue.likeness.examine import Side
from catalogue.likeness.features import Bytes, Features
from catalogue.reading.model import Reading
from catalogue.records.likenesses import ComparedScan
from catalogue.settings import Home


def facts_of(scan: ComparedScan) -> ScanFacts:
    """The facts of a scan in the catalogue."""
    return ScanFacts(
        scan.sha256,
        scan.width or 1,
        scan.height or 1,
        scan.pixel_digest,
        scan.bits or 8,
        scan.ppi_x,
        scan.profile_name,
        scan.format,
        scan.captured,
        scan.role,
        any(note["kind"] == "upscaled" for note in json.loads(scan.notes)),
    )


def side_of(home: Home, scan: ComparedScan) -> Side | None:
    """A scan of the catalogue as one side of a pair; see :func:`side_from`."""
    return side_from(scan, partial(feature_cache.features, home), partial(feature_cache.preview, home))


def side_from(scan: ComparedScan, features_of: Callable[[str], Features],
              preview_of: Callable[[str], Bytes]) -> Side | None:
    """``None`` if it has neither features nor a preview to make them from: nothing can be shown of it until
    `catalogue index --again` makes the preview again."""
    try:
        features = features_of(scan.sha256)
    except Damaged:
        return None
    return Side(facts_of(scan), features, partial(preview_of, scan.sha256))


def facts_of_reading(reading: Reading, role: str = "unsorted") -> ScanFacts:
    """The facts of a file just read, not yet in the catalogue."""
    p = reading.picture
    return ScanFacts(
        reading.sha256, p.width if p else 1, p.height if p else 1, reading.pixel_digest, p.bits if p else 8,
        p.ppi_x if p else None, p.profile_name if p else "", reading.format, reading.metadata.captured, role,
        any(note.kind == "upscaled" for note in reading.notes),
    )
