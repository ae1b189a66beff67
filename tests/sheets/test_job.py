"""The job sheet: one page, everything on it, nothing outside it, and a copy that is proven."""

import hashlib
import os
from collections.abc import Callable

import pytest

from catalogue.errors import CatalogueError, Damaged, NotFound, Refused
from catalogue.ledger import editions, repeat
from catalogue.records import files, findings, orders, scans
from catalogue.records.database import transaction
from catalogue.records.orders import NewLine
from catalogue.sheets.job import BEYOND_THE_PICTURE, NOT_YET_CHECKED, job_sheet, write_job
from tests.files import part_path

from .conftest import Reader, Shop, preview

WICKED = "Harbour </title><script>alert('x')</script> [bold]\"&amp;"


@pytest.fixture
def job(shop: Shop) -> tuple[Shop, int, str]:
    """A shop with one repeated line: ``(shop, line, digest)``."""
    piece = shop.piece("Ilse Marwood", "Harbour at Low Water")
    sha256 = shop.scan("Marwood/har[b]our – low.tif", piece, shade=1, stated_px=(6000, 8400))
    preview(shop, sha256, (717, 1024))
    editions.define(shop.db, piece, 25, proofs=3)
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2023-05-06", status="collected", currency="EUR")
        orders.add_line(shop.db, order, NewLine(piece, 500, 700, 2, "Cotton rag 310", border_mm=25,
                                                scan_sha256=sha256, notes="a touch darker", profile="Rag v2"))
    proposal = repeat.propose(shop.db, shop.home, piece_id=piece)
    return shop, repeat.record(shop.db, proposal, number="J/7", placed="2026-02-03", buyer="Corner gallery",
                               notes="matte varnish").id, sha256


def test_all_a_printer_needs_is_on_both_forms(job: tuple[Shop, int, str], read: Callable[[str], Reader]) -> None:
    shop, line, sha256 = job
    sheet = job_sheet(shop.db, shop.home, line)
    page = read(sheet.html)
    for text in (" ".join(" ".join(page.text).split()), " ".join(sheet.text.split())):
        for fact in ("Harbour at Low Water", "Ilse Marwood", "J/7", "03 Feb 2026", "2 prints", "1–2", "50 × 70 cm",
                     "25 mm white; picture 45 × 65 cm", "Cotton rag 310", "Rag v2", "a touch darker",
                     "at " + str(shop.root), "matte varnish",
                     "har[b]our – low.tif", "the same scan, bit for bit", "R-1", NOT_YET_CHECKED,
                     "read-only", "steel rule", "local rules"):
            assert fact in text, fact
    assert sha256 in sheet.text and sha256 in "".join(page.text)
    assert len(page.pictures) == 1


def test_cautions_of_finishing_come_only_where_they_belong(job: tuple[Shop, int, str]) -> None:
    shop, line, _ = job
    with transaction(shop.db):
        order = orders.save(shop.db, "R-8", "2026-03-03")
        canvas = orders.add_line(shop.db, order, NewLine(1, 500, 700, 1, "Canvas", wrap_mm=38))
    paper, wrapped = (job_sheet(shop.db, shop.home, one).text for one in (line, canvas))
    assert "steel rule" in paper and "steel rule" not in wrapped
    assert BEYOND_THE_PICTURE in wrapped and BEYOND_THE_PICTURE not in paper
    assert "flame" in paper and "flame" not in wrapped
    checked = job_sheet(shop.db, shop.home, line, checked=True).text
    assert "just now: intact" in checked and NOT_YET_CHECKED not in checked


def test_a_sheet_says_just_now_only_of_a_file_that_was_read_for_it(job: tuple[Shop, int, str]) -> None:
    shop, line, sha256 = job
    held = files.of_scan(shop.db, scans.by_digest(shop.db, sha256).id)  # type: ignore[union-attr]
    with transaction(shop.db):
        files.mark_checked(shop.db, held[0].id, "2026-01-20T10:00:00")
    sheet = job_sheet(shop.db, shop.home, line)
    for text in (sheet.text, sheet.html):
        assert "just now" not in text and "20 Jan 2026" in text


def test_hostile_text_stays_text(shop: Shop, read: Callable[[str], Reader]) -> None:
    piece = shop.piece("<img src=x onerror=alert(1)>", WICKED)
    sha256 = shop.scan("a.tif", piece, stated_px=(600, 840))
    with transaction(shop.db):
        order = orders.save(shop.db, "<b>1", "2026-01-01", buyer=WICKED, notes=WICKED)
        line = orders.add_line(shop.db, order, NewLine(piece, 500, 700, 1, WICKED, scan_sha256=sha256, edge=WICKED,
                                                       profile=WICKED, settings=WICKED, notes=WICKED))
    page = read(job_sheet(shop.db, shop.home, line).html)
    assert "".join(page.text).count("alert('x')") >= 5


