"""Search finds what a person types at the counter."""

import sqlite3
import unicodedata
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.operations.upkeep import rebuild_search_indexes
from catalogue.records import order_list, orders, pieces
from catalogue.records.database import Database, migrations, open_database, transaction
from catalogue.records.folding import fold_name, register_functions, searchable
from catalogue.records.health import examine
from catalogue.records.query_terms import words_of
from catalogue.records.search import search
from catalogue.settings import Home


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
def test_a_piece_is_found_however_it_is_typed(stocked: Database, typed: str) -> None:
    assert search(stocked, typed).pieces[0].title == "Harbour at Dusk"


@pytest.mark.parametrize("typed", ["50x70", "70 x 50", "50×70 cm", "50.2 x 69,8cm", "500x700", "500 x 700 mm",
                                   "50cm x 70cm", "50x70cm harbour", "F-2021-O17", "F-2021-017", "2021 marlow", "marlo",
                                   "marlwo", "stairwell", "harbour 50x70", "cotton rag"])
def test_an_order_is_found_however_it_is_typed(stocked: Database, typed: str) -> None:
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


@pytest.mark.parametrize(("typed", "titles", "ignored"), [
    ("the one with the dusk", ["Harbour at Dusk"], ("the", "one", "with")),     # "with" is nowhere
    ("all dusk", ["Harbour at Dusk"], ("all",)),                # nowhere, and no slip for "Wall"
    ("a harbour at dusk", ["Harbour at Dusk"], ()),             # "a" begins a word of it
    ("the red", ["Red", "Redwood"], ("the",)),                  # "the" begins "Thea", whose piece is not red
    ("the theatre", ["The Theatre"], ()),                       # "the" with the rest comes before all else
    ("the one", ["The One"], ()),                               # nothing but such words: they are what is sought
    ("the wlal", ["Harbour Wall"], ("the",)),                   # slips of the rest are still mended
    ("oliver dusk", ["Harbour at Dusk"], ("oliver",)),          # no stop word, but nowhere
    ("dusk q", ["Harbour at Dusk"], ("q",)),                    # a word of which one letter is typed
    ("the oliver", [], ()),                                     # "the" alone means nothing
    ("oliver xyzzy", [], ()),                                   # nothing is known
    ("harbour wall dusk", [], ()),                              # all are known: no piece has them
    ("dusk 2018", [], ()), ("dusk 40x60", [], ()), ("F-2021-018 dusk", [], ()),     # figures mean one and no other
    ("dusk 3", [], ())])
def test_words_that_fit_nothing_are_left_out_and_named(stocked: Database, typed: str, titles: list[str],
                                                       ignored: tuple[str, ...]) -> None:
    with transaction(stocked):
        thea = pieces.artist_called(stocked, "Thea Marl").id
        for title in ("The Theatre", "Silver", "The One"):
            pieces.piece_called(stocked, thea, title)
    found = search(stocked, typed, leave_out=True)
    assert ([p.title for p in found.pieces], found.ignored) == (titles, ignored)
    strict = search(stocked, typed)    # as a piece is named for an order: a word more must not give another piece
    assert strict.pieces == ([] if ignored else found.pieces) and not strict.ignored


def add_files(db: Database | sqlite3.Connection, *paths: str, store: int = 1, forgotten: str | None = None) -> None:
    """A store with files of these paths."""
    db.execute("INSERT INTO store (id, name, root, kind, marker, added, forgotten) VALUES (?1, ?1, '/', 'copy', ?1, '',"
               " ?2)", [store, forgotten])
    for path in paths:
        db.execute("INSERT INTO file (store_id, path, size, mtime_ns, first_seen, read_at) VALUES (?, ?, 1, 1, '', '')",
                   [store, path])


def test_a_file_of_a_folder_called_so_does_not_stand_for_the_piece(stocked: Database) -> None:
    with transaction(stocked):
        add_files(stocked, "The Years/dusk.tif")
    found = search(stocked, "the dusk", leave_out=True)
    assert (found.total, [p.title for p in found.pieces], found.ignored) == (3, ["Harbour at Dusk"], ("the",))


@pytest.mark.parametrize("typed", ["港", "の港", "朝の港", "朝 の港", "ﾊｰﾊﾞｰ", "バー", "ハー 港", "田太",
                                   "山田太郎", "港2019"])
def test_a_run_of_characters_is_found_within_a_title_written_without_spaces(db: Database, typed: str) -> None:
    with transaction(db):
        artist = pieces.artist_called(db, "山田 太郎").id
        number = pieces.piece_called(db, artist, "朝の港2019ハーバー")
        pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "夕の山")
        order = orders.save(db, "F-1", "2021-05-03", buyer="Marlow Inn")
        orders.add_line(db, order, orders.NewLine(number, 500, 700, 10))
        orders.add_line(db, order, orders.NewLine(number + 1, 500, 700, 10))
        add_files(db, "山田太郎/朝の港2019ハーバー.tif")
    found = search(db, typed)
    assert [p.id for p in found.pieces] == [number] and len(found.orders) == len(found.files) == 1
    assert [one.line.piece_id for one in order_list.page(db, order_list.OrderFilter(words=typed))] == [number]
    assert not search(db, "港の").total and not search(db, "朝港").total, "another order of characters"
    assert not db.execute("INSERT INTO file_words (file_words, rank) VALUES ('integrity-check', 1)").fetchall()


