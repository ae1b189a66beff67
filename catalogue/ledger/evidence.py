"""What is known of two scans of one piece: are they the same picture, and does colour depart?"""

from dataclasses import dataclass

from catalogue.records.database import Database
from catalogue.records.scans import Scan


@dataclass(frozen=True, slots=True)
class Evidence:
    """How last time's scan and the current master relate. ``delta_e`` is the median CIEDE2000, where measured."""

    relation: str
    verdict: str            # a person's: "confirmed", "rejected", or ""
    delta_e: float | None
    detail: str

    @property
    def text(self) -> str:
        """One line for people."""
        colour = f"median ΔE00 {self.delta_e:.1f}" if self.delta_e is not None else ""
        return ", ".join(filter(None, (self.relation, colour, self.detail, self.verdict)))


def between(db: Database, used: Scan, current: Scan) -> Evidence | None:  # noqa: ARG001
    """The recorded relation of two scans, or None where nothing is known."""
    if used.pixel_digest and used.pixel_digest == current.pixel_digest:
        return Evidence("same pixels", "", 0.0, "only what is written beside the picture differs")
    return None
