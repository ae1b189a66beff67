"""Comparing every scan once with all others: filling the index, finding pairs, filing scans by the result."""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache, partial

from catalogue.errors import Damaged
from catalogue.indexing.exclusive_lock import exclusive_lock
from catalogue.likeness import feature_cache, retrieval, shards
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.examine import Side, against, examine_each, locate_each, ordered
from catalogue.likeness.facts import side_from
from catalogue.likeness.features import Bytes, Features
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled
from catalogue.records import likenesses, scans
from catalogue.records.database import Database, transaction
from catalogue.records.likenesses import ComparedScan
from catalogue.settings import Home
from catalogue.storage.medium import writing

WHOLES = tuple(relation.value for relation in Relation if relation.whole)
PARTS = (Relation.TILE.value, Relation.DETAIL.value)


@dataclass(frozen=True, slots=True)
class Updated:
    """What an update did. ``unreadable``: SHA-256 of scans whose preview could not be used."""

    compared: int
    pairs: int
    unreadable: tuple[str, ...] = ()
    cancelled: bool = False


@dataclass(frozen=True, slots=True)
class Sources:
    """Features and previews by SHA-256, the last ones kept in memory since the scans of one piece mostly follow each
    other; ``lost`` gathers the scans whose preview is gone."""

    features: Callable[[str], Features]
    preview: Callable[[str], Bytes]
    lost: set[str]

    def side(self, scan: ComparedScan) -> Side | None:
        """As :func:`side_from`, what is gone noted as lost."""
        side = side_from(scan, self.features, self._load)
        if side is None:
            self.lost.add(scan.sha256)
        return side

    def _load(self, sha256: str) -> Bytes:
        try:
            return self.preview(sha256)
        except Damaged:
            self.lost.add(sha256)
            raise


def update(db: Database, home: Home, *, report: Report = ignore_progress, cancelled: Cancelled = never_cancelled,
           again: bool = False) -> Updated:
    """Compare every scan not compared yet with all others. Cut off at any point, the next call carries on.

    ``again`` compares everything again; verdicts stay. Raises Busy when another update is under way.
    """
    with exclusive_lock(home, "likeness"):
        return _update(db, home, report, cancelled, again)


def _update(db: Database, home: Home, report: Report, cancelled: Cancelled, again: bool) -> Updated:
    folder = feature_cache.index_folder(home)
    with writing(folder):
        retrieval.sweep(folder)
    if again:
        with transaction(db):
            likenesses.forget_compared(db)
    waiting = likenesses.uncompared(db)
    index = retrieval.Index(folder)
    lost = _fill_index(db, home, index, waiting, report, cancelled)
    if cancelled():
        return Updated(0, 0, tuple(sorted(lost)), cancelled=True)
    compared = pair_count = 0
    sources = Sources(lru_cache(limits.FEATURES_CACHED)(partial(feature_cache.features, home)),
                      lru_cache(limits.PREVIEWS_CACHED)(partial(feature_cache.preview, home)), lost)
    for done, scan_id in enumerate(waiting):
        report(Progress("comparing", done, len(waiting)))
        if cancelled():
            return Updated(compared, pair_count, tuple(sorted(lost)), cancelled=True)
        own = likenesses.compared_scans(db, [scan_id])[scan_id]
        side = sources.side(own)
        if side is None:
            continue  # not marked: it is compared once its preview is there again
        pairs = _compare(db, index, own, side, sources)
        with transaction(db):
            for a_id, b_id, evidence in pairs:
                likenesses.keep(db, a_id, b_id, evidence.relation.value, evidence.sure, evidence.to_json(),
                                files_together=evidence.relation.same_piece and evidence.sure >= limits.SURE_ENOUGH)
            likenesses.mark_compared(db, scan_id)
        compared += 1
        pair_count += len(pairs)
    report(Progress("comparing", len(waiting), len(waiting)))
    return Updated(compared, pair_count, tuple(sorted(lost)))