def test_it_prints_on_one_a4_page_however_long_the_notes(shop: Shop, tmp_path: object) -> None:
    try:
        import weasyprint
        from weasyprint.urls import URLFetcher
    except OSError as error:
        pytest.skip(f"the system has no text library for PDF: {error}")

    piece = shop.piece("Ilse Marwood of the Long Name upon the Water", "Harbour " * 12)
    sha256 = shop.scan(f"{'long folder name ' * 8}/{'long name ' * 12}.tif", piece, stated_px=(600, 1000))
    preview(shop, sha256)
    note = "as agreed on the telephone, see the proof that hangs by the door; " * 40
    with transaction(shop.db):
        for number in ("R-1", "R-2"):
            order = orders.save(shop.db, number, "2026-01-01", buyer="Somebody " * 10)
            line = orders.add_line(shop.db, order, NewLine(
                piece, 500, 700, 12, "Canvas with varnish, satin", wrap_mm=38, edge="picture", scan_sha256=sha256,
                profile="A long profile name " * 4, settings=note, notes=note))
    sheet = job_sheet(shop.db, shop.home, line)
    document = weasyprint.HTML(string=sheet.html, url_fetcher=URLFetcher(allowed_protocols=("data",))).render()
    assert len(document.pages) == 1
    page = document.pages[0]
    assert (round(page.width / 96 * 25.4), round(page.height / 96 * 25.4)) == (210, 297)  # ISO 216 A4
    assert sheet.text.count("more in the catalogue") == 3


def test_a_job_folder_holds_the_sheets_and_a_proven_copy(job: tuple[Shop, int, str]) -> None:
    shop, line, sha256 = job
    written = write_job(shop.db, shop.home, line, copy_master=True)
    assert [p.suffix for p in written.files] == [".html", ".txt", ".tif"]
    assert written.folder.is_relative_to(shop.home.sheets) and "J-7" in written.folder.name
    copy = written.files[-1]
    assert copy.name == "har[b]our – low.tif" and hashlib.sha256(copy.read_bytes()).hexdigest() == sha256
    assert "just now: intact" in written.files[1].read_text(encoding="utf-8")
    os.link(written.files[-1], part_path(written.files[-1]))  # as a kill between the two names leaves it
    assert write_job(shop.db, shop.home, line, copy_master=True).files == written.files  # once more does no harm
    assert not part_path(written.files[-1]).exists()


def test_a_damaged_master_is_not_copied_and_becomes_a_finding(job: tuple[Shop, int, str]) -> None:
    shop, line, _ = job
    place = shop.root / "Marwood" / "har[b]our – low.tif"
    data = bytearray(place.read_bytes())
    data[len(data) // 2] ^= 0xFF
    place.write_bytes(data)
    with pytest.raises(Damaged):
        write_job(shop.db, shop.home, line, copy_master=True)
    assert not shop.home.sheets.exists()
    assert [f.kind for f in findings.list_open(shop.db)] == ["edited"]
    place.unlink()
    with pytest.raises(CatalogueError, match="is missing"):
        write_job(shop.db, shop.home, line, copy_master=True)


def test_a_refusal_names_every_place_and_what_is_wrong_there(job: tuple[Shop, int, str]) -> None:
    shop, line, digest = job
    scan = scans.by_digest(shop.db, digest)
    assert scan is not None
    (shop.root / files.of_scan(shop.db, scan.id)[0].path).unlink()
    files.save(shop.db, 1, "second.tif", 10, 1, scan.id, verified=True)
    with pytest.raises(CatalogueError) as told:
        write_job(shop.db, shop.home, line, copy_master=True)
    assert "low.tif is missing" in told.value.message and "second.tif is missing" in told.value.message
    assert "Put the file back" in told.value.hint


def test_nothing_is_written_into_a_store_or_over_another_file(job: tuple[Shop, int, str]) -> None:
    shop, line, _ = job
    before = sorted(p for p in shop.root.rglob("*"))
    for folder in (shop.root, shop.root / "jobs", shop.root / "x" / ".." / "jobs"):
        with pytest.raises(Refused, match="store"):
            write_job(shop.db, shop.home, line, folder=folder)
    assert sorted(p for p in shop.root.rglob("*")) == before
    folder = shop.home.folder / "job"
    folder.mkdir()
    other = folder / "har[b]our – low.tif"
    other.write_bytes(b"someone's work")
    with pytest.raises(Refused, match="overwritten"):
        write_job(shop.db, shop.home, line, folder=folder, copy_master=True)
    assert other.read_bytes() == b"someone's work"


def test_an_unknown_line_or_scan_is_said(shop: Shop) -> None:
    with pytest.raises(NotFound):
        job_sheet(shop.db, shop.home, 77)
    piece = shop.piece("Ilse Marwood", "Pier")
    with transaction(shop.db):
        order = orders.save(shop.db, "R-1", "2026-01-01")
        line = orders.add_line(shop.db, order, NewLine(piece, 500, 700, 1, scan_sha256="f" * 64, scan_name="gone.tif"))
    sheet = job_sheet(shop.db, shop.home, line)
    assert "gone.tif (not in the catalogue)" in sheet.text and "f" * 64 in sheet.text
