"""Likenesses as commands and screens use them: groups, verdicts, relations of one scan, tiles."""

from dataclasses import dataclass, replace

from catalogue.errors import NotFound, Refused
from catalogue.likeness import grouping, tiles
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.facts import facts_of
from catalogue.records import current, likenesses, scans
from catalogue.records.current import Candidate
from catalogue.records.database import Database, transaction
from catalogue.records.likenesses import ComparedScan, LikenessRow

VERDICTS = ("confirmed", "rejected", "")


@dataclass(frozen=True, slots=True)
class Pair:
    """One likeness, reading "a RELATION b"; ``id`` names it for a verdict."""

    id: int
    a_scan_id: int
    b_scan_id: int
    evidence: Evidence
    verdict: str


@dataclass(frozen=True, slots=True)
class Member:
    """One scan of a group."""

    scan_id: int
    sha256: str
    role: str
    piece_id: int | None
    facts: ScanFacts


@dataclass(frozen=True, slots=True)
class GroupView:
    """Scans found to show one piece. ``pieces``: ids of the pieces they are filed under now; more than one, or none
    for some, is something a person may want to decide. ``proposed``: SHA-256 of the proposed current master."""

    members: tuple[Member, ...]
    pairs: tuple[Pair, ...]
    pieces: tuple[int, ...]
    proposed: str
    reasons: tuple[str, ...]

    @property
    def unreviewed(self) -> bool:
        """Whether a person should look: not everything is filed under one piece, or some pair is not quite sure."""
        return bool(self.questions)

    @property
    def questions(self) -> tuple[Pair, ...]:
        """The pairs without a verdict that want one."""
        filed = {m.scan_id: m.piece_id for m in self.members}
        return tuple(p for p in self.pairs if not p.verdict and (
            p.evidence.sure < limits.SURE_ENOUGH or filed[p.a_scan_id] is None
            or filed[p.a_scan_id] != filed[p.b_scan_id]))


@dataclass(frozen=True, slots=True)
class Groups:
    """``groups``, widest first; ``ungrouped``: look-alikes and undecidable pairs; ``doubtful``: those of them that
    the catalogue files under one piece all the same, or under none; ``refused``: pairs whose geometry contradicts a
    group, with the reason."""

    groups: tuple[GroupView, ...]
    ungrouped: tuple[Pair, ...]
    doubtful: tuple[Pair, ...]
    refused: tuple[tuple[Pair, str], ...]


# --- groups and verdicts -------------------------------------------------------------------------------


def groups(db: Database) -> Groups:
    """Every group with its evidence, what was kept apart, and what contradicts a group."""
    rows = likenesses.listed(db)
    pairs = {row.id: _pair(row) for row in rows}
    links = {row.id: grouping.Link(row.a_sha256, row.b_sha256, pairs[row.id].evidence, row.verdict) for row in rows}
    back = {id(link): pairs[number] for number, link in links.items()}
    gathered, refused = grouping.gather(links.values())
    known = likenesses.compared_scans(db, {s for row in rows for s in (row.a_scan_id, row.b_scan_id)})
    by_sha = {scan.sha256: scan for scan in known.values()}
    standing = {c.id: c for c in current.candidates(db, known)}
    views = [_view(group, by_sha, back, standing) for group in gathered]
    grouped = {pair.id for view in views for pair in view.pairs} | {back[id(r.link)].id for r in refused}
    ungrouped = [p for p in pairs.values() if p.id not in grouped and p.verdict == ""]
    return Groups(
        tuple(sorted(views, key=lambda v: (-len(v.members), v.members[0].scan_id))), tuple(ungrouped),
        tuple(p for p in ungrouped if _doubtful(known[p.a_scan_id].piece_id, known[p.b_scan_id].piece_id)),
        tuple((back[id(r.link)], r.reason) for r in refused),
    )


def _doubtful(piece_a: int | None, piece_b: int | None) -> bool:
    return piece_a is None or piece_b is None or piece_a == piece_b


