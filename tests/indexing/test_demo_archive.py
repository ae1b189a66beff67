"""The demo archive, indexed, damaged and audited, against its truth: who painted what, in which role, and what is wrong
with which file.

The truth was written when the files were painted, never read back from them.
"""

import json
import shutil
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from catalogue.commands.demo import damage_disks
from catalogue.fixity import copies
from catalogue.fixity.audit import audit
from catalogue.fixity.copies import review
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import browsing, files, findings, pieces, scans, stores
from catalogue.records.database import Database, open_database
from catalogue.settings import Home

ARCHIVE = Path(__file__).parents[2] / "demo_archive"


def threads(workers: int) -> Executor:
    return ThreadPoolExecutor(workers)


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return dict(json.loads((ARCHIVE / "truth.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Database:
    folder = tmp_path_factory.mktemp("demo")
    home, disks = Home(folder / "home"), folder / "disks"
    shutil.copytree(ARCHIVE, disks)
    home.folder.mkdir()
    db = open_database(home.database)
    for name, kind in (("main-disk", "primary"), ("copy-disk", "copy")):
        add_store(db, name, disks / name, kind, consent=True)
    both = stores.listed(db)
    index(db, home, both, executors=threads, workers=2)
    assert findings.by_kind(db) == {"no profile": 1}
    damage_disks(disks)
    index(db, home, both, executors=threads, workers=2)
    audit(db, home, both)
    review(db, home.settings)
    return db


def stored(db: Database, place: str) -> files.File:
    store, _, path = place.partition("/")
    file = files.by_path(db, stores.by_name(db, store).id, path)
    assert file is not None, place
    return file


def pictures(truth: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {place: facts for place, facts in truth["files"].items()
            if place.split("/")[0] in ("main-disk", "copy-disk")}


def test_every_file_is_known_by_its_digest(demo: Database, truth: dict[str, Any]) -> None:
    for place, facts in pictures(truth).items():
        scan = scans.by_id(demo, stored(demo, place).scan_id or 0)
        assert scan is not None and (scan.sha256, scan.bytes) == (facts["sha256"], facts["bytes"]), place


def test_artist_piece_and_role(demo: Database, truth: dict[str, Any]) -> None:
    wrong = []
    for place, facts in pictures(truth).items():
        scan = scans.by_id(demo, stored(demo, place).scan_id or 0)
        if scan is None or facts["artist"] is None:
            continue
        piece = pieces.by_id(demo, scan.piece_id or 0)
        told = (piece and piece.artist, piece and piece.title, scan.role)
        if told != (facts["artist"], facts["piece"], facts["role"]):
            wrong.append((place, told))
    assert wrong == []


def test_no_artist_or_piece_is_invented(demo: Database, truth: dict[str, Any]) -> None:
    assert {a.name for a in pieces.artists(demo)} == set(truth["artists"])
    assert {p.title for p in browsing.pieces(demo, None, None, 500)} <= set(truth["pieces"])


def test_structure_is_as_painted(demo: Database, truth: dict[str, Any]) -> None:
    for place, facts in pictures(truth).items():
        scan = scans.by_id(demo, stored(demo, place).scan_id or 0)
        if scan is None or scan.width is None or "width" not in facts:
            continue
        assert (scan.width, scan.height, scan.bits) == (facts["width"], facts["height"], facts["bits"]), place
        if scan.ppi_x is not None:
            assert scan.ppi_x == pytest.approx(facts["ppi"], rel=1e-3), place


def test_what_happened_since_is_found_and_nothing_imagined(demo: Database, truth: dict[str, Any]) -> None:
    names = {store.id: store.name for store in stores.listed(demo)}
    found = {(f"{names[f.store_id]}/{f.path}", f.kind) for f in findings.list_open(demo) if f.store_id in names}
    horizon = "main-disk/2025/inv 0476 Ambrose-Nyx - Horizon, Unfinished master.tif"
    assert found == {(horizon, "no profile")} | {
        (facts["fault"]["of"], facts["fault"]["kind"]) for facts in truth["files"].values() if facts["fault"]}
    # the three that lost a copy, and the one that has none yet; one more says that no store is kept elsewhere
    assert {kind: count for kind, count in findings.by_kind(demo).items() if "copy" in kind} == {
        copies.SINGLE: 4, copies.NO_OFF_SITE: 1}


def test_its_sound_copy_stays_the_current_master(demo: Database, truth: dict[str, Any]) -> None:
    for facts in truth["files"].values():
        if facts["fault"]:
            intact = truth["files"][facts["fault"]["of"]]
            piece = pieces.by_id(demo, pieces.known_piece(demo, intact["artist"], intact["piece"]) or 0)
            current = scans.by_id(demo, piece.current_scan_id or 0) if piece else None
            assert current is not None and current.sha256 == intact["sha256"]
