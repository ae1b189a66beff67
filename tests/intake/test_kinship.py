"""New scans against what is held: a re-scan, a tile of a held master, a stitched master of held tiles. The pictures
are cut and changed by the tests, which know what each is."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from intake_pictures import TakeUp, Write, scene

from catalogue.intake.applying import apply
from catalogue.intake.proposals import WHICH_ARTIST, WHICH_TITLE, Kind, propose, with_answers
from catalogue.intake.similarity import keep_links, likeness_of, relation_of
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.service import tile_positions
from catalogue.likeness.updating import update
from catalogue.operations.intake import name_all
from catalogue.records import likenesses, pieces
from catalogue.records.database import Database
from catalogue.records.stores import Store
from catalogue.settings import Home


@pytest.fixture
def held(db: Database, home: Home, store: Store, write: Write, take_up: TakeUp) -> np.ndarray:
    """A master, another artist's work beside it, all compared."""
    whole = scene(21, 720, 540)
    write("Ada Quill/Harbour/Harbour master.tif", whole, folder="masters")
    write("Ben Ashe/Noon/Noon master.tif", scene(22, 640, 480), folder="masters")
    take_up(store)
    update(db, home)
    return whole


def test_a_re_scan_a_tile_and_a_stranger(
        db: Database, home: Home, store: Store, held: np.ndarray, write: Write, tmp_path: Path) -> None:
    grain = np.random.default_rng(0).normal(0, 3, held[6:, 4:].shape)
    again = np.clip(held[6:, 4:].astype(float) * 1.04 + grain, 0, 255)
    write("0001.tif", again.astype(np.uint8), at="2026-03-01T10:00:00")
    write("0002.tif", held[100:420, 200:620].copy(), at="2026-03-02T10:00:00")
    write("0003.tif", scene(23, 500, 400), at="2026-03-03T10:00:00")
    rescan, tile, stranger = propose(db, home, tmp_path / "key", store, likeness=likeness_of(db, home)).proposals
    assert (rescan.kind, rescan.artist.value, rescan.piece.value) == (Kind.RESCAN, "Ada Quill", "Harbour")
    assert rescan.ready, "likeness is sure enough to ask nothing"
    assert (tile.piece.value, tile.items[0].role in ("tile", "reference")) == ("Harbour", True)
    assert stranger.questions == (WHICH_ARTIST, WHICH_TITLE)


def test_a_stitched_master_saved_later_is_linked_to_its_held_tiles(
        db: Database, home: Home, store: Store, write: Write, take_up: TakeUp, tmp_path: Path) -> None:
    whole = scene(24, 840, 360)
    for number, left in enumerate((0, 280, 560), 1):
        write(f"Ada Quill/Quay/tiles/Quay tile {number} of 3.tif", whole[:, left:left + 380], folder="masters")
    take_up(store)
    update(db, home)
    write("quay flat.tif", whole, at="2026-03-09T10:00:00")
    plan = propose(db, home, tmp_path / "key", store, likeness=likeness_of(db, home))
    (proposal,) = plan.proposals
    assert (proposal.kind, proposal.piece.value) == (Kind.STITCHED, "Quay")
    outcome = apply(db, home, plan)
    assert keep_links(db, home, outcome.taken)
    piece = pieces.matching(db, "Quay")[0]
    found = tile_positions(db, piece.id)
    assert found and found[0].sha256 == outcome.taken[0].sha256
    lefts = sorted(place.box[0] for place in found[1])
    assert lefts == pytest.approx([0, 280 / 840, 560 / 840], abs=0.01)
    assert piece.current_scan_id == found[0].id


def test_only_likenesses_of_a_new_scan_with_a_held_one_are_counted(
        db: Database, home: Home, store: Store, held: np.ndarray, write: Write, take_up: TakeUp, tmp_path: Path
) -> None:
    """Two held scans of one picture that were not compared yet, and tiles of a new picture among themselves."""
    old, new = scene(31, 700, 500), scene(32, 840, 360)
    write("Cora Lind/Weir/Weir master.tif", old, folder="masters")
    write("Cora Lind/Weir/Weir master 2.tif", old[5:, 5:].copy(), folder="masters")
    take_up(store)
    for number, left in enumerate((0, 280, 460), 1):
        write(f"tile {number} of 3.tif", new[:, left:left + 380].copy(), at=f"2026-03-09T10:0{number}:00")
    write("0009.tif", held[6:, 4:].copy(), at="2026-03-01T10:00:00")
    plan = propose(db, home, tmp_path / "key", store, likeness=likeness_of(db, home))
    for number, each in enumerate(plan.proposals):
        if not each.ready:
            plan = with_answers(db, home, plan, number, artist="Ada Quill", piece="Quay")
    outcome = apply(db, home, plan)
    assert len(outcome.taken) == 4
    assert keep_links(db, home, outcome.taken) == 1, "the re-scan of the held harbour"
    assert len(likenesses.listed(db)) > 2, "the others were found as well"


def test_a_picture_surely_of_another_artist_is_asked_about_not_filed_as_the_folder_s(
        db: Database, home: Home, store: Store, held: np.ndarray, write: Write, tmp_path: Path) -> None:
    write("0009.tif", held[6:, 4:].copy(), at="2026-03-01T10:00:00")
    plan = propose(db, home, tmp_path / "key", store, likeness=likeness_of(db, home))
    (shown,) = plan.proposals
    (doubted,) = name_all(db, home, plan, "Zoe Marr", None).proposals
    assert doubted.artist == shown.artist
    assert doubted.questions[-1].startswith(f"The picture is on record as {shown.artist.value}: {shown.piece.value}.")
    assert name_all(db, home, plan, shown.artist.value.upper(), None).ready


def test_a_large_tile_is_still_a_tile() -> None:
    """Two captures of a small original show more than half of it each."""
    evidence = Evidence(Relation.RESCAN, 0.97, overlap_a=0.58, overlap_b=0.99)
    assert relation_of(evidence, "tile") == "has tile"
    assert relation_of(evidence, "master") == "re-scan"
    assert relation_of(replace(evidence, relation=Relation.TILE), "master") == "has tile"
    assert relation_of(replace(evidence, relation=Relation.TILE, overlap_a=0.99, overlap_b=0.3), "master") == "tile of"


def test_before_anything_was_compared_nothing_is_asked(db: Database, home: Home, store: Store) -> None:
    assert store
    assert likeness_of(db, home) is None
    assert keep_links(db, home, []) == 0
