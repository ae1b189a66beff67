"""The ledger from the command line: import, repeat, editions, sheets; what is printed and what is refused."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import Ambiguous, CatalogueError, NotFound, Refused
from catalogue.ledger import editions
from catalogue.ledger.importing import RowFate
from catalogue.records import pieces
from tests import recorded

from .conftest import Shop
from .test_importing import EDITIONS, ORDERS

Call = Callable[..., Any]


@pytest.fixture
def call(shop: Shop, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    """Runs a command in this catalogue: its text, or with ``--json`` its data; the last exit code is ``call.code``."""
    monkeypatch.setenv("COLUMNS", "160")
    harbour, salt = shop.piece("Ilse Marwood", "Harbour at Low Water"), shop.piece("Tomas Quill", "Salt Field")
    shop.scan("marwood/harbour.tif", harbour, shade=1, stated_px=(6000, 8400))
    shop.scan("quill/salt.tif", salt, shade=2, stated_px=(3000, 3000))
    (shop.home.folder / "orders.csv").write_text(ORDERS, encoding="utf-8")
    (shop.home.folder / "editions.csv").write_text(EDITIONS, encoding="utf-8")

    def run(*words: object) -> Any:
        capsys.readouterr()  # what a refused command said before
        args = ["--catalogue", str(shop.home.folder), *map(str, words)]
        run.code = command.main(args, obj=Session(), standalone_mode=False) or 0  # type: ignore[attr-defined]
        text = capsys.readouterr().out
        return json.loads(text) if "--json" in words else text

    return run


@pytest.fixture
def books(call: Call, shop: Shop) -> Call:
    """With the order books imported."""
    call("import", shop.home.folder / "editions.csv")
    call("import", shop.home.folder / "orders.csv")
    return call


def test_import_shows_every_fate_first_and_exits_by_what_was_left_out(call: Call, shop: Shop) -> None:
    path = shop.home.folder / "orders.csv"
    text = call("import", shop.home.folder / "editions.csv", "--dry-run")
    assert "Would be: 1 recorded" in text and call.code == 0  # type: ignore[attr-defined]
    call("import", shop.home.folder / "editions.csv")
    text = call("import", path, "--dry-run")
    assert text.count("row ") == 5 and "'Salt Field' by Tomas Quill?" in text
    data = call("import", path, "--json")
    assert data["counts"] == {RowFate.RECORDED: 3, RowFate.NO_PIECE: 1,
                              RowFate.NOT_UNDERSTOOD: 1} and call.code == 1  # type: ignore[attr-defined]
    assert call("import", path, "--json")["counts"][RowFate.KNOWN] == 3
    with pytest.raises(click.UsageError):
        call("import", path, "--map", "piece")


def test_list_show_and_search_of_orders(books: Call) -> None:
    assert [line["number"] for line in books("order", "list", "--json")["lines"]] == ["R-102", "R-102", "R-101"]
    assert [line["number"] for line in books("order", "list", "window", "seat", "--json")["lines"]] == ["R-101"]
    assert [line["number"] for line in books("order", "list", "--year", "2021", "--json")["lines"]] == ["R-101"]
    for words in ((), ("marwood",)):
        for no_year in ("%", "2%", "____", "202", "*", ""):  # SQLite's wildcards, and the beginning of a year
            with pytest.raises(click.BadParameter):
                books("order", "list", *words, "--year", no_year)
    assert "numbers 1–2" in books("order", "list", "marwod") and "No orders match" in books("order", "list", "zzzz")
    month = books("order", "list", "--month", "2021-03", "--json")
    assert [line["number"] for line in month["lines"]] == ["R-101"]
    assert books("order", "list", "--month", "2021-04", "--json")["lines"] == []
    for wrong in (["--month", "2021"], ["--month", "2021-13"], ["--from", "2021-02-01", "--to", "2021-01-31"],
                  ["--year", "21"], ["--from", "soon"]):
        with pytest.raises(click.UsageError):
            books("order", "list", *wrong)
    text = books("order", "list", "--sort", "price", "--artist", "quill")
    assert "Salt Field" in text and text.rstrip().endswith("1 order, 1 print: 1,234.50 EUR")
    assert "numbers: 3" in books("order", "show", "R-102")
    with pytest.raises(NotFound):
        books("order", "show", "R-999")


def test_repeat_records_after_it_showed(books: Call, shop: Shop) -> None:
    seen = books("order", "repeat", "harbour", "--dry-run")
    assert "last time   06 May 2022, order R-102" in seen and "the same scan as last time" in seen
    assert len(recorded.order_lines(shop.db)) == 3
    made = books("order", "repeat", "harbour", "--quantity", "4", "--buyer", "hall", "--yes", "--json")
    assert made["numbers"] == "4–7" and made["quantity"] == 4 and made["currency"] == "EUR"
    with pytest.raises(CatalogueError, match="--yes"):
        books("order", "repeat", "harbour", "--json")
    with pytest.raises(Ambiguous, match="2 lines"):
        books("order", "repeat", "R-102", "--yes")
    with pytest.raises(Refused, match="size"):
        books("order", "repeat", "harbour", "--size", "huge", "--yes")
    with pytest.raises(Refused, match="for 5 prints"):
        books("order", "repeat", "harbour", "--numbers", "24-25", "--quantity", "5", "--yes")
    with pytest.raises(Refused, match="18 numbers left"):
        books("order", "repeat", "harbour", "--quantity", "19", "--yes")
    assert "last checked never" in books("order", "repeat", "R-101", "--dry-run")
    checked = books("order", "repeat", "R-101", "--check", "--dry-run")
    assert re.search(r"last checked \d\d [A-Z][a-z]{2} 2\d{3}", checked)


def test_a_dry_run_shows_every_number_that_would_be_issued(books: Call, shop: Shop) -> None:
    def edition(*options: str) -> str:
        seen = books("order", "repeat", "harbour", *options, "--dry-run")
        return next(line for line in seen.splitlines() if line.startswith("  edition"))

    with_gaps = books("order", "repeat", "harbour", "--numbers", "5-8", "--buyer", "hall", "--yes", "--json")
    assert with_gaps["numbers"] == "5–8"
    assert edition("--quantity", "2").endswith("18 left, next are numbers 4, 9")
    assert edition("--quantity", "1").endswith("18 left, next is number 4")
    assert edition("--quantity", "19").endswith("18 left, only numbers 4, 9–25")
    assert edition("--numbers", "9-10").endswith("numbers 9–10 asked for")
    assert edition("--unnumbered").endswith("none is issued")
    asked = books("order", "repeat", "harbour", "--numbers", "9-10", "--unit-price", "12,50", "--dry-run")
    assert "  now         2 prints of " in asked, "what would be recorded"
    assert "  price       2 × 12.50 EUR = 25.00 EUR" in asked
    with pytest.raises(Refused, match="'dear' is not a price"):
        books("order", "repeat", "harbour", "--price", "dear", "--dry-run")
    shown = books("order", "repeat", "harbour", "--quantity", "2", "--dry-run", "--json")
    made = books("order", "repeat", "harbour", "--quantity", "2", "--buyer", "hall", "--yes", "--json")
    assert (shown["numbers"], made["numbers"]) == ("4, 9", "4, 9")


def test_add_status_and_cancel(books: Call, shop: Shop) -> None:
    made = books("order", "add", "Salt", "Field", "--size", "30x30", "--price", "45,50", "--number", "N-1", "--yes",
                 "--json")
    assert (made["width_mm"], made["price"], made["status"], made["repeat_of"]) == (300, "45.50", "requested", None)
    assert books("order", "status", made["number"], "asked", "--json")["status"] == "requested", "as it was called"
    assert books("order", "list", "--state", "asked", "--json")["lines"]
    assert books("order", "status", "N-1", "approved", "--json")["status"] == "approved"
    books("order", "status", "N-1", "cancelled")
    with pytest.raises(Refused):
        books("order", "status", "N-1", "printed")
    with pytest.raises(Refused, match="price"):
        books("order", "add", "Salt", "Field", "--size", "30x30", "--price", "dear", "--yes")


def test_a_slip_is_mended_but_not_under_its_edition_numbers(books: Call) -> None:
    mended = books("order", "correct", "R-101", "--buyer", "bay window", "--price", "99", "--notes", "rolled", "--json")
    assert mended["order"]["buyer"] == "bay window" and mended["lines"][0]["price"] == "99.00"
    assert books("order", "list", "bay", "rolled", "--json")["lines"][0]["numbers"] == "1–2"
    with pytest.raises(Refused, match="numbers 1–2"):
        books("order", "correct", "R-101", "--quantity", "3")
    with pytest.raises(Refused, match="was printed as 'Harbour at Low Water'"):
        books("order", "correct", "R-101", "--piece", "salt field")
    with pytest.raises(Ambiguous):
        books("order", "correct", "R-102", "--price", "1")
    salt = next(line["id"] for line in books("order", "list", "salt", "--json")["lines"]
                if line["title"] == "Salt Field")
    assert books("order", "correct", "R-102", "--line", salt, "--quantity", "3", "--json")["lines"][1]["quantity"] == 3
    with pytest.raises(NotFound):
        books("order", "correct", "R-101", "--line", salt, "--price", "1")
    with pytest.raises(Refused, match="price"):
        books("order", "correct", "R-101", "--price", "cheap")
    made = books("order", "repeat", "R-101", "--buyer", "hall", "--yes", "--json")
    assert books("order", "correct", made["number"], "--piece", "salt", "--json")["lines"][0]["title"] == "Salt Field"


def test_editions_from_setting_to_certificates(books: Call, shop: Shop, tmp_path: Path) -> None:
    state = books("edition", "set", "salt field", "--limit", "8", "--proofs", "1", "--size", "60x60", "--json")
    edition = state["edition"]["id"]
    assert "8 left" in books("edition", "list", "quill")
    books("order", "repeat", "salt field", "--yes")
    books("edition", "destroy", edition, "1", "--reason", "wrong stock")
    books("order", "repeat", "salt field", "--replacing", "1", "--number", "N-2", "--yes")
    shown = books("edition", "show", "salt field")
    assert "destroyed" in shown and "reprinted in N-2" in shown
    books("edition", "certificates", edition, "--csv", tmp_path / "c.csv", "--html", tmp_path / "c.html")
    assert "1/8" in (tmp_path / "c.csv").read_text() and "1/8" in (tmp_path / "c.html").read_text()
    (tmp_path / "c.csv").write_text("somebody's own")
    with pytest.raises(Refused):
        books("edition", "certificates", edition, "--csv", tmp_path / "c.csv")
    with pytest.raises(NotFound, match="No piece"):
        books("edition", "close", "no such piece")
    assert "closed 03 Feb 2026" in books("edition", "close", "salt field", "--date", "2026-02-03")
    with pytest.raises(Refused, match="numbered already"):
        books("edition", "set", "salt field", "--limit", "9", "--size", "60x60")
    for wrong in (("destroy", edition, "x y", "--reason", "r"), ("close", edition, "--date", "?")):
        with pytest.raises(Refused):
            books("edition", *wrong)
    assert editions.state(shop.db, editions.get_edition(shop.db, edition)).numbers_out == 1


def test_artists_terms_and_rescans(books: Call, shop: Shop) -> None:
    books("artist", "set", "ilse", "--contact", "12 Quay Lane", "--terms", "half")
    books("artist", "set", "ilse", "--notes", "rings before noon")
    assert "12 Quay Lane" in books("artist", "show", "marwood") and "half" in books("artist", "show", "marwood")
    assert [a["name"] for a in books("artist", "list", "--json")] == ["Ilse Marwood", "Tomas Quill"]
    with pytest.raises(NotFound):
        books("artist", "show", "zzzz")
    assert "Salt Field" in books("rescan") and "Harbour" not in books("rescan")  # 3000 px on 60 cm of canvas
    text = books("rescan", "salt", "field", "--note", "light=raking, left", "--relief", "3")
    assert "light: raking, left" in text and "Ask the artist's permission" in text
    piece = pieces.by_id(shop.db, pieces.known_piece(shop.db, "Tomas Quill", "Salt Field") or 0)
    assert piece is not None and piece.relief_mm == 3
    with pytest.raises(click.UsageError):
        books("rescan", "--note", "light=left")


def test_what_a_person_says_of_an_original(books: Call, shop: Shop) -> None:
    noted = books("piece", "set", "salt", "field", "--size", "61x60.5", "--year", "2018", "--relief", "2.5", "--json")
    assert (noted["width_mm"], noted["height_mm"], noted["year"], noted["relief_mm"]) == (610, 605, "2018", 2.5)
    assert "series: Fields" in books("piece", "set", "salt", "field", "--series", "Fields")
    assert books("piece", "set", "salt", "field", "--title", "Salt Fields", "--json")["year"] == "2018"
    assert books("order", "list", "salt", "fields", "--json")["lines"]
    shop.piece("Tomas Quill", "Other")
    for wrong in (("--title", "OTHER"), ("--title", " "), ("--size", "big")):
        with pytest.raises(Refused):
            books("piece", "set", "salt", "fields", *wrong)


def test_sheets_tables_and_holdings(books: Call, shop: Shop, tmp_path: Path) -> None:
    assert books("order", "sheet", "R-101", "--text").split()[:4] == ["JOB", "SHEET", "order", "R-101,"]
    written = books("order", "sheet", "R-102", "--copy", "--folder", tmp_path / "job", "--json")
    assert sorted(Path(f).suffix for one in written for f in one["files"]) == sorted([".html", ".txt", ".tif"] * 2)
    with pytest.raises(NotFound):
        books("order", "sheet", "R-102", "--line", "999")
    books("export", "csv", "orders", tmp_path / "o.csv")
    assert (tmp_path / "o.csv").read_text().count("\n") == 4
    with pytest.raises(Refused, match="store"):
        books("export", "csv", "editions", shop.root / "e.csv")
    page = Path(books("export", "holdings", "marwood", "--json")["written"])
    assert page.parent == shop.home.sheets and "Harbour at Low Water" in page.read_text(encoding="utf-8")
    books("export", "holdings", "marwood", "--to", tmp_path / "h.html")
    (tmp_path / "h.html").write_text("somebody's own")
    with pytest.raises(Refused):
        books("export", "holdings", "marwood", "--to", tmp_path / "h.html")


def test_a_cancelled_line_is_shown_as_such_and_gets_no_job_sheet(books: Call) -> None:
    first, second = (line["id"] for line in books("order", "show", "R-102", "--json")["lines"])
    books("order", "status", "R-102", "cancelled", "--line", first)
    shown = books("order", "show", "r-102")
    assert f"line {first}, cancelled:" in shown and f"line {second}:" in shown
    (sheet,) = books("order", "sheet", "R-102", "--json")
    assert f"line {second}" in sheet["files"][0]
    assert books("order", "sheet", "R-102", "--text").count("JOB SHEET") == 1
    assert books("order", "sheet", "R-102", "--line", first, "--text").count("JOB SHEET") == 1
    books("order", "status", "R-102", "cancelled")
    assert books("order", "sheet", "R-102", "--text").count("JOB SHEET") == 2
    assert "cancelled" in books("show", "harbour")


def test_what_was_changed_is_said_in_the_history(books: Call) -> None:
    line = next(line["id"] for line in books("order", "show", "R-102", "--json")["lines"]
                if line["title"] == "Salt Field")

    def newest() -> str:
        return str(books("history", "--limit", 1, "--json")[0]["detail"])

    before = books("order", "show", "R-102", "--json")["buyer"]
    books("order", "correct", "R-102", "--buyer", "Petra Hall")
    assert newest() == f"order R-102: buyer {before or 'none'} → Petra Hall"
    books("order", "correct", "R-102", "--line", line, "--quantity", "3", "--price", "30")
    assert newest() == f"line {line} of order R-102: price 1234.50 → 30.00, quantity 1 → 3, unit price 1234.50 → 10.00"
    assert "Undone: line" in books("undo")
    books("order", "repeat", "harbour", "--quantity", "2", "--number", "N-9", "--yes")
    made = books("order", "show", "N-9", "--json")["lines"][0]["id"]
    assert newest() == f"order N-9 added; line {made} of order N-9 added; numbers 4–5 issued"
    books("order", "status", "N-9", "cancelled", "--line", made)
    assert newest() == f"line {made} of order N-9 cancelled; numbers 4–5 freed; order N-9: status requested → cancelled"


def test_a_missing_price_and_buyer_are_said_before_it_is_recorded(books: Call) -> None:
    seen = books("order", "repeat", "harbour", "--size", "20x28", "--dry-run")
    assert "price       none" in seen and "buyer       none" in seen
    assert "after today" not in seen
    seen = books("order", "repeat", "harbour", "--date", "9999-12-31", "--dry-run")
    assert "date        31 Dec 9999, which is after today" in seen
    seen = books("order", "repeat", "harbour", "--size", "20x28", "--unit-price", "9", "--buyer", "Hall", "--dry-run")
    assert "price       none" not in seen and "buyer       none" not in seen


def test_tables_are_not_broken_where_a_program_reads(books: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    for words in (("order", "list", "--sort", "price"), ("edition", "where")):
        heading, *rows = books(*words).splitlines()
        whole = {len(row) for row in rows if row[:1] != " " and "  " in row}
        assert whole == {len(heading)} and len(heading) > 40, words


def test_several_orders_are_changed_at_once_and_undone_at_once(books: Call) -> None:
    done = books("order", "change", "R-101", "R-102", "--state", "printed", "--notes", "fair", "--json")
    assert [(one["status"], one["notes"]) for one in done["orders"]] == [("printed", "fair")] * 2
    assert "catalogue undo" in books("order", "change", "R-101", "--unit-price", "95")
    assert books("order", "show", "R-101", "--json")["lines"][0]["price"] == "190.00"
    with pytest.raises(NotFound):
        books("order", "change", "R-101", "R-999", "--state", "collected")
    assert books("order", "show", "R-101", "--json")["status"] == "printed", "all or none"
    books("undo", done["event"])
    assert {books("order", "show", number, "--json")["status"] for number in ("R-101", "R-102")} == {"collected"}
    assert books("order", "change", "R-101", "--state", "collected", "--json")["event"] is None


def test_buyers_from_the_command_line(books: Call) -> None:
    name = books("buyer", "list", "--json")[0]["name"]
    assert name in books("buyer", "set", name, "--contact", "1 Quay Lane")
    text = books("buyer", "show", name)
    assert "1 Quay Lane" in text and "order" in text.splitlines()[-1]
    books("order", "add", "Salt", "Field", "--size", "30x30", "--number", "N-7", "--buyer", "Dr Oakhanger", "--yes")
    assert "Undo" in books("buyer", "merge", "oakhanger", "--into", name)
    assert books("order", "list", "--buyer", name, "--month", books("order", "show", "N-7", "--json")["placed"][:7],
                 "--json")["lines"][0]["buyer"] == name
