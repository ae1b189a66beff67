"""Repeating an order: what is shown before it is recorded, and what is recorded."""

import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from skimage import color

from catalogue.errors import AlreadyExists, Damaged, NotFound, Refused
from catalogue.ledger import editions, health, repeat, statuses, values
from catalogue.ledger.importing import import_orders
from catalogue.likeness import merging, service, updating
from catalogue.progress import ignore_progress, never_cancelled
from catalogue.records import files, findings, orders, pieces, scans
from catalogue.records.database import transaction
from catalogue.records.numbers import Number
from catalogue.records.orders import NewLine
from tests import recorded
from tests.photographs import photograph

from .conftest import Shop


@pytest.fixture
def harbour(shop: Shop) -> tuple[Shop, int, int]:
    """A shop with one piece, its master, and one line printed from it: ``(shop, piece, line)``."""
    piece = shop.piece("Ilse Marwood", "Harbour at Low Water")
    sha256 = shop.scan("harbour.tif", piece, shade=1, stated_px=(9921, 14031))
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2023-05-06", status="collected", currency="EUR")
        line = orders.add_line(shop.db, order, NewLine(
            piece, 420, 594, 10, "Cotton rag 310", border_mm=0, scan_sha256=sha256, scan_name="harbour.tif",
            profile="Rag 310 v2", settings="relative, no sharpening", notes="a touch darker"))
    return shop, piece, line


def kinds(proposal: repeat.Proposal) -> set[str]:
    return {caution.kind for caution in proposal.cautions}


def test_ten_like_last_time(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, line = harbour
    edition = editions.define(shop.db, piece, 25, proofs=3)
    for proposal in (repeat.propose(shop.db, shop.home, piece_id=piece),
                     repeat.propose(shop.db, shop.home, line_id=line)):
        assert proposal.last and proposal.last.id == line and proposal.same_bytes is True
        assert proposal.fit and proposal.fit.ppi == pytest.approx(600, abs=0.1)  # A2 at 600 ppi, ISO 216
        assert proposal.edition and proposal.edition.numbers_left == 25
        assert not proposal.grave and proposal.line.profile == "Rag 310 v2"
    made = repeat.record(shop.db, proposal, placed="2026-02-03", price="150.00")
    assert made is not None
    assert (made.number, made.quantity, made.numbers, made.repeat_of, made.edition_id, made.price) == (
        "2026-0001", 10, "1–10", line, edition, "150.00")
    assert made.scan_sha256 == proposal.last.scan_sha256 and made.settings == "relative, no sharpening"


@pytest.mark.parametrize(("photometric", "guessed"), [("RGB", True), ("CMYK", True), ("CIELAB", False),
                                                      ("grey", False)])
def test_a_scan_without_a_profile_is_a_guess_only_where_colours_need_one(shop: Shop, photometric: str,
                                                                        guessed: bool) -> None:
    """TIFF 6.0, section 23: CIELAB values are colorimetric by themselves. The finding ``no profile`` says the same."""
    piece = shop.piece("Ilse Marwood", "Plum Branch")
    shop.scan("plum.tif", piece, profile="", photometric=photometric, stated_px=(4000, 3000))
    first = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=200, height_mm=150)
    assert ("no profile" in kinds(first)) is guessed


def test_all_that_is_not_said_anew_is_as_last_time(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    first = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, quantity=3, medium="Canvas",
                           border_mm=12, wrap_mm=38, edge="mirrored", afresh=True)
    made = repeat.record(shop.db, first, profile="Canvas v1", settings="perceptual")
    again = repeat.propose(shop.db, shop.home, piece_id=piece).line
    for name in ("width_mm", "height_mm", "quantity", "medium", "border_mm", "wrap_mm", "edge", "profile", "settings",
                 "scan_sha256"):
        assert getattr(again, name) == getattr(made, name) and getattr(made, name), name
    turned = repeat.propose(shop.db, shop.home, piece_id=piece, border_mm=0.0, edge="", quantity=1).line
    assert (turned.border_mm, turned.edge, turned.quantity, turned.wrap_mm) == (0.0, "", 1, 38)


