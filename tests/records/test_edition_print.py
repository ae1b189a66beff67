"""The upgrade to one table of prints: what was out, destroyed and replaced is so afterwards."""

import sqlite3
from contextlib import closing
from pathlib import Path

from catalogue.records import editions
from catalogue.records.database import migrations, open_database


def test_numbers_and_losses_of_an_older_catalogue_become_prints(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    with closing(sqlite3.connect(path, isolation_level=None)) as old:
        for number, script in migrations():
            if number <= 7:
                old.executescript(script)
        old.executescript("""
            PRAGMA user_version = 7;
            INSERT INTO artist (id, name, key) VALUES (1, 'Ada Quill', 'ada quill');
            INSERT INTO piece (id, artist_id, title, key) VALUES (1, 1, 'Harbour', 'harbour');
            INSERT INTO edition (id, piece_id, size_limit, proofs) VALUES (1, 1, 9, 1);
            INSERT INTO orders (id, number, placed, status) VALUES
                (1, 'A', '2020-01-01', 'printed'), (2, 'B', '2020-01-02', 'asked'), (3, 'C', '2020-01-03', 'printed'),
                (4, 'D', '2020-01-04', 'cancelled');
            INSERT INTO order_line (id, order_id, piece_id, width_mm, height_mm, quantity)
                SELECT id, id, 1, 300, 200, 1 FROM orders;
            INSERT INTO edition_number VALUES (1, 'number', 1, 1, ''), (1, 'number', 2, 2, ''), (1, 'number', 3, 1, ''),
                (1, 'number', 4, 1, ''), (1, 'number', 5, 4, ''), (1, 'proof', 1, NULL, '');
            INSERT INTO destroyed_print (edition_id, series, number, destroyed, reason, line_id) VALUES
                (1, 'number', 3, '2021-01-01', 'torn', 3), (1, 'number', 3, '2021-02-01', 'again', NULL),
                (1, 'number', 4, '2021-01-01', 'lost', 3);""")
    db = open_database(path)
    found = {(p.series, p.number): (p.state, p.destroyed, p.replaced_in) for p in editions.issued(db, 1)}
    assert found == {
        ("number", 1): ("printed", "", ""), ("number", 2): ("reserved", "", ""),
        ("number", 3): ("destroyed", "2021-02-01", ""), ("number", 4): ("printed", "2021-01-01", "C"),
        ("number", 5): ("printed", "", ""), ("proof", 1): ("printed", "", "")}
    held, anew, lost = editions.by_line(db)
    assert anew == {3: [("number", 3), ("number", 4)]} and [n for n, *_ in lost[3]] == [("number", 3)]
    assert len(held[1]) == 3
    db.close()
