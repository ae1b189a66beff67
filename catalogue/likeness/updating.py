"""Every scan compared once with all others: the index filled, pairs found, scans filed by what was found."""

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from itertools import islice

from catalogue.errors import Damaged
from catalogue.likeness import retrieval, segments, store
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.examine import Side, against, examine_each, ordered, place_each
from catalogue.likeness.facts import side_of
from catalogue.likeness.features import Bytes, Features
from catalogue.progress import Cancelled, Progress, Report, never, unheard
from catalogue.records import likenesses, scans
from catalogue.records.database import Database, transaction
from catalogue.records.likenesses import ComparedScan
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Updated:
    """What an update did. ``unreadable``: SHA-256 of scans whose preview could not be used."""

    compared: int
    found: int
    unreadable: tuple[str, ...] = ()
    cancelled: bool = False


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
    waiting = likenesses.uncompared(db)
    index = retrieval.Index(folder)
    lost = _fill_index(db, home, index, waiting, report, cancelled)
    if cancelled():
        return Updated(0, 0, tuple(sorted(lost)), cancelled=True)
    compared = found = 0
    for done, (scan_id, _) in enumerate(waiting):
        report(Progress("comparing", done, len(waiting)))
        if cancelled():
            return Updated(compared, found, tuple(sorted(lost)), cancelled=True)
        own = likenesses.compared_scans(db, [scan_id])[scan_id]
        side = _side(home, own, lost)
        if side is None:
            continue  # not marked: it is compared once its preview is there again
        pairs = _compare(db, home, index, own, side, lost)
        with transaction(db):
            for one, two, evidence in pairs:
                likenesses.keep(db, one, two, evidence.relation.value, evidence.sure, evidence.to_json())
            _file(db, pairs)
            likenesses.mark_compared(db, scan_id)
        compared += 1
        found += len(pairs)
    report(Progress("comparing", len(waiting), len(waiting)))
    return Updated(compared, found, tuple(sorted(lost)))


def _fill_index(
    db: Database, home: Home, index: retrieval.Index, waiting: Sequence[tuple[int, str]], report: Report,
    cancelled: Cancelled,
) -> set[str]:
    """Bring into the index whatever scan it lacks, most likely of those that wait to be compared; that is also how it
    is rebuilt. Gives the scans it could not."""
    held = index.keys()
    missing = [(scan_id, sha) for scan_id, sha in waiting if sha not in held]
    if len(held) + len(missing) < likenesses.previews(db):  # the index was lost: what is compared lacks there too
        missing = [(scan_id, sha) for scan_id, sha in likenesses.with_preview(db) if sha not in held]
    lost: set[str] = set()
    done, parts = 0, list[segments.Part]()
    for part in _batches(missing, limits.BATCH):
        if cancelled():
            break
        known = likenesses.compared_scans(db, (scan_id for scan_id, _ in part))
        entries = []
        with ThreadPoolExecutor(home.settings.workers or os.cpu_count()) as pool:
            for (scan_id, sha), made in zip(part, pool.map(lambda item: _features(home, item[1]), part), strict=True):
                done += 1
                report(Progress("features", done, len(missing)))
                if made is None:
                    lost.add(sha)
                else:
                    entries.append(segments.Entry(sha, int(known[scan_id].phash or "0", 16), made))
        if entries:
            parts.append(segments.gathered(entries))
        if parts and (done == len(missing) or sum(len(p.keys) for p in parts) + limits.BATCH > limits.SEGMENT_MOST):
            index.join(parts, cancelled)
            parts = []
    return lost


def _features(home: Home, sha256: str) -> Features | None:
    try:
        return store.features(home, sha256)
    except Damaged:
        return None  # reported as unreadable


def _batches(items: Iterable[tuple[int, str]], size: int) -> Iterator[list[tuple[int, str]]]:
    rest = iter(items)
    while part := list(islice(rest, size)):
        yield part


def _compare(
    db: Database, home: Home, index: retrieval.Index, own: ComparedScan, side: Side, lost: set[str]
) -> list[tuple[int, int, Evidence]]:
    """Pairs found for one scan: with its candidates, with scans that only being filed ties to it, and with whatever
    those were found alike to."""
    near = index.candidates(side.features, [int(h.value, 16) for h in scans.hashes(db, own.id)], limits.CANDIDATES)
    ids = likenesses.ids_of(db, (c.key for c in near))
    done = likenesses.partners(db, own.id) | {own.id}
    found: dict[int, Evidence] = {}

    def look(how: Callable[[Side, list[Side]], list[Evidence | None]], wanted: Sequence[int]) -> set[int]:
        """Examine these, and tell what the ones that show the same piece were found alike to."""
        known = likenesses.compared_scans(db, wanted)
        made = {number: _side(home, known[number], lost) for number in wanted}
        sides = {number: there for number, there in made.items() if there}
        done.update(sides)
        answers = zip(sides, how(side, list(sides.values())), strict=True)
        fresh = {number: evidence for number, evidence in answers if evidence}
        found.update(fresh)
        same = [number for number, evidence in fresh.items() if evidence.relation.same_piece]
        return {partner for number in same for partner in likenesses.partners(db, number)} - done

    filed = [i for i in _filed_with(db, own) if i not in done]
    likely = [ids[c.key] for c in near if c.key in ids] + likenesses.of_same_pixels(db, own.id) + filed
    follow = look(against, [i for i in dict.fromkeys(likely) if i not in done])
    while follow:
        follow = look(examine_each, sorted(follow))
    look(place_each, [i for i in filed if i not in found])
    return [(own.id, other, e) if ordered(e) else (other, own.id, e.swapped()) for other, e in found.items()]


def _filed_with(db: Database, own: ComparedScan) -> list[int]:
    """For a tile the masters of its piece, for a master the tiles: they belong together, only where is to be found."""
    if own.piece_id is None:
        return []
    wanted = {"tile": "master", "master": "tile"}.get(own.role)
    return [s.id for s in scans.of_piece(db, own.piece_id) if s.role == wanted]


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


def _side(home: Home, scan: ComparedScan, lost: set[str]) -> Side | None:
    """As :func:`side_of`, every preview that is gone noted as lost."""
    side = side_of(home, scan)
    if side is None:
        lost.add(scan.sha256)
        return None

    def load() -> Bytes:
        try:
            return side.load()
        except Damaged:
            lost.add(scan.sha256)
            raise

    return replace(side, load=load)
