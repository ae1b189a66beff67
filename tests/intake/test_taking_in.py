"""From a key to the store: proposed, answered, copied, verified, recorded, and never more than that."""

import hashlib
import os
import shutil
import signal
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from intake_pictures import Write, scene

from catalogue.errors import CatalogueError, InsideStore, Refused
from catalogue.filing.model import Guessed
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.intake import applying
from catalogue.intake.applying import apply
from catalogue.intake.guessing import SimilarScan
from catalogue.intake.proposals import WHICH_ARTIST, WHICH_TITLE, Kind, Plan, Proposal, propose, with_answers
from catalogue.progress import Progress
from catalogue.reading.model import Reading
from catalogue.records import events, files, intake, pieces, scans
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.stores import Store
from catalogue.settings import Home, Settings
from catalogue.storage.folders import MARKER
from tests import recorded
from tests.files import part_path


def tree(folder: Path) -> dict[str, str]:
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*")) if p.is_file() and p.name != ".scan-store.json"}


def noise(seed: int, height: int = 60, width: int = 80) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 255, (height, width, 3), dtype=np.uint8)


def said(db: Database, home: Home, plan: Plan, artist: str = "Ada Quill", piece: str = "Harbour") -> Plan:
    for number, proposal in enumerate(plan.proposals):
        if proposal.take:
            plan = with_answers(db, home, plan, number, artist=artist, piece=piece)
    return plan