def test_an_upgrade_indexes_such_titles_anew_and_all_others_still(tmp_path: Path) -> None:
    path = tmp_path / "catalogue.sqlite"
    with closing(sqlite3.connect(path)) as older:
        register_functions(older)
        steps = "".join(script for number, script in migrations() if number < 25)
        older.executescript(f"BEGIN; {steps} PRAGMA user_version = 24; COMMIT;")
        for number, name in enumerate(("山田 太郎", "Ädelheid Óskar", "Ada Quill"), 1):
            older.execute("INSERT INTO artist (id, name, key) VALUES (?, ?, ?)", [number, name, fold_name(name)])
            older.execute("INSERT INTO piece (id, artist_id, title, key) VALUES (?, ?, ?, '')",
                          [number, number, ("朝の港", "Ночь", "Red")[number - 1]])
            older.execute("INSERT INTO orders (id, number, placed) VALUES (?, ?, '')", [number, f"F-{number}"])
            older.execute("""INSERT INTO order_line (order_id, piece_id, width_mm, height_mm, quantity)
                             VALUES (?, ?, 1, 1, 1)""", [number, number])
        add_files(older, "山田/朝の港.tif", "Ó/Red.tif")
        older.commit()
    with closing(open_database(path)) as db:
        upgraded = [search(db, typed) for typed in ("の港", "田太", "ночь", "oskar", "red")]
        assert [(len(f.artists), len(f.pieces), len(f.orders), len(f.files)) for f in upgraded] == [
            (0, 1, 1, 1), (1, 1, 1, 0), (0, 1, 1, 0), (1, 1, 1, 0), (0, 1, 1, 1)]
        rebuild_search_indexes(db)
        assert [search(db, typed) for typed in ("の港", "田太", "ночь", "oskar", "red")] == upgraded
    assert examine(path).troubles == ()


def test_the_title_itself_comes_before_titles_that_contain_it(db: Database) -> None:
    with transaction(db):
        artist = pieces.artist_called(db, "Ada Quill").id
        for title in ("朝の港町", "朝の港", "港町"):
            pieces.piece_called(db, artist, title)
    assert [p.title for p in search(db, "港町").pieces] == ["港町", "朝の港町"]


def test_signs_that_mean_something_to_the_index_are_typed_as_words(stocked: Database) -> None:
    """Signs and operators of SQLite's FTS5 (sqlite.org, "Full-text Query Syntax")."""
    for typed in ("", "   ", '"', "'", "*", "AND", "NEAR(", "-", "a:b", "(", "\0", "é\u0301"):
        found = search(stocked, typed)
        assert not (found.pieces or found.artists or found.orders or found.files), typed
    assert [p.title for p in search(stocked, "[red]").pieces] == ["Red", "Redwood"]


def test_renaming_an_artist_is_found_under_the_new_name(stocked: Database) -> None:
    stocked.execute("UPDATE artist SET name = 'Solveig Tarn' WHERE name = 'Ben Orrery'")
    assert {p.title for p in search(stocked, "solveig").pieces} == {"Harbour Wall", "Red", "Redwood"}
    assert not search(stocked, "orrery").artists


def test_sizes_are_one_word() -> None:
    assert words_of("50 × 70 Ünter") == ["50x70", "unter"]


# --- names of all scripts ------------------------------------------------------------------------------


@pytest.mark.parametrize("title", [
    "Weiß", "Fuß", "Nº 7", "한국의 봄", "がく", "かき", "がき", "हिन्दी", "Ночь", "!!!", "№ 3", "Ǆ", "ŉ", "30.5 x 24 cm",
    "500 x 700", "日本の春", "ﬁne", "co\u00adop", "שלום", "²²"])
def test_a_title_finds_itself(db: Database, title: str) -> None:
    with transaction(db):
        artist = pieces.artist_called(db, "Ada Quill").id
        number = pieces.piece_called(db, artist, title)
    for typed in (title, title.upper(), unicodedata.normalize("NFD", title)):
        found = search(db, typed)
        assert [p.id for p in found.pieces] == [number] and not found.corrected, typed
        assert [p.id for p in pieces.matching(db, typed)] == [number]


