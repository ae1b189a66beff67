"""The levels page: each box of the table in NDSA Levels of Digital Preservation 2.0 (2019) moved by a fact.

The table is the reference sheet's, from a secondary copy of the published matrix.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import tifffile
from fixity_shop import Shop, rot

from catalogue.errors import NotFound
from catalogue.fixity import log, manifest
from catalogue.fixity.backup import back_up
from catalogue.fixity.copies import copy_to
from catalogue.fixity.levels import AREAS, QUESTIONS, TWO_COPIES, Area, answer, levels
from catalogue.records import findings, scans
from catalogue.records.fixity import wanted_by
from catalogue.records.fixity_facts import facts
from catalogue.settings import Home

Scan = Callable[..., Path]
MASTER = "Ada Quill/Harbour/master.tif"


@pytest.fixture
def archive(shop: Shop, scan: Scan) -> Shop:
    scan(f"main/{MASTER}", seed=1)
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "master")
    return shop


def one_disk_will_do(shop: Shop) -> Home:
    """All stores of a test lie on one disk."""
    return replace(shop.home, settings=replace(shop.home.settings, copies_on_one_disk=True))


def page(shop: Shop) -> dict[str, Area]:
    return {area.name: area for area in levels(shop.db, shop.home)}


def reached(shop: Shop) -> dict[str, int]:
    return {name: area.level for name, area in page(shop).items()}


def test_an_empty_archive_reaches_nothing(shop: Shop) -> None:
    assert reached(shop) == dict.fromkeys(AREAS, 0)


def test_every_level_of_every_area_has_a_criterion(shop: Shop) -> None:
    for area in page(shop).values():
        assert {c.level for c in area.criteria} == {1, 2, 3, 4}


def test_a_question_is_lacking_until_answered_and_no_is_no(archive: Shop) -> None:
    before = page(archive)["Control"]
    assert [(c.asks, c.answered) for c in before.lacking] == [("rights decided", False)]
    answer(archive.db, "rights decided", "no, not yet")
    assert [(c.asks, c.answered, c.met) for c in page(archive)["Control"].lacking] == [("rights decided", True, False)]
    answer(archive.db, "rights decided", "Yes: only the two of us")
    assert page(archive)["Control"].level == 1
    with pytest.raises(NotFound):
        answer(archive.db, "the weather", "yes")
    with pytest.raises(NotFound, match="yes"):
        answer(archive.db, "places", "perhaps")


def test_two_copies_on_one_disk_are_not_two_full_copies(archive: Shop) -> None:
    nas = archive.add("nas", "copy")
    copy_to(archive.db, archive.home, nas, wanted_by(archive.db, nas))
    (told,) = (c for c in page(archive)["Storage"].criteria if c.text == TWO_COPIES)
    assert (told.met, told.evidence) == (False, "1 of 1 masters in two stores, 1 of them on one disk or server")
    archive.home = one_disk_will_do(archive)
    assert next(c for c in page(archive)["Storage"].criteria if c.text == TWO_COPIES).met


def test_three_copies_on_one_disk_are_not_three_full_copies(archive: Shop) -> None:
    for name in ("nas", "away"):
        target = archive.add(name, "copy")
        copy_to(archive.db, archive.home, target, wanted_by(archive.db, target))
    (told,) = (c for c in page(archive)["Storage"].criteria if c.text == "three full copies")
    assert (told.met, told.evidence) == (False, "1 of 1 masters in three stores, 1 of them on fewer than three disks")
    archive.home = one_disk_will_do(archive)
    assert next(c for c in page(archive)["Storage"].criteria if c.text == "three full copies").met


def test_storage_follows_the_copies(archive: Shop) -> None:
    archive.home = one_disk_will_do(archive)
    for question in ("places", "storage documented", "disaster", "media", "obsolescence of media"):
        answer(archive.db, question, "yes")
    assert page(archive)["Storage"].level == 0
    for expected, (name, kind) in ((1, ("nas", "copy")), (3, ("away", "off-site"))):
        target = archive.add(name, kind)
        copy_to(archive.db, archive.home, target, wanted_by(archive.db, target))
        assert page(archive)["Storage"].level == expected
    rot(archive.folder / "away" / MASTER, 700)
    archive.audit("away")
    assert page(archive)["Storage"].level == 1, "a damaged copy counts no more"


def test_one_master_without_its_copies_keeps_the_archive_down(archive: Shop, scan: Scan) -> None:
    archive.home = one_disk_will_do(archive)
    answer(archive.db, "places", "yes")
    nas = archive.add("nas", "copy")
    copy_to(archive.db, archive.home, nas, wanted_by(archive.db, nas))
    assert page(archive)["Storage"].level == 1
    scan("main/Ada Quill/Meadow/master.tif", seed=2)
    archive.index()
    scans.set_role(archive.db, archive.due("Ada Quill/Meadow/master.tif").scan_id, "master")
    assert page(archive)["Storage"].level == 0
    assert [c.evidence[:6] for c in page(archive)["Storage"].lacking] == ["1 of 2"]


def test_integrity_follows_manifests_audits_and_repair(archive: Shop) -> None:
    answer(archive.db, "supplied checksums", "yes")
    assert page(archive)["Integrity"].level == 1
    manifest.export_into(archive.db, archive.store(), consent=True)
    assert page(archive)["Integrity"].level == 2
    archive.audit()
    assert page(archive)["Integrity"].level == 3
    answer(archive.db, "after events", "yes")
    assert page(archive)["Integrity"].level == 4
    rot(archive.folder / "main" / MASTER, 700)
    archive.audit()
    assert page(archive)["Integrity"].level == 3


def test_an_old_check_is_not_regular(archive: Shop) -> None:
    answer(archive.db, "supplied checksums", "yes")
    manifest.export_into(archive.db, archive.store(), consent=True)
    archive.audit()
    with archive.db.conn:
        archive.db.execute("UPDATE file SET checked_at = '2020-01-01T00:00:00.000Z'")
    assert page(archive)["Integrity"].level == 2


def test_control_wants_a_sound_and_reviewed_log(archive: Shop) -> None:
    answer(archive.db, "rights decided", "yes")
    answer(archive.db, "rights applied", "yes")
    assert page(archive)["Control"].level == 3
    log.review(archive.db, archive.home)
    assert page(archive)["Control"].level == 4
    with archive.db.conn:
        archive.db.execute("DROP TRIGGER event_never_changed")
        archive.db.execute("UPDATE event SET detail = 'x' WHERE id = 1")
    assert page(archive)["Control"].level == 2


def test_metadata_and_content(archive: Shop) -> None:
    assert page(archive)["Metadata"].level == 0
    back_up(archive.db, archive.home)
    assert page(archive)["Metadata"].level == 2
    answer(archive.db, "standards", "yes")
    assert page(archive)["Metadata"].level == 4
    assert page(archive)["Content"].level == 2
    answer(archive.db, "formats watched", "yes")
    answer(archive.db, "migration", "yes")
    assert page(archive)["Content"].level == 4


@pytest.mark.parametrize(("photometric", "lacking"), [("rgb", 1), ("cielab", 0), ("minisblack", 0)])
def test_only_colours_that_need_a_profile_lack_one(shop: Shop, photometric: str, lacking: int) -> None:
    """TIFF 6.0, section 23: CIELAB values are colorimetric by themselves. The finding ``no profile`` says the same."""
    place = shop.home.folder.parent / "main" / MASTER
    place.parent.mkdir(parents=True)
    shape = (40, 60) if photometric == "minisblack" else (40, 60, 3)
    tifffile.imwrite(place, np.random.default_rng(5).integers(0, 255, shape, np.uint8), photometric=photometric)
    shop.index()
    with shop.db.conn:
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "master")
    assert (findings.by_kind(shop.db).get("no profile", 0), facts(shop.db, "").masters_without_profile) == (
        lacking, lacking)


def test_all_questions_are_asked_somewhere(archive: Shop) -> None:
    asked = {c.asks for area in page(archive).values() for c in area.criteria} - {""}
    assert asked == set(QUESTIONS)
