"""Search finds what a person types at the counter."""

import pytest

from catalogue.records import orders, pieces
from catalogue.records.database import Database, transaction
from catalogue.records.search import search, words_of


@pytest.fixture
def stocked(db: Database) -> Database:
    with transaction(db):
        for artist, title, year in [("Ädelheid Óskar", "Harbour at Dusk", "2019"), ("Ben Orrery", "Harbour Wall", ""),
                                    ("Ben Orrery", "Red", ""), ("Ben Orrery", "Redwood", "")]:
            pieces.piece_called(db, pieces.artist_called(db, artist).id, title, year)
        order = orders.save(db, "F-2021-017", "2021-05-03", buyer="Marlow Inn", notes="for the stairwell")
        orders.add_line(db, order, orders.NewLine(1, 500, 700, 10, medium="cotton rag 310 g"))
    return db


@pytest.mark.parametrize("typed", ["harbour dusk", "HARBOUR DUSK", "harb dus", "adelheid", "ädelheid harbour",
                                   "harbor dusk", "harbuor dusk", "oscar harbour", "dusk 2019"])
def test_pieces(stocked: Database, typed: str) -> None:
    assert search(stocked, typed).pieces[0].title == "Harbour at Dusk"


@pytest.mark.parametrize("typed", ["50x70", "70 x 50", "50×70 cm", "50.2 x 69,8cm", "500x700", "500 x 700 mm",
                                   "50cm x 70cm", "50x70cm harbour", "F-2021-O17", "F-2021-017", "2021 marlow", "marlo",
                                   "marlwo", "stairwell", "harbour 50x70", "cotton rag"])
def test_orders(stocked: Database, typed: str) -> None:
    assert [o.number for o in search(stocked, typed).orders] == ["F-2021-017"]


def test_of_many_orders_the_newest_come_first(stocked: Database) -> None:
    with transaction(stocked):
        for year in range(2010, 2020):
            order = orders.save(stocked, f"G-{year}", f"{year}-01-01", buyer="Marlow Inn")
            orders.add_line(stocked, order, orders.NewLine(1, 300, 400, 1))
        order = orders.save(stocked, "G-2024", "2024-01-01", buyer="Marlow Inn")
        orders.add_line(stocked, order, orders.NewLine(1, 300, 400, 1))
    assert [o.number for o in search(stocked, "marlow", 3).orders][:1] == ["G-2024"]


def test_whole_words_come_before_beginnings(stocked: Database) -> None:
    assert [p.title for p in search(stocked, "red").pieces] == ["Red", "Redwood"]


def test_every_word_must_be_found(stocked: Database) -> None:
    assert not search(stocked, "harbour wall dusk").pieces


@pytest.mark.parametrize("typed", ["", "   ", '"', "'", "*", "AND", "NEAR(", "-", "a:b", "[red]", "(", "\0", "é\u0301"])
def test_no_typing_breaks_it(stocked: Database, typed: str) -> None:
    search(stocked, typed)


def test_renaming_an_artist_is_found_under_the_new_name(stocked: Database) -> None:
    stocked.execute("UPDATE artist SET name = 'Solveig Tarn' WHERE name = 'Ben Orrery'")
    assert {p.title for p in search(stocked, "solveig").pieces} == {"Harbour Wall", "Red", "Redwood"}
    assert not search(stocked, "orrery").artists


def test_sizes_are_one_word() -> None:
    assert words_of("50 × 70 Ünter") == ["50x70", "unter"]
