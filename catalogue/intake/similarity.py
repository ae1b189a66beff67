"""Likeness for intake: which held scans a new one resembles, and, once imported, the recorded likenesses."""

from collections.abc import Sequence
from functools import partial

from catalogue.errors import Busy
from catalogue.intake.guessing import Likeness, SimilarScan
from catalogue.intake.overlap import WITHIN
from catalogue.intake.removing import Taken
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.feature_cache import index_folder
from catalogue.likeness.similar import similar_scans
from catalogue.likeness.updating import update
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.model import Reading
from catalogue.records import likenesses
from catalogue.records.database import Database
from catalogue.settings import Home

STRAGGLERS = 200  # scans not compared yet that are compared along with the new ones


def likeness_of(db: Database, home: Home) -> Likeness | None:
    """A function that finds similar held scans; None while none has been compared."""
    return partial(_kin, db, home) if index_folder(home).is_dir() else None


def _kin(db: Database, home: Home, reading: Reading) -> list[SimilarScan]:
    return [SimilarScan(scan.id, scan.piece_id, relation_of(evidence, scan.role), evidence.sure,
                        "; ".join(evidence.reasons))
            for scan, evidence in similar_scans(db, home, reading)]


def relation_of(evidence: Evidence, held_role: str) -> str:
    """The relation read from the new scan, which is side a: where the held one is the part, "has tile".

    A held tile that lies wholly within a larger picture is one of its tiles, however large a part it is: two captures
    of a small original show more than half of it each.
    """
    part = evidence.overlap_b > evidence.overlap_a
    if part and held_role == "tile" and evidence.overlap_b >= WITHIN > evidence.overlap_a:
        return "has tile"
    if part and evidence.relation in (Relation.TILE, Relation.DETAIL):
        return "has tile" if evidence.relation is Relation.TILE else "has detail"
    return evidence.relation.value


def keep_links(db: Database, home: Home, taken: Sequence[Taken], report: Report = ignore_progress,
               cancelled: Cancelled = never_cancelled) -> int | None:
    """Compare what was just imported with all that is held, so that tiles and masters are linked; returns how many
    likenesses join one of the new scans with one that was held.

    None if far more is waiting to be compared than was taken, which is a work for ``catalogue alike``, and where that
    is under way already.
    """
    if not taken:
        return 0
    if len(likenesses.uncompared(db)) > len(taken) + STRAGGLERS:
        return None
    try:
        update(db, home, report=report, cancelled=cancelled)
    except Busy:
        return None
    return likenesses.count_across(db, {item.sha256 for item in taken})