def test_a_new_scan_goes_to_its_ruled_place_and_the_key_is_untouched(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    source = write("0001.tif", noise(1), at="2026-03-01T10:00:00")
    before = tree(tmp_path / "key")
    plan = propose(db, home, tmp_path / "key", store)
    assert [p.kind for p in plan.proposals] == [Kind.MASTER]
    assert plan.proposals[0].questions == (WHICH_ARTIST, WHICH_TITLE)
    assert not apply(db, home, plan).taken
    outcome = apply(db, home, said(db, home, plan))
    target = "Ada Quill/Harbour/Ada Quill - Harbour - master - 2026-03-01.tif"
    assert tree(tmp_path / "masters") == {target: before["0001.tif"]}
    assert tree(tmp_path / "key") == before
    assert outcome.taken[0].source == source
    scan = scans.by_digest(db, before["0001.tif"])
    assert scan and (scan.role, scan.role_source) == ("master", "person")
    piece = pieces.by_id(db, scan.piece_id or 0)
    assert piece and (piece.artist, piece.title, piece.current_scan_id) == ("Ada Quill", "Harbour", scan.id)
    assert home.preview(scan.sha256).exists()
    assert ("ingestion", "success") in {(e.type, e.outcome) for e in recorded.events(db, sha256=scan.sha256)}
    assert not list(events.broken_links(db))


def test_a_piece_named_otherwise_does_not_keep_the_year_of_the_one_proposed(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    write("0001.tif", noise(1))
    with transaction(db):
        pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour", "1999")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    assert plan.proposals[0].year == "1999"
    apply(db, home, with_answers(db, home, plan, 0, piece="Quay"))
    assert {p.title: p.year for p in pieces.every(db)} == {"Harbour": "1999", "Quay": ""}


def test_what_is_held_is_passed_over_and_an_index_run_finds_nothing_new(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    write("a.tif", noise(1))
    write("b.tif", noise(1))
    plan = propose(db, home, tmp_path / "key", store)
    assert sorted(p.kind for p in plan.proposals) == [Kind.HELD, Kind.MASTER]
    apply(db, home, said(db, home, plan))
    again = propose(db, home, tmp_path / "key", store)
    assert [p.kind for p in again.proposals] == [Kind.HELD, Kind.HELD]
    assert [(p.artist.value, p.piece.value, p.items[0].role) for p in again.proposals] == [
        ("Ada Quill", "Harbour", "master")] * 2
    assert not apply(db, home, with_answers(db, home, again, 0, take=True)).taken
    (summary,) = index(db, home, [store], workers=1)
    assert (summary.seen, summary.read, summary.unchanged) == (1, 0, 1)


def test_names_from_metadata_place_and_words_with_their_certainty(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    with transaction(db):
        artist = pieces.artist_called(db, "Ada Quill")
        pieces.piece_called(db, artist.id, "Harbour at dusk")
    write("Ada Quill/Harbour at dusk/0001.tif", noise(1), at="2026-03-01T10:00:00")
    write("harbour_dusk_02.tif", noise(2), at="2026-03-02T10:00:00")
    write("harbuor dusk.tif", noise(3), at="2026-03-03T10:00:00")
    write("0009.tif", noise(4), at="2026-03-04T10:00:00", artist="Ada Quill")
    plan = propose(db, home, tmp_path / "key", store)
    by_place, by_words, by_slip, by_tag = plan.proposals
    assert (by_place.artist.value, by_place.piece.value, by_place.questions) == ("Ada Quill", "Harbour at dusk", ())
    assert by_words.piece.value == "Harbour at dusk"
    assert by_words.questions
    assert by_slip.piece.value == "Harbour at dusk"
    assert by_tag.artist.value == "Ada Quill"
    assert by_tag.questions == (WHICH_TITLE,)


def test_likeness_outweighs_a_name(db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    with transaction(db):
        piece_id = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Quay", "2019")
    write("harbour.tif", noise(1))

    def alike(_: Reading) -> list[SimilarScan]:
        return [SimilarScan(7, piece_id, "re-scan", 0.98, "88 %")]

    (proposal,) = propose(db, home, tmp_path / "key", store, likeness=alike).proposals
    assert (proposal.kind, proposal.piece_id, proposal.year) == (Kind.RESCAN, piece_id, "2019")
    assert (proposal.artist.value, proposal.piece.value) == ("Ada Quill", "Quay")
    assert "re-scan" in proposal.piece.reason
    assert proposal.ready


def test_capture_notes_are_prefilled_from_the_artists_last_of_like_relief(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    write("0001.tif", noise(1), at="2026-03-01T10:00:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    notes = {"light": "raking, left", "scanner settings": "slow, 48 bit", "relief mm": "2.5", "glass": "none"}
    apply(db, home, with_answers(db, home, plan, 0, capture=notes))
    write("0002.tif", noise(2), at="2026-03-05T10:00:00", ppi=1200)
    plan = propose(db, home, tmp_path / "key", store)
    at = next(n for n, p in enumerate(plan.proposals) if p.take)
    filled = dict(with_answers(db, home, plan, at, artist="Ada Quill", piece="Quay").proposals[at].capture)
    assert filled["light"] == "raking, left"
    assert filled["scanner settings"] == "slow, 48 bit"
    assert filled["glass"] == "none"
    assert filled["ppi"] == "1200"
    assert "relief mm" not in filled, "the relief is the new original's own"
    other = dict(with_answers(db, home, plan, at, artist="Joss Aldermere", piece="Kites").proposals[at].capture)
    assert other["light"] == "raking, left", "who has no notes yet begins with the last ones of the shop"
    apply(db, home, with_answers(db, home, plan, at, artist="Joss Aldermere", piece="Kites",
                                 capture={"light": "even"}))
    write("0003.tif", noise(3), at="2026-03-09T10:00:00")
    plan = propose(db, home, tmp_path / "key", store)
    at = next(n for n, p in enumerate(plan.proposals) if p.take)
    for artist, light in (("Ada Quill", "raking, left"), ("Joss Aldermere", "even")):
        filled = dict(with_answers(db, home, plan, at, artist=artist, piece="Pier").proposals[at].capture)
        assert filled["light"] == light, "an artist's own notes come before newer ones of others"
    harbour = next(iter(pieces.matching(db, "Harbour")))
    assert harbour.relief_mm == 2.5


def test_two_files_never_want_one_name_and_nothing_is_overwritten(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    write("one.tif", noise(1), at="2026-03-01T10:00:00")
    write("two.tif", noise(2), at="2026-03-01T11:50:00")
    mine = tmp_path / "masters/Ada Quill/Harbour/Ada Quill - Harbour - master - 2026-03-01.tif"
    mine.parent.mkdir(parents=True)
    mine.write_bytes(b"another file, not indexed")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    apply(db, home, plan)
    assert mine.read_bytes() == b"another file, not indexed"
    assert sorted(p.name for p in mine.parent.iterdir()) == [
        "Ada Quill - Harbour - master - 2026-03-01 (2).tif", "Ada Quill - Harbour - master - 2026-03-01 (3).tif",
        "Ada Quill - Harbour - master - 2026-03-01.tif"]


def test_a_name_that_differs_in_capitals_alone_counts_as_taken(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    """On a Mac's or a Windows disk both would be one file."""
    write("one.tif", noise(1), at="2026-03-01T10:00:00")
    mine = tmp_path / "masters/Ada Quill/Harbour/ADA QUILL - harbour - master - 2026-03-01.TIF"
    mine.parent.mkdir(parents=True)
    mine.write_bytes(b"another")
    (proposal,) = said(db, home, propose(db, home, tmp_path / "key", store)).proposals
    assert proposal.items[0].target.endswith("master - 2026-03-01 (2).tif")


def test_a_file_put_in_the_way_after_the_plan_is_stepped_round(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    write("one.tif", noise(1), at="2026-03-01T10:00:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    mine = tmp_path / "masters" / plan.proposals[0].items[0].target
    mine.parent.mkdir(parents=True)
    mine.write_bytes(b"late")
    (taken,) = apply(db, home, plan).taken
    assert mine.read_bytes() == b"late"
    assert taken.target.endswith(" (2).tif")


def test_a_source_changed_after_the_plan_is_not_taken(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    path = write("one.tif", noise(1), at="2026-03-01T10:00:00")
    write("two.tif", noise(2), at="2026-03-02T10:00:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    path.write_bytes(path.read_bytes() + b"x")
    outcome = apply(db, home, plan)
    assert [t.source.name for t in outcome.taken] == ["two.tif"], "the others go on"
    assert "SHA-256" in outcome.skipped[0].why
    assert len(tree(tmp_path / "masters")) == 1
    assert recorded.runs(db, "intake")[0].outcome == "failed"


def test_sources_go_only_after_as_many_verified_stores_as_the_settings_demand(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    home = replace(home, settings=Settings(copies_on_one_disk=True))
    write("one.tif", noise(1))
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    outcome = apply(db, home, plan, delete_sources=True)
    assert not outcome.removed
    assert "1 of the 2 stores" in outcome.not_removed[0].why
    (tmp_path / "nas").mkdir()
    second = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    write("two.tif", noise(2))
    plan = said(db, home, propose(db, home, tmp_path / "key", store), piece="Quay")
    outcome = apply(db, home, plan, also=[second], delete_sources=True)
    assert [p.name for p in outcome.removed] == ["two.tif"]
    assert [k.path.name for k in outcome.not_removed] == ["one.tif"]
    assert len(tree(tmp_path / "nas")) == 1
    deleted = [e for e in recorded.events(db) if e.type == "deletion"]
    assert len(deleted) == 1


def test_a_copy_that_has_rotted_does_not_count(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    (tmp_path / "nas").mkdir()
    second = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    write("one.tif", noise(1))
    apply(db, home, said(db, home, propose(db, home, tmp_path / "key", store)), also=[second])
    rotten = next(p for p in (tmp_path / "nas").rglob("*.tif"))
    data = bytearray(rotten.read_bytes())
    data[200] ^= 1
    rotten.write_bytes(data)
    outcome = apply(db, home, propose(db, home, tmp_path / "key", store), delete_sources=True)
    assert not outcome.removed
    assert "1 of the 2" in outcome.not_removed[0].why


def test_killed_between_copy_and_record_the_next_run_completes_under_the_same_names(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    """kill -9 in the worst place: the bytes stand in the store, the catalogue does not know it."""
    for n in range(3):
        write(f"{n}.tif", noise(n), at=f"2026-03-0{n + 1}T10:00:00")
    script = f"""
import os, signal
from pathlib import Path
from catalogue.intake import applying
from catalogue.intake.proposals import propose, with_answers
from catalogue.records import stores
from catalogue.records.database import open_database
from catalogue.settings import Home
home = Home(Path({str(home.folder)!r}))
db = open_database(home.database)
plan = propose(db, home, Path({str(tmp_path / "key")!r}), stores.by_name(db, "masters"))
for n in range(3):
    plan = with_answers(db, home, plan, n, artist="Ada Quill", piece="Harbour")
copied = 0
def keep(*_):
    global copied
    copied += 1
    if copied == 2:
        os.kill(os.getpid(), signal.SIGKILL)
applying.keep_preview = keep
applying.apply(db, home, plan)
"""
    killed = subprocess.run([sys.executable, "-c", script], cwd=Path(__file__).parents[2], check=False,
                            env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])})
    assert killed.returncode == -signal.SIGKILL
    assert len(tree(tmp_path / "masters")) == 2
    assert recorded.runs(db, "intake")[0].outcome == "running"
    (name,) = tree(tmp_path / "masters").keys() - {placed.path for placed in intake.filed_files(db, store.id)}
    # as if killed a moment earlier still, before the temporary name went
    os.link(tmp_path / "masters" / name, part_path(tmp_path / "masters" / name))
    outcome = apply(db, home, said(db, home, propose(db, home, tmp_path / "key", store)))
    assert [t.outcome for t in outcome.taken] == ["already there", "copied"]
    assert not list((tmp_path / "masters").rglob(".catalogue-part-*"))
    assert sorted(tree(tmp_path / "masters").values()) == sorted(tree(tmp_path / "key").values())
    assert len(list(intake.filed_files(db, store.id))) == 3
    assert [r.outcome for r in recorded.runs(db, "intake")] == ["finished", "failed"]


def test_held_elsewhere_is_offered_as_a_copy_with_its_known_piece(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    (tmp_path / "nas").mkdir()
    second = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    write("one.tif", noise(1))
    apply(db, home, said(db, home, propose(db, home, tmp_path / "key", second)))
    (proposal,) = propose(db, home, tmp_path / "key", store).proposals
    assert (proposal.kind, proposal.ready, proposal.piece.value) == (Kind.HELD_ELSEWHERE, True, "Harbour")


def test_an_offline_store_and_a_folder_within_the_store_are_refused(
        db: Database, home: Home, store: Store, tmp_path: Path) -> None:
    (tmp_path / "masters/in").mkdir()
    with pytest.raises(InsideStore):
        propose(db, home, tmp_path / "masters/in", store)
    with pytest.raises(CatalogueError, match="masters"):
        propose(db, home, tmp_path, store)
    (tmp_path / "masters").rename(tmp_path / "unplugged")
    with pytest.raises(CatalogueError, match="offline"):
        propose(db, home, tmp_path / "key", store)


def test_cancelling_leaves_whole_files_and_says_so(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    for n in range(3):
        write(f"{n}.tif", noise(n), at=f"2026-03-0{n + 1}T10:00:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    outcome = apply(db, home, plan, cancelled=lambda: bool(list((tmp_path / "masters").rglob("[!.]*.tif"))))
    assert outcome.stopped
    assert len(outcome.taken) == len(tree(tmp_path / "masters")) == 1
    assert recorded.runs(db, "intake")[0].outcome == "cancelled"


def test_tiles_and_master_of_one_piece_are_numbered_and_share_notes(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    whole = scene(9, 560, 300)
    write("s_1.tif", whole[:, :320], at="2026-03-01T10:00:00")
    write("s_2.tif", whole[:, 240:], at="2026-03-01T10:02:00")
    write("s_whole.tif", whole, at="2026-03-01T10:20:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    assert [p.kind for p in plan.proposals] == [Kind.TILES_AND_MASTER]
    assert not any("covered by no tile" in w for w in plan.proposals[0].warnings)
    assert all(number in plan.proposals[0].map for number in "12")
    apply(db, home, plan)
    assert sorted(Path(p).name for p in tree(tmp_path / "masters")) == [
        "Ada Quill - Harbour - master - 2026-03-01.tif", "Ada Quill - Harbour - tile 01 - 2026-03-01.tif",
        "Ada Quill - Harbour - tile 02 - 2026-03-01.tif"]
    held = scans.of_piece(db, pieces.matching(db, "Harbour")[0].id)
    assert [s.role for s in held] == ["master", "tile", "tile"]
    assert scans.capture(db, held[0].id)["tiles taken"] == "2"


def test_the_rule_of_the_settings_is_followed(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    own = replace(home, settings=Settings(naming_rule="{year}/{artist} - {piece}/{role}{number}{suffix}"))
    write("one.tif", noise(1), at="2026-03-01T10:00:00")
    plan = said(db, own, propose(db, own, tmp_path / "key", store), piece="A/B: \"night\"")
    apply(db, own, plan)
    assert list(tree(tmp_path / "masters")) == ["2026/Ada Quill - A-B- 'night'/master.tif"]
    assert files.by_path(db, store.id, "2026/Ada Quill - A-B- 'night'/master.tif")
    assert pieces.matching(db, 'A/B: "night"')[0].title == 'A/B: "night"'


def test_what_lies_under_no_tile_and_how_many_tiles_are_expected_is_told(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    """A third of the master has no tile. An A1 original on an A3 bed takes 9 to 12 captures, common practice."""
    with transaction(db):
        piece_id = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour")
        pieces.state(db, piece_id, {"width_mm": 841.0, "height_mm": 594.0})
    whole = scene(9, 720, 300)
    folder = "key/Ada Quill/Harbour"
    write("s_1.tif", whole[:, :280], at="2026-03-01T10:00:00", folder=folder)
    write("s_2.tif", whole[:, 200:480], at="2026-03-01T10:02:00", folder=folder)
    write("s_whole.tif", whole, at="2026-03-01T10:20:00", folder=folder)
    (proposal,) = propose(db, home, tmp_path / "key", store).proposals
    bare = next(w for w in proposal.warnings if "covered by no tile" in w)
    assert bare.startswith("33% of s_whole.tif")
    assert "67%–100% across" in bare
    expected = next(w for w in proposal.warnings if "expected" in w)
    assert expected.startswith("2 tiles arrived; 3 × 3 are expected")


def test_a_name_that_is_no_text_comes_in_under_a_good_one(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    odd = write("one.tif", noise(1), at="2026-03-01T10:00:00")
    odd.rename(os.fsdecode(bytes(odd.parent) + b"/\xff[bold]\x07\n.tif"))
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    (taken,) = apply(db, home, plan).taken
    assert list(tree(tmp_path / "masters")) == [taken.target]
    assert taken.target.endswith("master - 2026-03-01.tif")
    assert [p.kind for p in propose(db, home, tmp_path / "key", store).proposals] == [Kind.HELD]


def test_a_share_unmounted_midway_gets_nothing_in_its_place(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    """What is left of a mount point is an empty folder on the system's own disk."""
    for n in range(3):
        write(f"{n}.tif", noise(n), at=f"2026-03-0{n + 1}T10:00:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))

    def unplug(progress: Progress) -> None:
        if progress.done == 1 and (tmp_path / "masters").exists():
            (tmp_path / "masters").rename(tmp_path / "unplugged")
            (tmp_path / "masters").mkdir()

    outcome = apply(db, home, plan, report=unplug)
    assert len(outcome.taken) == len(tree(tmp_path / "unplugged")) == 1
    assert not list((tmp_path / "masters").iterdir())
    assert "was disconnected" in outcome.skipped[-1].why


def test_a_copy_to_a_store_that_went_away_at_the_last_moment_is_not_recorded(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write("1.tif", noise(1))
    plan, real = said(db, home, propose(db, home, tmp_path / "key", store)), applying.copy_verified

    def pulled(*given: object, **named: object) -> str:
        digest = real(*given, **named)  # type: ignore[arg-type]
        (tmp_path / "masters").rename(tmp_path / "unplugged")
        return digest

    monkeypatch.setattr(applying, "copy_verified", pulled)
    outcome = apply(db, home, plan)
    assert outcome.taken == ()
    assert "was disconnected" in outcome.skipped[-1].why
    assert pieces.counts(db)["file"] == 0


def test_a_further_store_that_became_the_same_folder_is_refused(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    """Its root was made a link after it was added, marker and all: two copies would be one file."""
    write("1.tif", noise(1))
    (tmp_path / "nas").mkdir()
    nas = add_store(db, "nas", tmp_path / "nas", "copy", consent=True)
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    (tmp_path / "nas").rename(tmp_path / "nas was")
    (tmp_path / "nas").symlink_to(tmp_path / "masters")
    shutil.copy(tmp_path / "nas was" / MARKER, tmp_path / "masters" / MARKER)
    with pytest.raises(Refused, match="one folder"):
        apply(db, home, replace(plan, store_id=nas.id))
    assert tree(tmp_path / "masters") == {}


def test_a_relief_that_was_measured_stays(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    piece_id = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour")
    pieces.state(db, piece_id, {"relief_mm": 2.0})
    write("1.tif", noise(1))
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    assert apply(db, home, with_answers(db, home, plan, 0, capture={"relief mm": "5"})).taken
    piece = pieces.by_id(db, piece_id)
    assert piece is not None and piece.relief_mm == 2.0
    assert piece.current_scan_id is not None and scans.capture(db, piece.current_scan_id)["relief mm"] == "5"


def test_a_file_cut_short_is_told_and_never_taken(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    whole = write("1.tif", noise(1))
    whole.with_name("2.tif").write_bytes(whole.read_bytes()[:9000])
    plan = said(db, home, propose(db, home, tmp_path / "key", store))
    assert [(p.kind, p.take, [i.arrival.path.name for i in p.items]) for p in plan.proposals] == [
        (Kind.UNFIT, False, ["2.tif"]), (Kind.MASTER, True, ["1.tif"])]
    forced = with_answers(db, home, plan, 0, take=True, artist="Ada Quill", piece="Harbour")
    assert [t.source for t in apply(db, home, forced).taken] == [whole]


def test_what_is_not_sure_is_asked() -> None:
    likely = Proposal(Kind.MASTER, (), Guessed("Ada Quill", 0.6, "the folder"), Guessed("Harbour", 0.99, "by its tags"))
    assert likely.questions == ("Is it by Ada Quill? (the folder)",) and not likely.ready
    assert replace(likely, confirmed=True).ready
    assert replace(likely, artist=likely.piece, piece=likely.artist).questions == (
        "Is it 'Ada Quill'? (the folder)",)
    assert replace(likely, confirmed=True, artist=Guessed()).questions == (WHICH_ARTIST,)


def test_only_names_of_present_files_are_taken(db: Database, store: Store) -> None:
    """For a store that is away the catalogue alone is asked."""
    with transaction(db):
        for path in ("Ada/one.tif", "Ada/two.tif", "Ada/deeper/three.tif", "Adam/four.tif"):
            files.save(db, store.id, path, 1, 1, None, verified=False)
        gone = files.by_path(db, store.id, "Ada/two.tif")
        assert gone is not None
        files.mark_missing(db, [gone.id])
    assert intake.names_in(db, store.id, "Ada") == ["one.tif"]


def test_taking_in_while_an_index_run_is_under_way(
        db: Database, home: Home, store: Store, write: Write, tmp_path: Path) -> None:
    """Two seats: one indexes the same store, the other takes in. Neither sees a lock, nothing is lost or doubled."""
    for n in range(40):
        write(f"Ben Ashe/Noon {n}/master.tif", noise(100 + n), folder="masters")
    for n in range(8):
        write(f"{n}.tif", noise(n), at=f"2026-03-0{n + 1}T10:00:00")
    plan = said(db, home, propose(db, home, tmp_path / "key", store))

    def index_it() -> str:
        with closing(open_database(home.database)) as other:
            return index(other, home, [store], workers=2, executors=ThreadPoolExecutor)[0].outcome

    with ThreadPoolExecutor(1) as seat:
        indexing = seat.submit(index_it)
        outcome = apply(db, home, plan)
        assert indexing.result() == "finished"
    assert len(outcome.taken) == 8
    (summary,) = index(db, home, [store], workers=1, executors=ThreadPoolExecutor)
    assert summary.read == 0
    assert sum(f.path.startswith("Ada Quill") for f in intake.filed_files(db, store.id)) == 8
    assert len(list(intake.filed_files(db, store.id))) == 48
    assert not list(events.broken_links(db))
