"""The demo archive, indexed, against its truth: who painted what, in which role, and what is wrong with which file.

The truth was written when the files were painted, never read back from them.
"""

import json
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import browsing, files, findings, pieces, scans, stores
from catalogue.records.database import Database, open_database
from catalogue.settings import Home

ARCHIVE = Path(__file__).parents[2] / "demo_archive"
FAULTS = {"zero bytes": "empty", "not a picture": "not a picture", "truncated": "truncated"}


def threads(workers: int) -> Executor:
    return ThreadPoolExecutor(workers)


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    return dict(json.loads((ARCHIVE / "truth.json").read_text(encoding="utf-8")))


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Database:
    home = Home(tmp_path_factory.mktemp("demo"))
    db = open_database(home.database)
    for name, kind in (("main-disk", "primary"), ("copy-disk", "copy")):
        add_store(db, name, ARCHIVE / name, kind, consent=False)
    index(db, home, stores.listed(db), executors=threads, workers=2)
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
        file = stored(demo, place)
        assert file.size == facts["bytes"], place
        if (facts["fault"] or {}).get("kind") not in ("zero bytes", "not a picture"):
            scan = scans.by_id(demo, file.scan_id or 0)
            assert scan is not None and scan.sha256 == facts["sha256"], place


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


def test_faults_are_found_and_none_imagined(demo: Database, truth: dict[str, Any]) -> None:
    serious = {"empty", "not a picture", "truncated", "damaged", "unreadable", "undecoded", "vanished"}
    names = {store.id: store.name for store in stores.listed(demo)}
    found = {(f"{names[f.store_id or 0]}/{f.path}", f.kind) for f in findings.list_open(demo) if f.kind in serious}
    expected = {(place, FAULTS[facts["fault"]["kind"]]) for place, facts in pictures(truth).items()
                if facts["fault"] and facts["fault"]["kind"] in FAULTS}
    assert found == expected


def test_the_sound_copy_of_a_truncated_master_is_proposed(demo: Database, truth: dict[str, Any]) -> None:
    for facts in pictures(truth).values():
        if facts["fault"] and facts["fault"]["kind"] == "truncated":
            piece = pieces.by_id(demo, pieces.known_piece(demo, facts["artist"], facts["piece"]) or 0)
            intact = scans.by_id(demo, stored(demo, facts["fault"]["intact"]).scan_id or 0)
            assert piece is not None and intact is not None and piece.current_scan_id == intact.id