def test_another_current_master_is_a_grave_caution_until_the_two_are_known_to_agree(
        harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    newer = shop.scan("harbour 2025.tif", piece, shade=2, stated_px=(12000, 16970))
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert proposal.same_bytes is False and proposal.line.scan_sha256 == newer
    assert [c.kind for c in proposal.grave] == ["other scan"]
    again = repeat.propose(shop.db, shop.home, piece_id=piece, as_last_time=True)
    assert again.last and again.line.scan_sha256 == again.last.scan_sha256 != newer
    assert "last time's scan" in kinds(again) and not again.grave


def test_a_rescan_is_measured_against_the_scan_of_last_time(shop: Shop) -> None:
    """The picture is scikit-image's; CIEDE2000 of the two previews is taken from scikit-image too."""
    picture = photograph("coffee")[:, :500]
    moved = np.clip(picture.astype(int) + np.array((40, 0, -40)), 0, 255).astype(np.uint8)
    piece = shop.piece("Ilse Marwood", "Still Life")
    old = shop.scan("old.tif", piece, shade=1, stated_px=(5000, 4000), preview=Image.fromarray(picture))
    shop.scan("new.tif", piece, shade=2, stated_px=(6000, 4800), preview=Image.fromarray(moved))
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2023-05-06", status="collected")
        orders.add_line(shop.db, order, NewLine(piece, 500, 400, 1, scan_sha256=old))
    assert repeat.propose(shop.db, shop.home, piece_id=piece).evidence is None
    found = repeat.propose(shop.db, shop.home, piece_id=piece, measure=True)
    expected = float(np.median(color.deltaE_ciede2000(color.rgb2lab(picture), color.rgb2lab(moved))))
    assert found.evidence and found.evidence.delta_e == pytest.approx(expected, abs=0.3)
    assert "1.20 × the pixels" in found.evidence.detail
    assert "other scan" in {c.kind for c in found.grave}


def test_a_recorded_likeness_and_a_persons_verdict_are_taken(shop: Shop) -> None:
    """Found once, it is not measured again; a rejected pair does not show the same work, whatever its colour."""
    picture = photograph("coffee")[:, :500]
    piece = shop.piece("Ilse Marwood", "Still Life")
    old = shop.scan("old.tif", piece, shade=1, stated_px=(5000, 4000), preview=Image.fromarray(picture))
    shop.scan("new.tif", piece, shade=2, stated_px=(6000, 4800), preview=Image.fromarray(picture))
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2023-05-06", status="collected")
        orders.add_line(shop.db, order, NewLine(piece, 500, 400, 1, scan_sha256=old))
    measured = repeat.propose(shop.db, shop.home, piece_id=piece, measure=True).evidence
    assert updating.update(shop.db, shop.home).pairs == 1
    found = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert found.evidence == measured and not found.grave
    pair = service.of_scan(shop.db, 1)[0]
    service.judge(shop.db, pair.id, "rejected")
    judged = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert judged.evidence and "rejected by a person" in judged.evidence.text and judged.grave


def test_a_part_is_no_repeat_of_the_whole(shop: Shop) -> None:
    picture = photograph("coffee")
    piece = shop.piece("Ilse Marwood", "Still Life")
    old = shop.scan("old.tif", piece, shade=1, stated_px=(6000, 4000), preview=Image.fromarray(picture))
    shop.scan("new.tif", piece, shade=2, stated_px=(5000, 4000), preview=Image.fromarray(picture[100:350, 150:450]))
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2023-05-06", status="collected")
        orders.add_line(shop.db, order, NewLine(piece, 500, 400, 1, scan_sha256=old))
        pieces.set_current(shop.db, piece, 2, "person")
    found = repeat.propose(shop.db, shop.home, piece_id=piece, measure=True)
    assert found.evidence and found.evidence.relation == "it is a tile of last time's"
    assert found.evidence.detail.startswith("1.67 ×") and "other scan" in {c.kind for c in found.grave}


def test_the_same_pixels_under_other_tags_are_no_reason_to_worry(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Harbour at Low Water")
    old = shop.scan("a.tif", piece, shade=1, stated_px=(9000, 9000), pixels="p" * 32)
    shop.scan("b.tif", piece, shade=2, stated_px=(9000, 9000), pixels="p" * 32)
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2023-05-06", status="collected")
        orders.add_line(shop.db, order, NewLine(piece, 300, 300, 1, scan_sha256=old))
        pieces.set_current(shop.db, piece, 2, "person")
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert proposal.same_bytes is False and proposal.evidence and proposal.evidence.delta_e == 0
    assert "other scan" in kinds(proposal) and not proposal.grave


def test_a_scan_that_is_gone_or_was_never_known_is_said(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, line = harbour
    with transaction(shop.db):
        order = orders.save(shop.db, "R-2", "2024-01-01", status="collected")
        orders.add_line(shop.db, order, NewLine(piece, 420, 594, 1, scan_name="old name.tif"))
        order = orders.save(shop.db, "R-3", "2022-01-01", status="collected")
        lost = orders.add_line(shop.db, order, NewLine(piece, 420, 594, 1, scan_sha256="0" * 64))
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert proposal.same_bytes is None and "unknown scan" in kinds(proposal)
    gone = repeat.propose(shop.db, shop.home, line_id=lost)
    assert "other scan" in {c.kind for c in gone.grave}
    with pytest.raises(Refused):
        repeat.propose(shop.db, shop.home, line_id=lost, as_last_time=True)
    assert line


def test_few_pixels_are_grave_the_first_time_and_no_news_the_second(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Sketch")
    shop.scan("sketch.tif", piece, stated_px=(1000, 1000))
    first = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=508, height_mm=254, afresh=True)
    assert {c.kind for c in first.grave} == {"low ppi", "other shape"}  # 50 ppi, and half of it cut away
    repeat.record(shop.db, first)
    again = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert {"low ppi", "other shape"} <= kinds(again) and not again.grave
    assert "as last time" in next(c.text for c in again.cautions if c.kind == "low ppi")
    larger = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=600, height_mm=300)
    assert {c.kind for c in larger.grave} == {"low ppi", "other shape"}


def test_a_cancelled_line_is_not_last_time(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, line = harbour
    later = repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece), number="R-9", quantity=2)
    statuses.set_status(shop.db, "R-9", "cancelled")
    found = repeat.propose(shop.db, shop.home, piece_id=piece).last
    assert found is not None and found.id == line != later.id
    with pytest.raises(Refused):
        statuses.set_status(shop.db, "R-9", "printed")
    with pytest.raises(Refused):
        repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece), number="R-9")


