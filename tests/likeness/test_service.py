"""Likeness joined to a catalogue: small real archives, verdicts that last, merges that can be undone."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from catalogue.commands import command
from catalogue.errors import CatalogueError, Refused
from catalogue.likeness import examine, feature_cache, merging, retrieval, service, updating
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Relation
from catalogue.likeness.finding import find_picture
from catalogue.likeness.similar import similar_scans
from catalogue.likeness.tiling import tiling
from catalogue.progress import Progress
from catalogue.reading.file import read_file
from catalogue.records import pieces, scans
from catalogue.records.database import Database, open_database, transaction
from catalogue.settings import Home
from tests import recorded
from tests.likeness.conftest import artwork, captures


@dataclass
class Shop:
    home: Home
    db: Database
    folder: Path

    def put(self, name: str, picture: np.ndarray, piece: str | None, role: str = "master", bits: int = 8) -> int:
        """Write a TIFF, read it, record it; gives the scan's id."""
        path = self.folder / f"{name}.tif"
        tifffile.imwrite(path, picture.astype(np.uint16) * 257 if bits == 16 else picture, photometric="rgb",
                         resolution=(300, 300), resolutionunit="INCH")
        reading = read_file(path)
        assert reading.preview
        piece_id = None
        if piece:
            piece_id = pieces.piece_called(self.db, pieces.artist_called(self.db, "Ada Fernhollow").id, piece)
        number = recorded.save_scan(self.db, reading, role=role, piece_id=piece_id)
        preview = self.home.preview(reading.sha256)
        preview.parent.mkdir(parents=True, exist_ok=True)
        preview.write_bytes(reading.preview)
        return number


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    home = Home(tmp_path / "catalogue")
    db = open_database(home.database)
    folder = tmp_path / "scans"
    folder.mkdir()
    yield Shop(home, db, folder)
    db.close()


@pytest.fixture(scope="module")
def works() -> dict[str, np.ndarray]:
    """Scans small enough to be quick; the same for every test."""
    rng = np.random.default_rng(8)
    coffee, cat, rocket = (artwork(n, 600) for n in ("coffee", "chelsea", "rocket"))
    made = {
        "coffee": captures.scan(coffee, 7, rng, turn=0.2, strength=0.5).picture,
        "coffee again": captures.rescan(coffee, 7, rng).picture,
        "cat": captures.scan(cat, 8, rng, turn=0.2, strength=0.5).picture,
        "rocket": captures.scan(rocket, 9, rng, turn=0.2, strength=0.5).picture,
        "coffee sibling": captures.scan(captures.sibling(coffee, cat, rng), 9, rng, turn=0.1, strength=0.5).picture,
        "photo": captures.phone_photo(coffee, np.random.default_rng(11)).picture,
    }
    for number, (x, y) in enumerate([(0, 0), (0.45, 0), (0, 0.45)]):
        made[f"tile {number}"] = captures.tile(coffee, 7, np.random.default_rng(1), (x, y, 0.55, 0.55)).picture
    return made


def test_an_update_finds_groups_and_verdicts_stay(shop: Shop, works: dict[str, np.ndarray]) -> None:
    first = shop.put("coffee", works["coffee"], "Cup", bits=16)
    shop.put("cat", works["cat"], "Cat")
    again = shop.put("again", works["coffee again"], None)
    sibling = shop.put("sibling", works["coffee sibling"], "Cup II")

    done = updating.update(shop.db, shop.home)
    assert (done.compared, done.unreadable) == (4, ())
    found = service.groups(shop.db)
    assert [{m.scan_id for m in g.members} for g in found.groups] == [{first, again}]
    group = found.groups[0]
    taken = scans.by_id(shop.db, again)
    assert taken is not None and (taken.piece_id, taken.piece_source) == (1, "likeness"), "filed where it belongs"
    assert not group.unreviewed
    assert shop.db.execute("SELECT sha256 FROM scan WHERE id = ?", [first]).fetchone()[0] == group.proposed
    assert any("16 bit against 8" in reason for reason in group.reasons)
    assert {p.evidence.relation for p in found.ungrouped} == {Relation.LOOK_ALIKE}
    assert all(sibling in (p.a_scan_id, p.b_scan_id) for p in found.ungrouped)

    pair = service.judge(shop.db, group.pairs[0].id, "confirmed")
    assert pair.verdict == "confirmed"
    service.judge(shop.db, group.pairs[0].id, "rejected")
    parted = scans.by_id(shop.db, again)
    assert parted is not None and parted.piece_id is None
    service.judge(shop.db, group.pairs[0].id, "confirmed")
    joined = scans.by_id(shop.db, again)
    assert joined is not None and joined.piece_id == 1
    assert not service.groups(shop.db).groups[0].unreviewed

    assert updating.update(shop.db, shop.home).compared == 0, "nothing is compared twice"


