"""Likeness as commands and screens ask for it: bring it up to date, list groups, judge, find by a picture."""

import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

from catalogue.errors import NotFound, Refused
from catalogue.likeness import grouping, retrieval, store, tiles
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.examine import Side, examine, ordered
from catalogue.likeness.facts import facts_of
from catalogue.likeness.features import Features
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records import likenesses, pieces, scans
from catalogue.records.database import Database, transaction
from catalogue.records.likenesses import ComparedScan, LikenessRow
from catalogue.settings import Home

VERDICTS = ("confirmed", "rejected", "")


@dataclass(frozen=True, slots=True)
class Updated:
    """What an update did. ``unreadable``: SHA-256 of scans whose preview could not be used."""

    compared: int
    found: int
    unreadable: tuple[str, ...] = ()
    cancelled: bool = False


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
    for some, is what a person may want to settle. ``proposed``: SHA-256 of the proposed current master."""

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
    """``groups``, widest first; ``apart``: look-alikes and pairs that cannot be told; ``doubtful``: those of them that
    the catalogue files under one piece all the same, or under none; ``refused``: pairs whose geometry contradicts a
    group, with the reason."""

    groups: tuple[GroupView, ...]
    apart: tuple[Pair, ...]
    doubtful: tuple[Pair, ...]
    refused: tuple[tuple[Pair, str], ...]


# --- update --------------------------------------------------------------------------------------------


def update(db: Database, home: Home, *, report: Report = unheard, cancelled: Cancelled = never,
           again: bool = False) -> Updated:
    """Compare every scan not compared yet with all others. Cut off at any point, the next call carries on.

    ``again`` compares everything anew; verdicts stay.
    """
    folder = store.index_folder(home)
    retrieval.sweep(folder)
    if again:
        with transaction(db):
            likenesses.forget_compared(db)
    unreadable = _fill_index(db, home, folder, report, cancelled)
    if cancelled():
        return Updated(0, 0, tuple(unreadable), cancelled=True)
    index = retrieval.Index(folder)
    waiting = likenesses.uncompared(db)
    found = 0
    for done, scan_id in enumerate(waiting):
        report(Progress("comparing", done, len(waiting)))
        if cancelled():
            return Updated(done, found, tuple(unreadable), cancelled=True)
        pairs = _compare(db, home, index, scan_id)
        with transaction(db):
            for one, two, evidence in pairs:
                likenesses.keep(db, one, two, evidence.relation.value, evidence.sure, evidence.to_json())
            _file(db, pairs)
            likenesses.mark_compared(db, scan_id)
        found += len(pairs)
    report(Progress("comparing", len(waiting), len(waiting)))
    return Updated(len(waiting), found, tuple(unreadable))


def _fill_index(db: Database, home: Home, folder: Path, report: Report, cancelled: Cancelled) -> list[str]:
    """Bring into the index whatever scan it lacks; that is also how it is rebuilt."""
    held = retrieval.Index(folder).keys()
    missing = [(scan_id, sha) for scan_id, sha in likenesses.with_preview(db) if sha not in held]
    unreadable: list[str] = []
    done = 0
    fresh = not held
    parts = _batches(missing, limits.BATCH_FIRST if fresh else limits.BATCH)
    for part in parts:
        if cancelled():
            break
        known = likenesses.compared_scans(db, (scan_id for scan_id, _ in part))
        entries = []
        with ThreadPoolExecutor(home.settings.workers or os.cpu_count()) as pool:
            for (scan_id, sha), made in zip(part, pool.map(lambda item: _features(home, item[1]), part), strict=True):
                done += 1
                report(Progress("features", done, len(missing)))
                if made is None:
                    unreadable.append(sha)
                else:
                    entries.append(retrieval.Entry(sha, int(known[scan_id].phash or "0", 16), made))
        retrieval.Index(folder).add(entries, cancelled)
    return unreadable


def _features(home: Home, sha256: str) -> Features | None:
    try:
        return store.features(home, sha256)
    except (OSError, ValueError):
        return None  # the preview is gone or damaged; reported as unreadable


def _batches(items: Iterable[tuple[int, str]], size: int) -> Iterator[list[tuple[int, str]]]:
    rest = iter(items)
    while part := list(islice(rest, size)):
        yield part


def _compare(db: Database, home: Home, index: retrieval.Index, scan_id: int) -> list[tuple[int, int, Evidence]]:
    """Pairs found for one scan: with its candidates, and with whatever those were found alike to."""
    own = likenesses.compared_scans(db, [scan_id])[scan_id]
    side = _side(home, own)
    if side is None:
        return []
    near = index.candidates(side.features, [int(h.value, 16) for h in scans.hashes(db, scan_id)], limits.CANDIDATES)
    ids = list(likenesses.ids_of(db, (c.key for c in near if c.key != own.sha256)).values())
    ids += [i for i in likenesses.of_same_pixels(db, scan_id) if i not in ids]
    done = likenesses.partners(db, scan_id) | {scan_id}
    found: list[tuple[int, int, Evidence]] = []
    queue = [i for i in ids if i not in done]
    while queue:
        others = likenesses.compared_scans(db, queue)
        follow: set[int] = set()
        for other in others.values():
            done.add(other.id)
            there = _side(home, other)
            evidence = examine(side, there) if there else None
            if evidence is None:
                continue
            found.append(
                (scan_id, other.id, evidence) if ordered(evidence) else (other.id, scan_id, evidence.swapped())
            )
            if evidence.relation.same_piece:
                follow |= likenesses.partners(db, other.id)
        queue = sorted(follow - done)
    return found


def _file(db: Database, pairs: list[tuple[int, int, Evidence]]) -> None:
    """File scans that are filed nowhere yet with the one piece they surely show, and note what is plainly a tile."""
    sure = [(one, two, e) for one, two, e in pairs if e.relation.same_piece and e.sure >= limits.SURE_ENOUGH]
    known = likenesses.compared_scans(db, {s for one, two, _ in sure for s in (one, two)})
    offered: dict[int, set[int]] = {}
    for one, two, evidence in sure:
        for scan, other in ((known[one], known[two]), (known[two], known[one])):
            if scan.piece_id is None and other.piece_id is not None:
                offered.setdefault(scan.id, set()).add(other.piece_id)
        if evidence.relation is Relation.TILE and known[one].role == "unsorted" and known[one].role_source == "guess":
            scans.set_role(db, one, "tile", "guess")
    for scan_id, choice in offered.items():
        if len(choice) == 1:
            scans.set_piece(db, scan_id, choice.pop(), "likeness")


def _side(home: Home, scan: ComparedScan) -> Side | None:
    made = _features(home, scan.sha256)
    return Side(facts_of(scan), made, lambda: store.preview(home, scan.sha256)) if made else None


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
    views = [_view(group, by_sha, back) for group in gathered]
    grouped = {pair.id for view in views for pair in view.pairs} | {back[id(r.link)].id for r in refused}
    apart = [p for p in pairs.values() if p.id not in grouped and p.verdict == ""]
    return Groups(
        tuple(sorted(views, key=lambda v: (-len(v.members), v.members[0].scan_id))), tuple(apart),
        tuple(p for p in apart if _doubtful(known[p.a_scan_id].piece_id, known[p.b_scan_id].piece_id)),
        tuple((back[id(r.link)], r.reason) for r in refused),
    )


def _doubtful(one: int | None, two: int | None) -> bool:
    return one is None or two is None or one == two


def _pair(row: LikenessRow) -> Pair:
    return Pair(row.id, row.a_scan_id, row.b_scan_id, Evidence.from_json(row.evidence), row.verdict)


def _view(group: grouping.Group, known: dict[str, ComparedScan], back: dict[int, Pair]) -> GroupView:
    members = tuple(Member(s.id, s.sha256, s.role, s.piece_id, facts_of(s)) for s in (known[k] for k in group.scans))
    partial = {link.a for link in group.links if link.evidence.relation in (Relation.TILE, Relation.DETAIL)}
    chosen = grouping.propose_current((m.facts for m in members), partial)
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

    A confirmed scan without a piece takes the other's; a rejected one gives back a piece it got by likeness alone.
    """
    if verdict not in VERDICTS:
        raise Refused(f"{verdict!r} is no verdict.", hint="Say confirmed or rejected.")
    with transaction(db):
        row = likenesses.by_id(db, likeness_id)
        if row is None:
            raise NotFound(f"There is no likeness {likeness_id}.", hint="List them: catalogue alike.")
        likenesses.set_verdict(db, likeness_id, verdict)
        if verdict == "confirmed":
            _share_piece(db, row)
        elif verdict == "rejected":
            _part_pieces(db, row)
    return replace(_pair(row), verdict=verdict)


