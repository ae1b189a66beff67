"""The event log: that altering it, removing from it, and cutting its end are all noticed.

SHA-256 and JSON are the standard library's; the chain is computed here a second time from the rows alone.
"""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner
from fixity_shop import Shop

from catalogue.commands import command
from catalogue.fixity import log, manifest
from catalogue.records import events, journal, orders
from catalogue.records.database import transaction
from catalogue.records.replay import differences
from tests import recorded

Scan = Callable[..., Path]
PREMIS = {"capture", "creation", "deletion", "filename change", "fixity check", "ingestion",
          "message digest calculation", "metadata extraction", "metadata modification", "migration", "quarantine",
          "recovery", "replication", "transfer", "validation"}  # id.loc.gov, eventType


@pytest.fixture
def shop_with_history(shop: Shop, scan: Scan) -> Shop:
    for n in range(3):
        scan(f"main/Ada Quill/Harbour/{n}.tif", seed=n)
    shop.index()
    shop.audit()
    return shop


def tamper(shop: Shop, sql: str) -> None:
    """As one would who opens the file with another program: the triggers that forbid it are dropped first."""
    with shop.db.conn:
        shop.db.execute("DROP TRIGGER IF EXISTS event_never_changed")
        shop.db.execute("DROP TRIGGER IF EXISTS event_never_deleted")
        shop.db.execute(sql)


def test_the_chain_can_be_followed_by_anyone(shop_with_history: Shop) -> None:
    previous = "0" * 64
    rows = recorded.events(shop_with_history.db)
    assert len(rows) > 6
    for e in rows:
        facts = [e.at, e.type, e.outcome, e.agent, e.store, e.path, e.sha256, e.detail,
                 *([e.change] if e.change else [])]
        previous = hashlib.sha256((previous + json.dumps(facts, ensure_ascii=False)).encode()).hexdigest()
        assert e.chain == previous
        assert e.type in PREMIS
        assert "master-scan-catalogue 0" in e.agent
    assert log.verify_chain(shop_with_history.db, shop_with_history.home).sound


@pytest.mark.parametrize(("sql", "broken"), [
    ("UPDATE event SET outcome = 'warning' WHERE id = 3", 3), ("UPDATE event SET at = '2001-01-01' WHERE id = 3", 3),
    ("UPDATE event SET detail = 'x' WHERE id = 1", 1), ("DELETE FROM event WHERE id = 3", 4),
    ("DELETE FROM event WHERE id = 1", 2)])
def test_tampering_is_noticed_at_the_event_and_nowhere_else(shop_with_history: Shop, sql: str, broken: int) -> None:
    """Later events follow from the one before as it stands: the log tells where it was altered, not from where on."""
    tamper(shop_with_history, sql)
    found = log.verify_chain(shop_with_history.db, shop_with_history.home)
    assert not found.sound
    assert [event.id for event in found.broken] == [broken]


def test_a_cut_end_is_noticed_by_the_head_beside_the_catalogue(shop_with_history: Shop) -> None:
    last = log.head(shop_with_history.db).id
    tamper(shop_with_history, f"DELETE FROM event WHERE id > {last - 2}")
    found = log.verify_chain(shop_with_history.db, shop_with_history.home)
    assert not found.broken, "the chain alone cannot show it"
    assert f"event {last}" in found.lost
    shop_with_history.audit()
    assert not log.verify_chain(shop_with_history.db, shop_with_history.home).sound, "a later run must not hide it"


def test_a_cut_end_is_noticed_by_the_head_in_a_stores_manifest(shop_with_history: Shop) -> None:
    shop = shop_with_history
    manifest.export_into(shop.db, shop.store(), consent=True)
    (shop.home.folder / log.HEAD_NAME).unlink()
    last = log.head(shop.db).id
    tamper(shop, f"DELETE FROM event WHERE id > {last - 3}")
    assert not log.verify_chain(shop.db, shop.home, tuple(manifest.heads(shop.db))).sound


def test_the_database_itself_refuses_to_change_or_drop_events(shop_with_history: Shop) -> None:
    for sql in ("UPDATE event SET detail = 'x'", "DELETE FROM event"):
        with pytest.raises(Exception, match="append-only"):
            shop_with_history.db.execute(sql)
        shop_with_history.db.conn.rollback()


def test_a_clock_set_back_is_told_from_tampering(shop_with_history: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(events, "now", lambda: "2001-01-01T00:00:00.000Z")
    shop_with_history.audit()
    found = log.verify_chain(shop_with_history.db, shop_with_history.home)
    assert found.sound
    assert found.backwards == 1


def test_a_review_is_noted_and_keeps_the_head(shop_with_history: Shop) -> None:
    shop = shop_with_history
    assert log.review(shop.db, shop.home).sound
    last = recorded.events(shop.db)[-1]
    assert (last.type, last.outcome) == ("validation", "success")
    assert last.detail.startswith(log.REVIEWED)
    assert log.kept_head(shop.home) == log.Head(last.id, "", last.chain)


@pytest.mark.parametrize(("sql", "row"), [
    ("DELETE FROM order_line WHERE id = 1", "order line 1"),
    ("INSERT INTO orders (number, placed) VALUES ('X', '2026-01-01')", "order 2")])
def test_a_ledger_that_is_not_what_the_log_says_is_a_finding(shop_with_history: Shop, sql: str, row: str) -> None:
    """tests/records/test_statements.py holds what is a difference."""
    shop = shop_with_history
    runner = CliRunner()
    asked = ["--catalogue", str(shop.home.folder), "audit", "--log"]
    with transaction(shop.db):
        order = orders.save(shop.db, "2026-0001", "2026-02-03")
        orders.add_line(shop.db, order, orders.NewLine(1, 600.0, 400.0, 1, price="120.00"))
    before = runner.invoke(command, asked)
    assert before.exit_code == 0
    for (name,) in shop.db.execute("SELECT name FROM sqlite_schema WHERE name GLOB 'statement_of_*'").fetchall():
        shop.db.execute(f"DROP TRIGGER {name}")
    shop.db.execute(sql)
    found = runner.invoke(command, asked)
    (words,) = map(str, differences(shop.db))
    assert found.exit_code == 1 and words.startswith(row) and words in found.output
    told = json.loads(runner.invoke(command, [*asked, "--json"]).stdout)
    assert (told["broken"], told["lost"], told["differences"]) == ([], "", [words])


def test_a_damaged_journal_is_told_once_and_written_anew(shop_with_history: Shop) -> None:
    shop = shop_with_history
    path = journal.path_of(shop.home.database)
    path.write_bytes(path.read_bytes().replace(b"primary", b"copied!", 1))
    found = log.review(shop.db, shop.home)
    assert not found.sound and found.unbroken and "line 1" in found.journal[0]
    assert log.review(shop.db, shop.home).sound
