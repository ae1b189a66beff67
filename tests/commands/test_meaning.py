"""A number that could be a piece's or its title's is asked about, never guessed."""

import pytest

from catalogue.commands.lookup import find_piece
from catalogue.commands.order import _subject
from catalogue.errors import Ambiguous, NotFound
from catalogue.records import orders, pieces
from catalogue.records.database import Database, transaction


@pytest.fixture
def titled_three(db: Database) -> Database:
    """Pieces 1 to 3, of which the first is called 3."""
    with transaction(db):
        artist = pieces.artist_called(db, "Ilse Marwood").id
        for title in ("3", "Pier", "Kiln"):
            pieces.piece_called(db, artist, title)
    return db


def test_a_number_that_is_also_a_title_is_ambiguous(titled_three: Database) -> None:
    with pytest.raises(Ambiguous, match="id:3 for Ilse Marwood: Kiln; id:1 for Ilse Marwood: 3"):
        find_piece(titled_three, "3")
    assert [find_piece(titled_three, words).title for words in ("id:3", "title:3", "id:1", "2", "kiln")] == [
        "Kiln", "3", "3", "Pier", "Kiln"]
    with pytest.raises(NotFound):
        find_piece(titled_three, "id:9")


def test_an_orders_number_that_is_also_a_title_is_ambiguous(titled_three: Database) -> None:
    with transaction(titled_three):
        order = orders.save(titled_three, "3", "2026-02-03")
        line = orders.add_line(titled_three, order, orders.NewLine(2, 300, 200, 1))
    with pytest.raises(Ambiguous, match="order:3"):
        _subject(titled_three, "3", None)
    assert _subject(titled_three, "order:3", None) == (line, None)
    assert _subject(titled_three, "id:3", None) == (None, 3)