def test_one_line_is_cancelled_alone_and_frees_its_numbers(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, line = harbour
    edition = editions.define(shop.db, piece, 25)
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    first, second = (repeat.record(shop.db, proposal, number="R-9", quantity=2) for _ in range(2))
    assert statuses.cancel_line(shop.db, first.id).status == "cancelled"
    assert orders.by_number(shop.db, "R-9").status == "requested"
    assert [p.number for p in editions.editions.issued(shop.db, edition)] == [3, 4]
    statuses.cancel_line(shop.db, second.id)
    assert orders.by_number(shop.db, "R-9").status == "cancelled"
    found = repeat.propose(shop.db, shop.home, piece_id=piece).last
    assert found is not None and found.id == line
    with pytest.raises(NotFound):
        statuses.cancel_line(shop.db, 999)


@pytest.mark.parametrize("how", ["gone", "offline", "finding"])
def test_a_master_that_cannot_be_printed_from_is_a_grave_caution(harbour: tuple[Shop, int, int], how: str) -> None:
    shop, piece, _ = harbour
    scan = scans.by_digest(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece).line.scan_sha256)
    assert scan is not None
    if how == "gone":
        (shop.root / "harbour.tif").unlink()
    elif how == "offline":
        shop.root.rename(shop.root.with_name("unplugged"))
    else:
        file = files.of_scan(shop.db, scan.id)[0]
        findings.record(shop.db, "changed", "its bytes differ", store_id=file.store_id, path=file.path,
                        file_id=file.id, scan_id=scan.id)
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert "no sound file" in {c.kind for c in proposal.grave}
    assert proposal.printing is not None and proposal.printing.best is None
    expected = {"gone": "missing", "offline": "offline", "finding": "in doubt"}[how]
    assert proposal.printing.copies[0].state == expected


