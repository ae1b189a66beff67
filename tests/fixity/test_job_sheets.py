"""Job sheets read back from the disk, of any version of the program."""

from pathlib import Path

import pytest

from catalogue.fixity.job_sheets import read_sheets


@pytest.mark.parametrize("status", ["asked", "requested", "approved", "printed", "collected", "cancelled"])
def test_a_sheet_of_any_status_is_read(tmp_path: Path, status: str) -> None:
    """"asked" stands on sheets from before schema 21."""
    (tmp_path / "sheet.txt").write_text(f"JOB SHEET  order R, 7, 3 March 2024, {status}\nAda Quill: Harbour\n\n"
                                        "edition numbers: 3–5\n", encoding="utf-8")
    assert [(s.number, s.artist, s.title, s.numbers) for s in read_sheets(tmp_path, "%d %b %Y")] == [
        ("R, 7", "Ada Quill", "Harbour", "3–5")]


def test_a_text_that_only_looks_like_a_sheet_is_none(tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("JOB SHEET  order R-7, 3 March 2024, lost\nAda Quill: Harbour\n")
    assert list(read_sheets(tmp_path, "%d %b %Y")) == []


@pytest.mark.parametrize(("dated", "style"), [
    ("Nov 26, 2026", "%b %d, %Y"), ("Thu, 26 Nov 2026", "%a, %d %b %Y"), ("26 Nov 2026", "%d %b %Y"), ("", "%d %b %Y"),
    ("2026-11-26", "%b %d, %Y"), ("Nov 26, 2026", "%d %b %Y")])
@pytest.mark.parametrize("number", ["A-1", "Smith, Ann 3"])
def test_a_comma_in_the_day_is_no_part_of_the_number(tmp_path: Path, number: str, dated: str, style: str) -> None:
    (tmp_path / "a.txt").write_text(f"JOB SHEET  order {number}, {dated}, printed\nIlse Marwood: Pier\n")
    assert [sheet.number for sheet in read_sheets(tmp_path, style)] == [number]
