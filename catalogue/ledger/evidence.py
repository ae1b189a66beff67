"""Whether two scans of one piece are the same picture, and whether their colours differ, as far as known."""

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from catalogue.likeness.evidence import DELTA_E_SCALE
from catalogue.records import likenesses
from catalogue.records.database import Database
from catalogue.records.scans import Scan
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.likeness.examine import Side

PARTIAL = ("tile of", "detail of")  # relations that read one way only


@dataclass(frozen=True, slots=True)
class Evidence:
    """How last time's scan and another relate. ``delta_e`` is the median CIEDE2000 over both previews laid on each
    other, where it was measured; ``verdict`` a person's: ``confirmed``, ``rejected`` or empty."""

    relation: str
    verdict: str
    delta_e: float | None
    detail: str = ""

    @property
    def text(self) -> str:
        """One line for people."""
        colour = f"colour difference ΔE00 {self.delta_e:.1f} {DELTA_E_SCALE}" if self.delta_e is not None else ""
        judged = f"{self.verdict} by a person" if self.verdict else ""
        return ", ".join(filter(None, (self.relation, colour, self.detail, judged)))


def known(db: Database, used: Scan, other: Scan) -> Evidence | None:
    """What digests and recorded likenesses tell of last time's scan and another; None if nothing does."""
    if used.pixel_digest and used.pixel_digest == other.pixel_digest:
        return Evidence("same pixels", "", 0.0, "only the metadata differs")
    row = next((row for row in likenesses.of_scan(db, used.id) if other.id in (row.a_scan_id, row.b_scan_id)), None)
    if row is None:
        return None
    stored = json.loads(row.evidence)
    return _evidence(row.relation, row.verdict, stored["delta_e_median"], stored["detail_ratio"],
                     used_first=row.a_scan_id == used.id)


def measured(db: Database, home: Home, used: Scan, other: Scan) -> Evidence | None:
    """Lay the two previews on each other now and measure, in about a second; None if one cannot be had.

    Nothing is recorded.
    """
    from catalogue.likeness.examine import examine, ordered

    sides = _side(db, home, used), _side(db, home, other)
    if sides[0] is None or sides[1] is None:
        return None
    evidence = examine(sides[0], sides[1])
    if evidence is None:
        return Evidence("no similarity found", "", None)
    return _evidence(str(evidence.relation), "", evidence.delta_e_median, evidence.detail_ratio,
                     used_first=ordered(evidence), ratio_from_used=True)


def _evidence(relation: str, verdict: str, delta_e: float | None, ratio: float | None, *, used_first: bool,
              ratio_from_used: bool | None = None) -> Evidence:
    """``ratio``: pixels of the first for one of the second along the artwork; the first is last time's scan, or
    else the other one, as ``ratio_from_used`` says where it departs from ``used_first``."""
    if relation in PARTIAL:
        relation = f"last time's is a {relation} it" if used_first else f"it is a {relation} last time's"
    from_used = used_first if ratio_from_used is None else ratio_from_used
    detail = ""
    if ratio:
        finer = 1 / ratio if from_used else ratio
        detail = "as fine on the artwork" if abs(finer - 1) <= 0.02 else f"{finer:.2f} × the pixels across the artwork"
    return Evidence(relation, verdict, delta_e, detail)


def _side(db: Database, home: Home, scan: Scan) -> "Side | None":
    from catalogue.likeness.facts import side_of

    return side_of(home, likenesses.compared_scans(db, [scan.id])[scan.id])