def test_a_second_sound_copy_stands_in(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    data = (shop.root / "harbour.tif").read_bytes()
    (shop.root / "copy.tif").write_bytes(data)
    scan = scans.by_id(shop.db, 1)
    assert scan is not None
    files.save(shop.db, 1, "copy.tif", len(data), 1, scan.id, verified=True)
    (shop.root / "harbour.tif").unlink()
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert proposal.printing and proposal.printing.best and proposal.printing.best.file.path == "copy.tif"
    assert not proposal.grave


def test_checking_now_records_its_outcome_either_way(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    printing = repeat.propose(shop.db, shop.home, piece_id=piece).printing
    assert printing and printing.best and printing.last_check is None
    health.check_now(shop.db, printing.scan, printing.best, report=ignore_progress, cancelled=never_cancelled)
    checked = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert checked.printing and checked.printing.last_check and "never checked" not in kinds(checked)
    place = shop.root / "harbour.tif"
    before = place.stat()
    data = bytearray(place.read_bytes())
    data[-1] ^= 1
    place.write_bytes(data)
    os.utime(place, ns=(before.st_atime_ns, before.st_mtime_ns))
    with pytest.raises(Damaged):
        health.check_now(shop.db, printing.scan, printing.best, report=ignore_progress, cancelled=never_cancelled)
    assert [f.kind for f in recorded.findings_of_scan(shop.db, printing.scan.id)] == ["changed"]
    assert [(e.type, e.outcome) for e in recorded.events(shop.db, sha256=printing.scan.sha256)][-2:] == [
        ("fixity check", "success"), ("fixity check", "fail")]
    assert "no sound file" in {c.kind for c in repeat.propose(shop.db, shop.home, piece_id=piece).grave}


def test_a_replacement_keeps_its_number_and_the_loss_stays_on_record(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    edition = editions.define(shop.db, piece, 25, proofs=2)
    repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece), number="R-5")
    editions.destroy(shop.db, edition, [Number("number", 7)], "creased", day="2026-03-01")
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    with pytest.raises(Refused):
        repeat.record(shop.db, proposal, quantity=1, replacing=[Number("number", 8)])
    made = repeat.record(shop.db, proposal, quantity=1, number="R-6", replacing=[Number("number", 7)])
    assert made.numbers == "7"
    seven = next(p for p in editions.editions.issued(shop.db, edition) if p.number == 7)
    assert (seven.order_number, seven.destroyed, seven.reason, seven.replaced_in, seven.lost) == (
        "R-5", "2026-03-01", "creased", "R-6", False)
    statuses.set_status(shop.db, "R-6", "cancelled")
    assert next(p for p in editions.editions.issued(shop.db, edition) if p.number == 7).lost


def test_what_cannot_be_is_refused_in_words(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    with pytest.raises(NotFound):
        repeat.propose(shop.db, shop.home, piece_id=999)
    with pytest.raises(NotFound):
        repeat.propose(shop.db, shop.home, line_id=999)
    fresh = shop.piece("Ilse Marwood", "Never Ordered")
    with pytest.raises(Refused, match="never been ordered"):
        repeat.propose(shop.db, shop.home, piece_id=fresh)
    with pytest.raises(Refused, match="border"):
        repeat.propose(shop.db, shop.home, piece_id=piece, border_mm=300)
    for nothing in ({"width_mm": 0.0}, {"height_mm": -1.0}, {"quantity": 0}):
        with pytest.raises(Refused, match="must have a size"):
            repeat.propose(shop.db, shop.home, piece_id=piece, **nothing)  # type: ignore[arg-type]
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    for wrong in ({"quantity": 0}, {"numbers": [Number("number", 1)]}, {"status": "cancelled"}, {"proofs": True}):
        with pytest.raises(Refused):
            repeat.record(shop.db, proposal, **wrong)  # type: ignore[arg-type]
    assert len(recorded.order_lines(shop.db)) == 1


def test_the_further_lines_of_last_times_order_are_said_and_a_size_chooses_among_them(
        harbour: tuple[Shop, int, int]) -> None:
    shop, piece, line = harbour
    with transaction(shop.db):
        order = orders.save(shop.db, "R-2", "2024-05-06", status="collected", currency="EUR")
        small = orders.add_line(shop.db, order, NewLine(piece, 210, 297, 3, "Rag", unit_price="40.00", price="120.00"))
        large = orders.add_line(shop.db, order, NewLine(piece, 420, 594, 1, "Canvas", wrap_mm=38))
        gone = orders.add_line(shop.db, order, NewLine(piece, 100, 140, 1))
        orders.cancel_line(shop.db, gone)
        orders.add_line(shop.db, order, NewLine(shop.piece("Tomas Quill", "Salt Field"), 210, 297, 1))

    def proposed(**given: object) -> tuple[int, list[str]]:
        proposal = repeat.propose(shop.db, shop.home, **({"piece_id": piece} | given))  # type: ignore[arg-type]
        assert proposal.last
        return proposal.last.id, [c.text for c in proposal.cautions if c.kind == "several lines"]

    assert proposed() == (large, ["Order R-2 also had 3 prints of 21 × 29.7 cm, Rag."])
    assert proposed(width_mm=297.0, height_mm=210.0) == (small, ["Order R-2 also had 1 print of 42 × 59.4 cm, Canvas."])
    assert proposed(medium="Rag")[0] == small
    assert proposed(width_mm=100.0, height_mm=140.0)[0] == large, "what was cancelled is not repeated"
    assert proposed(piece_id=None, line_id=small) == (small, []) and proposed(piece_id=None, line_id=line) == (line, [])


def test_more_prints_than_numbers_left_are_a_grave_caution(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    editions.define(shop.db, piece, 3)
    told = [c for c in repeat.propose(shop.db, shop.home, piece_id=piece, quantity=4).grave if c.kind == "edition"]
    assert [c.text[:7] for c in told] == ["3 of 3 "]
    assert "edition" not in kinds(repeat.propose(shop.db, shop.home, piece_id=piece, quantity=3))
    repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece, quantity=2), number="R-9")
    told = [c for c in repeat.propose(shop.db, shop.home, piece_id=piece, quantity=2).grave if c.kind == "edition"]
    assert [c.text for c in told] == ["1 of 3 numbers is left; 2 are ordered."]


def test_a_closed_edition_gives_nothing_but_unnumbered_is_a_persons_choice(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, _ = harbour
    edition = editions.define(shop.db, piece, 25)
    editions.close(shop.db, edition, "2026-01-01")
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    assert "edition closed" in {c.kind for c in proposal.grave}
    with pytest.raises(Refused, match="closed"):
        repeat.record(shop.db, proposal)
    line = repeat.record(shop.db, proposal, quantity=1, unnumbered=True, notes="test strip")
    assert line is not None and line.edition_id is None


def test_the_recorded_line_is_shown_against_the_one_it_repeats(harbour: tuple[Shop, int, int]) -> None:
    shop, piece, line = harbour
    made = repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece), placed="2026-02-03")
    shown = repeat.as_recorded(shop.db, shop.home, made.id)
    assert shown.last and shown.last.id == line and shown.same_bytes is True and shown.edition is None
    first = repeat.as_recorded(shop.db, shop.home, line)
    assert first.last is None and first.fit == replace(shown, last=None).fit