def test_marks_that_tell_words_apart_are_kept_and_accents_are_not(db: Database) -> None:
    """Kana with and without voicing mark, Hangul syllables, are other words; Latin accents are left out in typing."""
    assert len({fold_name(t) for t in ("かき", "がき", "가", "각", "हि", "ही")}) == 6
    assert fold_name("Ådélheid") == "adelheid" and fold_name("Йога") == fold_name("Иога")
    with transaction(db):
        artist = pieces.artist_called(db, "Ada Quill").id
        assert pieces.piece_called(db, artist, "かき") != pieces.piece_called(db, artist, "がき")
        assert pieces.piece_called(db, artist, "Café") == pieces.piece_called(db, artist, "CAFE\u0301")


@given(text=st.text(st.characters(exclude_categories=["Cs"]), max_size=30))
def test_what_is_indexed_is_folded_already(text: str) -> None:
    """The triggers of orders fold it once more."""
    assert fold_name(searchable(text)) == searchable(text)


NAMES = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=30)


@pytest.fixture(scope="module")
def growing() -> Iterator[Database]:
    """One catalogue for all examples: each adds its titles."""
    with closing(open_database(Path(":memory:"))) as db:
        yield db


@given(titles=st.lists(NAMES, min_size=1, max_size=4))
@settings(max_examples=300)
def test_every_title_that_shows_something_finds_itself(growing: Database, titles: list[str]) -> None:
    with transaction(growing):
        artist = pieces.artist_called(growing, "Ada Quill").id
        made = [(t, pieces.piece_called(growing, artist, t)) for t in titles if fold_name(t)]
    for title, number in made:
        assert fold_name(fold_name(title)) == fold_name(title)
        assert number in [p.id for p in search(growing, title, limit=5000).pieces]
        assert pieces.known_piece(growing, "ada quill", title) == number
    for title in titles:
        search(growing, title + "\0*\"'")


def test_a_name_is_not_taken_for_a_shorter_word(db: Database) -> None:
    with transaction(db):
        artist = pieces.artist_called(db, "Ada Quill").id
        for title in ("Over the Hills", "Silver"):
            pieces.piece_called(db, artist, title)
    found = search(db, "oliver")
    assert not found.corrected and not found.total
    assert search(db, "silvre").pieces[0].title == "Silver"


def test_files_of_a_retired_store_take_no_place_in_the_list(db: Database) -> None:
    """The limit counts what is shown: here the retired store's files come first in the index and are more than it."""
    with transaction(db):
        for number, forgotten in ((1, "2026-01-01"), (2, None)):
            add_files(db, *(f"Quill/harbour {n}.tif" for n in range(40 if forgotten else 25)),
                      *["Quill/meadow.tif"] * (number == 1), store=number, forgotten=forgotten)
    assert len(search(db, "harbour", limit=30).files) == 25
    assert not search(db, "meadow").files


def test_the_word_itself_comes_before_words_known_longer(db: Database) -> None:
    with transaction(db):
        artist = pieces.artist_called(db, "Ada Quill").id
        for title in ("Harbourside", "Harbour Lights", "Harbour"):
            pieces.piece_called(db, artist, title)
    assert [hit.title for hit in search(db, "harbour").pieces] == ["Harbour Lights", "Harbour", "Harbourside"]


@pytest.mark.parametrize("text", ["20x30in", '20 × 30"', "20in x 30 in", "20 x 30 inches", "20″ x 30″", "508x762mm"])
def test_a_size_in_inches_is_sought_in_centimetres(text: str) -> None:
    """20 × 2.54 = 50.8; 30 × 2.54 = 76.2."""
    assert words_of(text) == ["51x76"]


@pytest.mark.parametrize("text", ["500x700mm", "500 × 700 mm", "50x70", "50 x 70 cm", "500x700", "50,2 x 70"])
def test_a_size_is_sought_in_whole_centimetres(text: str) -> None:
    assert words_of(text) == ["50x70"]


@pytest.mark.parametrize(("index", "typed", "kind"), [
    ("artist_words", "adelheid", "artists"), ("piece_words", "harbour dusk", "pieces"),
    ("order_words", "marlow", "orders")])
def test_an_index_that_lost_its_words_is_made_again(stocked: Database, index: str, typed: str, kind: str) -> None:
    whole = search(stocked, typed)
    assert getattr(whole, kind)
    with transaction(stocked):
        stocked.execute(f"INSERT INTO {index} ({index}) VALUES ('delete-all')" if index == "artist_words"
                        else f"DELETE FROM {index}")
    assert not getattr(search(stocked, typed), kind)
    rebuild_search_indexes(stocked)
    assert search(stocked, typed) == whole


def test_the_doctor_makes_the_indexes_again_and_is_content(stocked: Database, home: Home) -> None:
    with transaction(stocked):
        stocked.execute("INSERT INTO artist_words (artist_words) VALUES ('delete-all')")
    stocked.close()

    def doctor(*words: str) -> str:
        return CliRunner().invoke(command, ["--catalogue", str(home.folder), "doctor", *words], obj=Session()).output

    assert "artist_words" in doctor() and "--rebuild-search" in doctor()
    assert "artist_words" not in doctor("--rebuild-search")
