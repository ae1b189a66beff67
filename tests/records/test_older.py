"""Catalogues of every schema that was ever the newest, made by the program of that day, say the same once upgraded.

They are made by scripts/older_catalogues.py, which names the program's state behind each.
"""

import json
import lzma
import os
import signal
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from older_facts import facts

from catalogue.errors import CatalogueError, Damaged
from catalogue.records import events, schema
from catalogue.records.backup import condition
from catalogue.records.database import former, migrations, needs_upgrade, open_database
from catalogue.records.replay import differences
from catalogue.records.statements import PREFIX, STATED_TABLES

OLDER = sorted((Path(__file__).parent / "older").glob("*.sqlite.xz"))


@pytest.fixture(params=OLDER, ids=lambda path: path.name.removesuffix(".sqlite.xz"))
def older(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[Path, dict[str, object]]:
    """A catalogue file of an older schema, and what it says."""
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(lzma.decompress(request.param.read_bytes()))
    return path, json.loads(request.param.with_name(request.param.name.replace(".sqlite.xz", ".json")).read_text())


def _told(path: Path) -> dict[str, object]:
    with closing(sqlite3.connect(path)) as connection:
        return json.loads(json.dumps(facts(connection)))  # type: ignore[no-any-return]


def in_present_words(told: dict[str, Any]) -> dict[str, Any]:
    """What a catalogue said, with an order's first status as it is called since schema 21."""
    return told | {"orders": [[*row[:3], "requested" if row[3] == "asked" else row[3], *row[4:]]
                              for row in told["orders"]]}


def _version(path: Path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return int(connection.execute("PRAGMA user_version").fetchone()[0])


def test_there_is_one_of_each() -> None:
    """All but those that were never the newest of a version in use; the newest can only be made once it is on the main
    branch."""
    *older_schemas, newest = (number for number, _ in migrations())
    made = {int(path.name[7:9]) for path in OLDER}
    never = {15, 16, 17, 25, 26, 28, 29, 30}
    assert made | {newest} == {number for number in older_schemas if number >= 6} - never | {newest}


def test_an_upgrade_keeps_every_fact(older: tuple[Path, dict[str, object]]) -> None:
    path, former_facts = older
    told = in_present_words(former_facts)
    before, older_schema, newest = path.read_bytes(), _version(path), migrations()[-1][0]
    assert needs_upgrade(path)
    open_database(path).close()
    assert not needs_upgrade(path)
    db = open_database(path)
    assert _version(path) == newest
    found = _told(path)
    for kind, rows in told.items():
        assert found[kind] == rows, kind
    assert not differences(db) and not list(events.broken_links(db))
    watched = {row[0] for row in db.execute("SELECT DISTINCT tbl_name FROM sqlite_schema WHERE name GLOB ?",
                                            [f"{PREFIX}*"])}
    assert watched == {table.name for table in STATED_TABLES}
    db.close()
    assert condition(path).faults == ()
    if older_schema == newest:
        assert not former(path).exists() and found == former_facts, "the newest is opened as it is"
        return
    assert condition(former(path)).faults == ()
    with closing(sqlite3.connect(former(path))) as kept:
        assert json.loads(json.dumps(facts(kept))) == former_facts, "the catalogue of before is kept"
    assert len(before) == former(path).stat().st_size
    open_database(path).close()
    assert _told(path) == found, "opening it again changes nothing"


@pytest.mark.parametrize("part", [0.0, 0.3, 0.7, 1.0])
def test_a_kill_in_the_middle_of_an_upgrade_leaves_the_old(tmp_path: Path, part: float) -> None:
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(lzma.decompress(OLDER[0].read_bytes()))
    told = _told(path)
    steps = [statement for number, script in migrations() if number > 6
             for statement in schema.split_statements(script)]
    stop = steps[min(int(part * len(steps)), len(steps) - 1)]
    child = os.fork()
    if not child:
        split = schema.split_statements

        def killed(script: str) -> Iterator[str]:
            for statement in split(script):
                if statement == stop:
                    os.kill(os.getpid(), signal.SIGKILL)
                yield statement

        try:
            schema.split_statements = killed
            open_database(path)
        finally:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status)
    assert _version(path) == 6 and _told(path) == told
    open_database(path).close()
    assert _told(path) == in_present_words(told) | {
        "events": _told(path)["events"], "print files": [], "print recipes": [], "handovers": []}


def test_no_upgrade_without_a_sound_copy(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(lzma.decompress(OLDER[0].read_bytes()))
    former(path).mkdir()
    with pytest.raises(CatalogueError, match="copy of the catalogue"):
        open_database(path)
    assert _version(path) == 6


def test_a_damaged_catalogue_is_not_upgraded(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    path.write_bytes(lzma.decompress(OLDER[0].read_bytes()))
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE file SET store_id = 999 WHERE id = (SELECT min(id) FROM file)")
    told = _told(path)
    with pytest.raises(Damaged, match="not upgraded"):
        open_database(path)
    assert _version(path) == 6 and _told(path) == told
    assert not former(path).exists()
