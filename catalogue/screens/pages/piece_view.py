"""Everything the piece page shows, read at once on the reading thread."""

from collections.abc import Mapping
from dataclasses import dataclass

from catalogue.errors import Gone, Refused
from catalogue.ledger import editions as ledger_editions
from catalogue.ledger.editions import State
from catalogue.print_files.recipe import describe, from_json
from catalogue.records import current, editions, files, findings, orders, pieces, print_files, scans
from catalogue.records.database import Database
from catalogue.records.files import Located
from catalogue.records.findings import Finding
from catalogue.records.orders import Line
from catalogue.records.pieces import Piece
from catalogue.records.scans import Scan


@dataclass(frozen=True, slots=True)
class HeldFile:
    """One file of a scan and whether its store is connected now."""

    file: Located
    online: bool

    @property
    def state(self) -> str:
        """``present``, ``missing``, or ``offline``."""
        return "offline" if not self.online else self.file.state


@dataclass(frozen=True, slots=True)
class ScanView:
    """One scan with its files and open findings; of a print file also its ``recipe``, in words, where it is known."""

    scan: Scan
    current: bool
    files: tuple[HeldFile, ...]
    findings: tuple[Finding, ...]
    recipe: str = ""


@dataclass(frozen=True, slots=True)
class PieceView:
    """A piece with everything about it."""

    piece: Piece
    scans: tuple[ScanView, ...]
    lines: tuple[Line, ...]
    editions: tuple[State, ...]
    caution: str = ""   # why the current master is doubtful

    @property
    def master(self) -> ScanView | None:
        """The current master."""
        return next((scan for scan in self.scans if scan.current), None)

    def printed_from(self, line: Line) -> str:
        """Which scan a line was printed from, relative to the piece's present scans."""
        if not line.scan_sha256:
            return "not on record"
        for view in self.scans:
            if view.scan.sha256 == line.scan_sha256:
                return "current master" if view.current else f"another {view.scan.role}"
        return "not in the catalogue"


def _recipe(db: Database, scan: Scan) -> str:
    """The recipe on record of a print file, made or confirmed, in words."""
    if scan.role not in ("print file", "unsorted"):
        return ""
    made = print_files.newest_of_pixels(db, scan.pixel_digest)
    known = made or print_files.confirmed_recipe(db, scan.sha256)
    try:
        return describe(from_json(known.recipe)) if known else ""
    except Refused:
        return "written by a later version of the program"


def piece_view(db: Database, piece_id: int, online: Mapping[int, bool]) -> PieceView:
    """Gather a piece. ``online``: store id to whether it is connected, as last looked.

    Raises:
        Gone.
    """
    piece = pieces.by_id(db, piece_id)
    if piece is None:
        raise Gone("This piece")
    held: dict[int, list[HeldFile]] = {}
    for scan_id, file in files.of_piece(db, piece_id):
        held.setdefault(scan_id, []).append(HeldFile(file, online.get(file.store_id, True)))
    wrong: dict[int, list[Finding]] = {}
    for finding in findings.of_piece(db, piece_id):
        if finding.scan_id is not None:
            wrong.setdefault(finding.scan_id, []).append(finding)
    return PieceView(
        piece,
        tuple(ScanView(scan, scan.id == piece.current_scan_id, tuple(held.get(scan.id, ())),
                       tuple(wrong.get(scan.id, ())), _recipe(db, scan)) for scan in scans.of_piece(db, piece_id)),
        tuple(orders.lines_of_piece(db, piece_id)),
        tuple(ledger_editions.state(db, edition) for edition in editions.of_piece(db, piece_id)),
        current.caution(db, piece_id))
