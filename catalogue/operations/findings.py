"""Findings: close one as accepted, with a person's reason."""

from dataclasses import dataclass

from catalogue.errors import required
from catalogue.fixity import advice
from catalogue.records import upkeep_lists
from catalogue.records.database import Database
from catalogue.records.findings import Finding
from catalogue.records.paths import display_path
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding that was closed, as it stood, and the reason given."""

    finding: Finding
    reason: str


def accept_finding(db: Database, home: Home, finding_id: int, reason: str) -> Accepted:
    """Close a finding: the reason is logged, and copies of its scan are counted again.

    Raises NotFound: no such finding. Refused: it is damage, which cannot be accepted.
    """
    finding = required(upkeep_lists.finding(db, finding_id), "There is no such finding.")
    advice.accept(db, home.settings, finding_id, reason)
    return Accepted(finding, reason)


def summarize(accepted: Accepted) -> list[str]:
    """Which finding was closed, and why."""
    where = f" of {display_path(accepted.finding.path)}" if accepted.finding.path else ""
    return [f"Closed “{accepted.finding.kind}”{where}: {accepted.reason}"]