def _pair(row: LikenessRow) -> Pair:
    return Pair(row.id, row.a_scan_id, row.b_scan_id, Evidence.from_json(row.evidence), row.verdict)


def _view(group: grouping.Group, known: dict[str, ComparedScan], back: dict[int, Pair],
          standing: dict[int, Candidate]) -> GroupView:
    members = tuple(Member(s.id, s.sha256, s.role, s.piece_id, facts_of(s)) for s in (known[k] for k in group.scans))
    partial = {link.a for link in group.links if link.evidence.relation in (Relation.TILE, Relation.DETAIL)}
    chosen = current.propose(replace(standing[m.scan_id], part=m.sha256 in partial) for m in members)
    return GroupView(
        members, tuple(back[id(link)] for link in group.links),
        tuple(sorted({m.piece_id for m in members if m.piece_id is not None})),
        chosen.sha256 if chosen else "", chosen.reasons if chosen else (),
    )


def of_scan(db: Database, scan_id: int) -> list[Pair]:
    """What one scan has to do with others, surest first; rejected pairs left out."""
    return [_pair(row) for row in likenesses.of_scan(db, scan_id) if row.verdict != "rejected"]


def judge(db: Database, likeness_id: int, verdict: str) -> Pair:
    """Keep a person's verdict: ``confirmed``, ``rejected``, or empty to take it back. It is never asked again.

    A scan that neither a person nor its path and tags file is filed where confirmed pairs tie it, and leaves a piece
    that a rejected pair alone tied it to (``records.effective``).
    """
    if verdict not in VERDICTS:
        raise Refused(f"{verdict!r} is not a verdict.", hint="Say confirmed or rejected.")
    with transaction(db):
        judged = pair(db, likeness_id)
        likenesses.set_verdict(db, likeness_id, verdict)
    return replace(judged, verdict=verdict)


def pair(db: Database, likeness_id: int) -> Pair:
    """One pair by its number. Raises NotFound."""
    row = likenesses.by_id(db, likeness_id)
    if row is None:
        raise NotFound(f"There is no likeness {likeness_id}.", hint="List them: catalogue alike.")
    return _pair(row)


def tile_positions(db: Database, piece_id: int) -> tuple[ComparedScan, list[tiles.TilePosition]] | None:
    """The piece's whole scan with most tiles placed in it, and their places; ``None`` if no tile is known.

    A tile is a scan found to be one, or one whose role is tile and that lies within the whole.
    """
    members = likenesses.compared_scans(db, (s.id for s in scans.of_piece(db, piece_id)))
    positions: dict[int, list[tiles.TilePosition]] = {}
    for scan_id, whole in members.items():
        for row in likenesses.of_scan(db, scan_id):
            evidence = Evidence.from_json(row.evidence)
            tile_id, tile = row.a_scan_id, row.a_sha256
            if row.a_scan_id == scan_id:
                tile_id, tile, evidence = row.b_scan_id, row.b_sha256, evidence.swapped()
            tile_scan = members.get(tile_id)
            if row.verdict != "rejected" and _tile_in(evidence, tile_scan.role if tile_scan else "", whole.role):
                positions.setdefault(scan_id, []).append(tiles.tile_position(tile, evidence))
    if not positions:
        return None
    best = max(positions, key=lambda i: (len(positions[i]), i))
    return members[best], sorted(positions[best], key=lambda p: (round(p.box[1], 1), p.box[0]))


def _tile_in(evidence: Evidence, role: str, whole_role: str) -> bool:
    """Whether evidence, tile first, places a tile (of a role) in a whole."""
    inside = evidence.overlap_a > evidence.overlap_b
    if evidence.relation is Relation.TILE:
        return inside
    kept_so = role == "tile" and whole_role != "tile"
    return kept_so and evidence.relation.whole and inside and evidence.overlap_a >= limits.CONTAINED
