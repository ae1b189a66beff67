"""Of several files with the same bytes, which path describes them best."""

import re
from collections import defaultdict
from collections.abc import Collection
from pathlib import PurePosixPath
from typing import NamedTuple

from catalogue.records.folding import fold_name
from catalogue.records.rows import Database

# "Harbour copy", "Harbour - Copy (2)", "Copy of Harbour": as file managers name a copy; common practice, no source
_COPY = re.compile(r"(?i)^copy of |[ _-]copy(?: ?\(?\d+\)?)?$")


class HeldScan(NamedTuple):
    """A file that holds a scan, and the scan's piece, None if it has none."""

    store_id: int
    path: str
    scan_id: int
    piece_id: int | None


def numbered_twin(path: str) -> str:
    """The path without the `` (2)`` that told it from another of the same name."""
    pure = PurePosixPath(path)
    stem, bracket, rest = pure.stem.rpartition(" (")
    if bracket and rest.endswith(")") and rest[:-1].isdigit():
        return str(pure.with_name(stem + pure.suffix)) if stem else path
    return path


def filed_with_piece(db: Database, candidates: Collection[HeldScan]) -> set[tuple[int, str]]:
    """``(store id, path)`` of those that lie where their piece lies: their folder holds another scan of it. Where a
    scan has no piece, the folder of one piece alone is its place rather than one of many pieces, or of none.
    """
    wanted = {(each.store_id, _folder(each.path)) for each in candidates}
    scans: defaultdict[tuple[int, str], defaultdict[int, set[int]]] = defaultdict(lambda: defaultdict(set))
    for store_id in {store_id for store_id, _ in wanted}:
        for path, scan_id, piece_id in db.execute("""
                SELECT f.path, f.scan_id, s.piece_id FROM file f JOIN scan s ON s.id = f.scan_id
                WHERE f.store_id = ? AND f.state = 'present' AND s.piece_id IS NOT NULL""", [store_id]):
            if (store_id, _folder(path)) in wanted:
                scans[store_id, _folder(path)][piece_id].add(scan_id)

    def filed(each: HeldScan) -> bool:
        pieces = scans[each.store_id, _folder(each.path)]
        return len(pieces) == 1 if each.piece_id is None else bool(pieces[each.piece_id] - {each.scan_id})

    return {(each.store_id, each.path) for each in candidates if filed(each)}


def _folder(path: str) -> str:
    return path.rpartition("/")[0]


def path_rank(path: str, artist: str, title: str, *, filed: bool) -> tuple[bool, int, int, bool, int]:
    """Lower is better: a file that lies where its piece lies (``filed``), a path, and folders above all, that name
    artist and title ("" if the scan has no piece), a name that is no copy's or `` (2)`` of another's, few folders."""
    names = [fold_name(name) for name in (artist, title) if name]
    named, in_folders = (sum(name in fold_name(where) for name in names) for where in (path, _folder(path)))
    copied = numbered_twin(path) != path or bool(_COPY.search(PurePosixPath(path).stem))
    return not filed, -named, -in_folders, copied, len(PurePosixPath(path).parts)