def test_orders_never_run_together_after_a_number_of_another_kind(shop: Shop, tmp_path: Path) -> None:
    """An imported number of twenty digits once made every new order the same one."""
    piece = shop.piece("Ilse Marwood", "Pier")
    books = tmp_path / "books.csv"
    books.write_text("number,date,artist,piece,size\n2026-99999999999999999999,2026-01-01,Ilse Marwood,Pier,50x70\n")
    assert import_orders(shop.db, shop.home.settings, books).counts == {"recorded": 1}
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
    lines = [repeat.record(shop.db, proposal, buyer=buyer, placed="2026-02-03")
             for buyer in ("Ada", "Bo", "Cy")]
    assert [(line.number, line.buyer) for line in lines if line] == [
        ("2026-0001", "Ada"), ("2026-0002", "Bo"), ("2026-0003", "Cy")]
    with transaction(shop.db):
        for number in ("2026-9999", "2026-10000", "2026-12a"):
            orders.add(shop.db, number, "2026-02-04")
    assert orders.next_number(shop.db, "2026") == "2026-10001"
    with pytest.raises(AlreadyExists, match="already an order '2026-9999'"):
        orders.add(shop.db, "2026-9999", "2026-02-05")


@pytest.mark.parametrize(("said", "words"), [
    ({"buyer": "Bo"}, "its buyer is 'Ada', not 'Bo'"), ({"placed": "2026-02-04"}, "its date"),
    ({"status": "printed"}, "its status is 'requested', not 'printed'"), ({"currency": "USD"}, "its currency"),
    ({"order_notes": "by hand"}, "its notes is 'empty'")])