def test_a_scan_whose_original_is_known_is_not_searched_for_place_by_place(
    shop: Shop, works: dict[str, np.ndarray], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pair is on record from the other scan's turn; correlating over every place would find nothing more."""
    shop.put("coffee", works["coffee"], "Cup", bits=16)
    again = shop.put("again", works["coffee again"], None)
    tile = shop.put("tile", works["tile 0"], None, role="unsorted")
    cat = shop.put("cat", works["cat"], None)
    searched: list[str] = []
    monkeypatch.setattr(examine, "locate_each", lambda side, others: searched.append(side.facts.sha256) or [
        None for _ in others])
    assert updating.update(shop.db, shop.home).pairs == 3
    digests = {number: str(sha) for number, sha in shop.db.execute("SELECT id, sha256 FROM scan")}
    assert digests[again] not in searched
    assert digests[tile] not in searched
    assert digests[cat] in searched, "of which nothing is known"


def test_a_rejected_pair_never_comes_back(shop: Shop, works: dict[str, np.ndarray]) -> None:
    shop.put("coffee", works["coffee"], "Cup")
    shop.put("again", works["coffee again"], "Saucer")
    updating.update(shop.db, shop.home)
    pair = service.groups(shop.db).groups[0].pairs[0]
    service.judge(shop.db, pair.id, "rejected")
    assert service.groups(shop.db).groups == ()
    updating.update(shop.db, shop.home, again=True)
    found = service.groups(shop.db)
    assert (found.groups, found.ungrouped, found.refused) == ((), (), ())
    assert service.of_scan(shop.db, pair.a_scan_id) == []
    service.judge(shop.db, pair.id, "")
    assert len(service.groups(shop.db).groups) == 1, "a verdict can be taken back"
    with pytest.raises(Refused):
        service.judge(shop.db, pair.id, "perhaps")


def test_an_update_cut_off_carries_on(shop: Shop, works: dict[str, np.ndarray]) -> None:
    for name in ("coffee", "cat", "rocket"):
        shop.put(name, works[name], name)
    shop.put("again", works["coffee again"], None)
    calls = iter(range(1000))
    cut = updating.update(shop.db, shop.home, cancelled=lambda: next(calls) > 4)
    assert cut.cancelled and cut.compared < 4
    rest = updating.update(shop.db, shop.home)
    assert cut.compared + rest.compared == 4
    assert len(service.groups(shop.db).groups) == 1


def test_the_index_is_made_again_from_the_catalogue(shop: Shop, works: dict[str, np.ndarray]) -> None:
    import shutil

    shop.put("coffee", works["coffee"], "Cup")
    updating.update(shop.db, shop.home)
    shutil.rmtree(shop.home.features)
    shop.put("again", works["coffee again"], None)
    updating.update(shop.db, shop.home)
    assert len(service.groups(shop.db).groups) == 1


def test_the_index_is_filled_and_mended_a_part_at_a_time(
    shop: Shop, works: dict[str, np.ndarray], monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(limits, "SEGMENT_MOST", 2)
    monkeypatch.setattr(limits, "SEGMENTS_SMALL", 100)
    put = [shop.put(name, works[name], name) for name in ("coffee", "cat", "rocket", "coffee again", "coffee sibling")]
    steps: list[Progress] = []
    assert updating.update(shop.db, shop.home, report=steps.append).compared == len(put)
    folder = feature_cache.index_folder(shop.home)
    shas = [str(row[0]) for row in shop.db.execute("SELECT sha256 FROM scan ORDER BY id")]
    assert [p.done for p in steps if p.stage == "features"] == [1, 2, 3, 4, 5]
    assert sorted(len(s.keys) for s in retrieval.Index(folder).segments) == [1, 2, 2]

    manifest = folder / retrieval.MANIFEST
    told = json.loads(manifest.read_text())
    manifest.write_text(json.dumps(told | {"segments": told["segments"][1:]}))
    assert retrieval.Index(folder).held(shas) == set(shas[2:])
    updating.update(shop.db, shop.home)
    assert sorted(k.hex() for s in retrieval.Index(folder).segments for k in s.keys.tolist()) == sorted(shas)


def test_a_scan_lost_from_the_index_is_found_though_others_wait_in_it(
    shop: Shop, works: dict[str, np.ndarray], monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Scans of an update that was stopped are in the index and not compared; they must not hide what it lacks."""
    monkeypatch.setattr(limits, "SEGMENT_MOST", 1)
    monkeypatch.setattr(limits, "SEGMENTS_SMALL", 100)
    shop.put("coffee", works["coffee"], "Cup")
    updating.update(shop.db, shop.home)
    for name in ("cat", "rocket"):
        shop.put(name, works[name], name)
    steps: list[Progress] = []
    stopped = updating.update(shop.db, shop.home, report=steps.append,
                              cancelled=lambda: any(p.stage == "comparing" for p in steps))
    assert stopped.cancelled and stopped.compared == 0
    manifest = feature_cache.index_folder(shop.home) / retrieval.MANIFEST
    told = json.loads(manifest.read_text())
    assert len(told["segments"]) == 3
    manifest.write_text(json.dumps(told | {"segments": told["segments"][1:]}))
    shop.put("again", works["coffee again"], None)
    updating.update(shop.db, shop.home)
    assert len(service.groups(shop.db).groups) == 1


def test_a_lost_preview_is_reported_and_stops_nothing(shop: Shop, works: dict[str, np.ndarray]) -> None:
    shop.put("coffee", works["coffee"], "Cup")
    gone = shop.put("cat", works["cat"], "Cat")
    sha = scans.by_id(shop.db, gone).sha256  # type: ignore[union-attr]
    whole = shop.home.preview(sha).read_bytes()
    shop.home.preview(sha).write_bytes(b"RIFF????WEBP")
    done = updating.update(shop.db, shop.home)
    assert (done.compared, done.unreadable) == (1, (sha,))
    shop.home.preview(sha).write_bytes(whole)
    done = updating.update(shop.db, shop.home)
    assert (done.compared, done.unreadable) == (1, ()), "made again, it is compared after all"


def test_a_preview_lost_after_its_features_were_made_stops_nothing(shop: Shop, works: dict[str, np.ndarray]) -> None:
    lost = shop.put("coffee", works["coffee"], "Cup")
    updating.update(shop.db, shop.home)
    sha = scans.by_id(shop.db, lost).sha256  # type: ignore[union-attr]
    shop.home.preview(sha).unlink()
    shop.put("again", works["coffee again"], None)
    done = updating.update(shop.db, shop.home)
    assert (done.compared, done.pairs, done.unreadable) == (1, 0, (sha,))


def test_a_picture_is_found_with_its_kin(shop: Shop, works: dict[str, np.ndarray]) -> None:
    wanted = shop.put("coffee", works["coffee"], "Cup")
    for name in ("cat", "rocket"):
        shop.put(name, works[name], name)
    updating.update(shop.db, shop.home)
    photo = shop.folder / "phone.tif"
    tifffile.imwrite(photo, works["photo"], photometric="rgb")
    with pytest.raises(CatalogueError, match="no such file"):
        find_picture(shop.db, shop.home, photo.with_name("mistyped.tif"))
    found = find_picture(shop.db, shop.home, photo)
    assert [m.scan_id for m in found] == [wanted]
    assert found[0].photo_match.sure > 0.6

    new = shop.folder / "new.tif"
    tifffile.imwrite(new, works["coffee again"], photometric="rgb")
    alike = similar_scans(shop.db, shop.home, read_file(new))
    assert [scan.id for scan, _ in alike] == [wanted]
    assert alike[0][1].relation is Relation.RESCAN


def test_tiles_of_a_piece(shop: Shop, works: dict[str, np.ndarray]) -> None:
    shop.put("coffee", works["coffee"], "Cup")
    for number in range(3):
        shop.put(f"tile {number}", works[f"tile {number}"], "Cup", role="tile")
    updating.update(shop.db, shop.home)
    piece = pieces.by_id(shop.db, 1)
    assert piece is not None
    found = tiling(shop.db, shop.home, piece)
    assert found is not None and len(found.positions) == 3
    assert len(found.coverage.missing) == 1, "the lower right corner was never captured"
    left, top, _, _ = found.coverage.missing[0]
    assert (left, top) == pytest.approx((0.55, 0.55), abs=0.03)
    assert "Missing:" in found.text()
    told = CliRunner().invoke(command, ["--catalogue", str(shop.home.folder), "--json", "alike", "tiles", "cup"])
    assert [position["tile"] for position in json.loads(told.stdout)["places"]] == [p.tile for p in found.positions]


def test_merge_split_and_undo(shop: Shop, works: dict[str, np.ndarray]) -> None:
    one = shop.put("coffee", works["coffee"], "Cup")
    two = shop.put("cat", works["cat"], "Cat")
    with transaction(shop.db):
        shop.db.execute("INSERT INTO orders (number, placed) VALUES ('A1', '2024-01-01')")
        shop.db.execute(
            "INSERT INTO order_line (order_id, piece_id, width_mm, height_mm, quantity) VALUES (1, 2, 300, 200, 1)"
        )

    def state() -> list[tuple[object, ...]]:
        return [tuple(r) for sql in (
            "SELECT * FROM piece ORDER BY id", "SELECT id, piece_id, piece_source FROM scan ORDER BY id",
            "SELECT id, piece_id FROM order_line") for r in shop.db.execute(sql)]

    before = state()
    merged = merging.merge(shop.db, 1, 2)
    assert pieces.by_id(shop.db, 2) is None
    assert {s.id for s in scans.of_piece(shop.db, 1)} == {one, two}
    assert shop.db.execute("SELECT piece_id FROM order_line").fetchone()[0] == 1
    divided = merging.split(shop.db, 1, [two], "Cat on its own")
    merging.undo(shop.db, divided.id)
    merging.undo(shop.db, merged.id)
    assert state() == before
    with pytest.raises(Refused, match="since"):
        merging.undo(shop.db, merged.id)
    with pytest.raises(Refused):
        merging.split(shop.db, 1, [two], "Not its scan")


def test_two_pieces_with_editions_are_not_merged(shop: Shop, works: dict[str, np.ndarray]) -> None:
    shop.put("coffee", works["coffee"], "Cup")
    shop.put("cat", works["cat"], "Cat")
    for piece in (1, 2):
        with transaction(shop.db):
            shop.db.execute("INSERT INTO edition (piece_id, size_limit) VALUES (?, 10)", [piece])
    with pytest.raises(Refused, match="editions"):
        merging.merge(shop.db, 1, 2)


def run(shop: Shop, *words: str) -> tuple[int, str]:
    from catalogue.commands.session import Session

    result = CliRunner().invoke(command, ["--catalogue", str(shop.home.folder), *words], obj=Session())
    if result.exception and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.exit_code, result.stdout


def test_the_command(shop: Shop, works: dict[str, np.ndarray]) -> None:
    shop.put("coffee", works["coffee"], "Cup [large]")
    shop.put("again", works["coffee again"], "Saucer")
    code, text = run(shop, "alike")
    assert code == 1 and "Ada Fernhollow: Cup [large] + Ada Fernhollow: Saucer" in text and "re-scan" in text
    code, text = run(shop, "alike", "--unreviewed", "--json")
    data = json.loads(text)
    number = data["groups"][0]["pairs"][0]["id"]
    assert data["groups"][0]["pairs"][0]["evidence"]["relation"] == "re-scan"
    assert run(shop, "alike", "confirm", str(number))[0] == 0
    code, text = run(shop, "alike", "merge", "1", "2")
    assert code == 0 and "catalogue undo" in text
    code, text = run(shop, "alike", "--unreviewed")
    assert (code, text.strip()) == (0, "No similar scans.")
    photo = shop.folder / "phone.tif"
    tifffile.imwrite(photo, works["photo"], photometric="rgb")
    code, text = run(shop, "find", "--picture", str(photo))
    assert code == 0 and "Cup [large]" in text and "certain" in text
    assert feature_cache.index_folder(shop.home).is_dir()