def _fill_index(
    db: Database, home: Home, index: retrieval.Index, waiting: Sequence[int], report: Report, cancelled: Cancelled,
) -> set[str]:
    """Bring into the index whatever scan it lacks, most likely of those that wait to be compared; that is also how
    it is rebuilt. Returns the scans it could not."""
    lost = _add_lacking(db, home, index, waiting, report, cancelled)
    if len(index) + len(lost) < likenesses.previews(db) and not cancelled():  # some that were compared were lost
        lost |= _add_lacking(db, home, index, likenesses.with_preview(db), report, cancelled)
    return lost


def _add_lacking(
    db: Database, home: Home, index: retrieval.Index, looked_at: Sequence[int], report: Report, cancelled: Cancelled,
) -> set[str]:
    lost: set[str] = set()
    with ThreadPoolExecutor(home.settings.workers or os.cpu_count()) as pool:
        for start in range(0, len(looked_at), limits.SEGMENT_MOST):
            known = likenesses.compared_scans(db, looked_at[start : start + limits.SEGMENT_MOST])
            held = index.held(scan.sha256 for scan in known.values())
            lacking = [scan for scan in known.values() if scan.sha256 not in held]
            done = start + len(known) - len(lacking)
            parts = []
            for at in range(0, len(lacking), limits.BATCH):
                if cancelled():
                    return lost
                batch, entries = lacking[at : at + limits.BATCH], []
                for scan, made in zip(batch, pool.map(lambda scan: _features(home, scan.sha256), batch), strict=True):
                    done += 1
                    report(Progress("features", done, len(looked_at)))
                    if made is None:
                        lost.add(scan.sha256)
                    else:
                        entries.append(shards.Entry(scan.sha256, int(scan.phash or "0", 16), made))
                if entries:
                    parts.append(shards.gather_entries(entries))
            if parts:
                with writing(index.folder):
                    index.join(parts, cancelled)
    return lost


def _features(home: Home, sha256: str) -> Features | None:
    try:
        return feature_cache.features(home, sha256)
    except Damaged:
        return None  # reported as unreadable


def _compare(
    db: Database, index: retrieval.Index, own: ComparedScan, side: Side, sources: Sources
) -> list[tuple[int, int, Evidence]]:
    """Pairs found for one scan: with its candidates, with scans that only being filed ties to it, and with whatever
    those were found alike to."""
    near = index.candidates(side.features, [int(h.value, 16) for h in scans.hashes(db, own.id)], limits.CANDIDATES)
    ids = likenesses.ids_of(db, (c.key for c in near))
    done = likenesses.partners(db, own.id) | {own.id}
    evidences: dict[int, Evidence] = {}

    def look(how: Callable[[Side, list[Side]], list[Evidence | None]], wanted: Sequence[int]) -> set[int]:
        """Examine these scans; returns the other scans paired with those found to show the same piece."""
        known = likenesses.compared_scans(db, wanted)
        made = {number: sources.side(known[number]) for number in wanted}
        sides = {number: there for number, there in made.items() if there}
        done.update(sides)
        answers = zip(sides, how(side, list(sides.values())), strict=True)
        fresh = {number: evidence for number, evidence in answers if evidence}
        evidences.update(fresh)
        same = [number for number, evidence in fresh.items() if evidence.relation.same_piece]
        return {partner for number in same for partner in likenesses.partners(db, number)} - done

    located = likenesses.is_located(db, own.id, WHOLES, PARTS)
    filed = [i for i in _filed_with(db, own) if i not in done]
    likely = [ids[c.key] for c in near if c.key in ids] + likenesses.of_same_pixels(db, own.id) + filed
    follow = look(partial(against, located=located), [i for i in dict.fromkeys(likely) if i not in done])
    while follow:
        follow = look(examine_each, sorted(follow))
    look(locate_each, [i for i in filed if i not in evidences])
    return [(own.id, other, e) if ordered(e) else (other, own.id, e.swapped()) for other, e in evidences.items()]


def _filed_with(db: Database, own: ComparedScan) -> list[int]:
    """For a tile the masters of its piece, for a master the tiles: they belong together, only where is to be found."""
    if own.piece_id is None:
        return []
    wanted = {"tile": "master", "master": "tile"}.get(own.role)
    return [s.id for s in scans.of_piece(db, own.piece_id) if s.role == wanted]