def _share_piece(db: Database, row: LikenessRow) -> None:
    both = likenesses.compared_scans(db, [row.a_scan_id, row.b_scan_id])
    one, two = both[row.a_scan_id], both[row.b_scan_id]
    for scan, other in ((one, two), (two, one)):
        if scan.piece_id is None and other.piece_id is not None:
            scans.set_piece(db, scan.id, other.piece_id, "likeness")
            pieces.propose_current(db, other.piece_id)


def _part_pieces(db: Database, row: LikenessRow) -> None:
    both = likenesses.compared_scans(db, [row.a_scan_id, row.b_scan_id])
    one, two = both[row.a_scan_id], both[row.b_scan_id]
    if one.piece_id is None or one.piece_id != two.piece_id:
        return
    for scan in (one, two):
        if scan.piece_source == "likeness":
            scans.set_piece(db, scan.id, None, "guess")
            pieces.propose_current(db, one.piece_id)


def tile_places(db: Database, piece_id: int) -> tuple[ComparedScan, list[tiles.Place]] | None:
    """The piece's whole scan with most tiles placed in it, and their places; ``None`` if no tile is known."""
    members = likenesses.compared_scans(db, (s.id for s in scans.of_piece(db, piece_id)))
    placed: dict[int, list[tiles.Place]] = {}
    for scan_id in members:
        for row in likenesses.of_scan(db, scan_id):
            if row.b_scan_id == scan_id and row.relation == Relation.TILE.value and row.verdict != "rejected":
                placed.setdefault(scan_id, []).append(tiles.place(row.a_sha256, Evidence.from_json(row.evidence)))
    if not placed:
        return None
    whole = max(placed, key=lambda i: (len(placed[i]), i))
    return members[whole], sorted(placed[whole], key=lambda p: (round(p.box[1], 1), p.box[0]))
