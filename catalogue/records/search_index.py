"""Making the search indexes again, where one no longer says what the catalogue holds."""

import sqlite_utils

from catalogue.records.rows import Database

REBUILT_BY_FTS5 = ("artist_words", "file_words")    # they read a view of what they index
FILLED_BY = {"piece_words": "SELECT id AS rowid, words FROM piece_text",
             "order_words": "SELECT id AS rowid, folded(words) AS words FROM order_text"}


def rebuild_search(db: Database) -> None:
    """Make every search index again, in the caller's transaction, and merge its parts."""
    tables = sqlite_utils.Database(db.conn, execute_plugins=False)
    for name in REBUILT_BY_FTS5:
        tables.table(name).rebuild_fts()
    for name, rows in FILLED_BY.items():
        tables.table(name).delete_where()
        tables.table(name).insert_all(tables.query(rows))
    for name in (*REBUILT_BY_FTS5, *FILLED_BY):
        tables.table(name).optimize()
