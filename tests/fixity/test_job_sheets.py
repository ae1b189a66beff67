"""Job sheets read back from the disk, of any version of the program."""

from pathlib import Path

import pytest

from catalogue.fixity.job_sheets import read_sheets


@pytest.mark.parametrize("status", ["asked", "requested", "approved", "printed", "collected", "cancelled"])
def test_a_sheet_of_any_status_is_read(tmp_path: Path, status: str) -> None:
    """"asked" stands on sheets from before schema 21."""
    (tmp_path / "sheet.txt").write_text(f"JOB SHEET  order R, 7, 3 March 2024, {status}\nAda Quill: Harbour\n\n"
                                        "edition numbers: 3–5\n", encoding="utf-8")
    assert [(s.number, s.artist, s.title, s.numbers) for s in read_sheets(tmp_path)] == [
        ("R, 7", "Ada Quill", "Harbour", "3–5")]


def test_a_text_that_only_looks_like_a_sheet_is_none(tmp_path: Path) -> None:
    (tmp_path / "note.txt").write_text("JOB SHEET  order R-7, 3 March 2024, lost\nAda Quill: Harbour\n")
    assert list(read_sheets(tmp_path)) == []
