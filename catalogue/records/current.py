"""The rule that decides which scan of a piece is its current master, with reasons, and its application."""

from collections.abc import Iterable
from dataclasses import dataclass

from catalogue.records.copies import HELD
from catalogue.records.rows import Database, fetch, fetch_among


@dataclass(frozen=True, slots=True)
class Candidate:
    """A scan as the choice of a master sees it. ``present``: a file of it is where it should be, or its store was
    offline at the last look; ``sound``: one of them is a sound copy (``records.copies``); ``genuine``: not enlarged;
    ``part``: shows less than the whole; ``captured`` is ISO 8601 or empty."""

    id: int
    sha256: str
    role: str
    width: int
    height: int
    bits: int
    profiled: int
    captured: str
    present: int
    sound: int
    genuine: int
    part: bool = False

    @property
    def pixels(self) -> int:
        return self.width * self.height


@dataclass(frozen=True, slots=True)
class Proposal:
    """Which scan should be the current master, and why it before the next best."""

    scan_id: int
    sha256: str
    reasons: tuple[str, ...]


def propose(candidates: Iterable[Candidate]) -> Proposal | None:
    """The best master: there and sound, a whole master, true pixels, most of them (within a tenth they count as equal:
    margins differ from scan to scan), 16 bit, a profile, the newest.

    Parts, print files and references are considered only where nothing else is there. Between equals the one known
    first stays: a mere re-save must not take a master's place.
    """
    known = sorted(candidates, key=lambda c: c.id)
    if not known:
        return None
    most: dict[tuple[int, int, bool, int], int] = {}
    for c in known:
        most[_rank(c)] = max(most.get(_rank(c), 0), c.pixels)
    ranked = sorted(known, key=lambda c: (*_rank(c), c.pixels >= 0.9 * most[_rank(c)], c.bits >= 16, c.profiled,
                                          c.captured), reverse=True)
    best = ranked[0]
    reasons = [f"{best.width} × {best.height} px" + ("" if best.genuine else ", though enlarged")]
    reasons += _advantages(best, ranked[1]) if len(ranked) > 1 else []
    return Proposal(best.id, best.sha256, tuple(reasons))


def _rank(c: Candidate) -> tuple[int, int, bool, int]:
    return c.present, c.sound, not c.part and c.role in ("master", "unsorted"), c.genuine


def _advantages(best: Candidate, other: Candidate) -> list[str]:
    reasons = []
    if best.present and not other.present:
        reasons.append("the next one's files are missing")
    elif best.sound and not other.sound:
        reasons.append("the next one is not sound")
    ratio = best.pixels / max(1, other.pixels)
    if ratio > 1.1:
        reasons.append(f"{ratio:.1f} times the pixels of the next")
    if best.genuine and not other.genuine:
        reasons.append("the next is enlarged")
    if best.bits >= 16 > other.bits:
        reasons.append(f"{best.bits} bit against {other.bits}")
    if best.profiled and not other.profiled:
        reasons.append("has a colour profile")
    if best.captured and other.captured and best.captured > other.captured:
        reasons.append("newer")
    return reasons


_CANDIDATE = f"""
    SELECT c.id, c.sha256, c.role, coalesce(c.width, 0) AS width, coalesce(c.height, 0) AS height,
           coalesce(c.bits, 0) AS bits, profile_name || profile_digest <> '' AS profiled, c.captured,
           EXISTS (SELECT 1 FROM {HELD} h WHERE h.scan_id = c.id AND h.present) AS present,
           EXISTS (SELECT 1 FROM {HELD} h WHERE h.scan_id = c.id AND h.sound) AS sound,
           NOT EXISTS (SELECT 1 FROM json_each(c.notes) n WHERE n.value ->> 'kind' = 'upscaled') AS genuine
    FROM scan c"""


def candidates(db: Database, scan_ids: Iterable[int]) -> list[Candidate]:
    """Scans by id, as the choice sees them."""
    return fetch_among(db, Candidate, f"{_CANDIDATE} WHERE c.id IN", scan_ids)


def masters(db: Database, piece_id: int) -> list[Candidate]:
    """The masters of a piece."""
    return fetch(db, Candidate, _CANDIDATE + " WHERE c.piece_id = ? AND c.role = 'master'", [piece_id])


def update_current(db: Database, piece_id: int) -> None:
    """Set a piece's current master: the one a person chose while it is a scan of this piece, else the proposal."""
    chosen = db.execute("""SELECT c.id FROM piece_stated s JOIN scan c ON c.sha256 = s.current_sha256
                           WHERE s.piece_id = ?1 AND c.piece_id = ?1 AND c.role = 'master'""", [piece_id]).fetchone()
    proposal = None if chosen is not None else propose(masters(db, piece_id))
    scan_id = chosen[0] if chosen is not None else proposal.scan_id if proposal else None
    source = "person" if chosen is not None else "proposed"
    db.execute("""UPDATE piece SET current_scan_id = ?1, current_source = ?2
                  WHERE id = ?3 AND (current_scan_id IS NOT ?1 OR current_source <> ?2)""",
               [scan_id, source, piece_id])


def caution(db: Database, piece_id: int) -> str:
    """A warning about a current master chosen by a person; "" if there is none."""
    row = db.execute("SELECT current_scan_id, current_source FROM piece WHERE id = ?", [piece_id]).fetchone()
    if row is None or row[1] != "person" or row[0] is None:
        return ""
    known = masters(db, piece_id)
    own = next((c for c in candidates(db, [row[0]])), None)
    proposal = propose(known)
    better = next((c for c in known if proposal and c.id == proposal.scan_id), None)
    if own is None or better is None or better.id == own.id or (own.present and own.sound):
        return ""
    state = "its files are missing" if not own.present else "no sound copy of it is known"
    return f"You chose this master, but {state}; {better.sha256[:12]}… is available and could be made current."