def test_what_disagrees_with_the_order_on_record_is_told(shop: Shop, said: dict[str, str], words: str) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=300, height_mm=400, afresh=True)
    known = {"number": "J-1", "buyer": "Ada", "placed": "2026-02-03", "currency": "EUR"}
    repeat.record(shop.db, proposal, **known)  # type: ignore[arg-type]
    with pytest.raises(Refused, match=words):
        repeat.record(shop.db, proposal, **{"number": "J-1"} | said)  # type: ignore[arg-type]
    repeat.record(shop.db, proposal, **known)  # type: ignore[arg-type]
    repeat.record(shop.db, proposal, number="J-1")
    assert len(orders.all_lines(shop.db)) == 3


def test_a_size_stays_what_it_is_to_the_hundredth_of_a_millimetre(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    width, height = values.size_mm("8in x 10in")
    line = repeat.record(shop.db, repeat.propose(shop.db, shop.home, piece_id=piece, width_mm=width, height_mm=height,
                                                 afresh=True)).id
    again = repeat.propose(shop.db, shop.home, line_id=line)
    shown = values.shown_size(again.line.width_mm, again.line.height_mm)
    assert shown == "20.32 × 25.4 cm" and values.size_mm(shown.replace("×", "x")) == (203.2, 254.0)
    other = repeat.propose(shop.db, shop.home, line_id=line, width_mm=203.0)
    assert "other size" in {c.kind for c in other.cautions}


def test_one_medium_however_it_is_written_is_one_edition(shop: Shop) -> None:
    piece = shop.piece("Ilse Marwood", "Pier")
    first = editions.define(shop.db, piece, 25, medium="Cotton rag")
    assert editions.define(shop.db, piece, 25, medium="cotton  RAG") == first
    assert editions.get_edition(shop.db, first).medium == "Cotton rag"


def test_a_piece_merged_while_the_question_was_open_is_said_so_and_nothing_is_recorded(shop: Shop) -> None:
    """From another seat: the order met a database error and a traceback."""
    keep, gone = shop.piece("Ada Quill", "Harbour"), shop.piece("Ada Quill", "Harbor")
    shop.scan("Ada Quill/Harbor.tif", gone)
    asked = repeat.propose(shop.db, shop.home, piece_id=gone, width_mm=300, height_mm=420, afresh=True)
    merging.merge(shop.db, keep, gone)
    with pytest.raises(Refused, match="merged"):
        repeat.record(shop.db, asked, quantity=1, placed="2026-02-03")
    assert not orders.all_lines(shop.db) and not list(orders.every(shop.db))
