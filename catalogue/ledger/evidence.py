"""What is known of two scans of one piece: are they the same picture, and does colour depart?"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from catalogue.records.scans import Scan
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.likeness.evidence import Evidence as Found
    from catalogue.likeness.examine import Side


@dataclass(frozen=True, slots=True)
class Evidence:
    """How last time's scan and another relate. ``delta_e`` is the median CIEDE2000 over both previews laid on each
    other, where it was measured; ``detail`` how finely the other holds the artwork, against last time's."""

    relation: str
    verdict: str            # a person's: "confirmed", "rejected", or ""
    delta_e: float | None
    detail: str = ""

    @property
    def text(self) -> str:
        """One line for people."""
        colour = f"median ΔE00 {self.delta_e:.1f}" if self.delta_e is not None else ""
        return ", ".join(filter(None, (self.relation, colour, self.detail, self.verdict)))


def measured(home: Home, used: Scan, other: Scan) -> Evidence | None:
    """Lay the two previews on each other now and measure, in about a second; None where one cannot be had.

    Nothing is recorded.
    """
    from catalogue.likeness.examine import examine

    sides = _side(home, used), _side(home, other)
    if sides[0] is None or sides[1] is None:
        return None
    found = examine(sides[0], sides[1])
    return Evidence("nothing alike found", "", None) if found is None else of_likeness(found)


def of_likeness(found: "Found", verdict: str = "") -> Evidence:
    """What likeness found of (last time's scan, the other one), in the ledger's terms."""
    detail = ""
    if found.detail_ratio:
        ratio = 1 / found.detail_ratio
        detail = f"{ratio:.2f} × the pixels across the artwork" if abs(ratio - 1) > 0.02 else "as fine on the artwork"
    return Evidence(str(found.relation), verdict, found.delta_e_median, detail)


def by_digests(used: Scan, other: Scan) -> Evidence | None:
    """What the digests alone tell, at no cost."""
    if used.pixel_digest and used.pixel_digest == other.pixel_digest:
        return Evidence("same pixels", "", 0.0, "only what is written beside the picture differs")
    return None


def _side(home: Home, scan: Scan) -> "Side | None":
    from catalogue.likeness.evidence import ScanFacts
    from catalogue.likeness.examine import Side
    from catalogue.likeness.features import extract, load_preview

    if not scan.width or not scan.height:
        return None
    try:
        preview = load_preview(home.preview(scan.sha256))
    except (FileNotFoundError, ValueError):  # never made, or damaged: it can be made again by indexing
        return None
    facts = ScanFacts(scan.sha256, scan.width, scan.height, scan.pixel_digest, scan.bits or 8, scan.ppi_x,
                      scan.profile_digest, scan.format, scan.captured, "", scan.role)
    return Side(facts, extract(preview), lambda: preview)
