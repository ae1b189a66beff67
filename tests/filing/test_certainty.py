"""What is left unsorted rather than guessed, and what tells an artist from a title, a client, a slip of the pen or a
code. Habits of naming: common practice, no source; every name is invented."""

from catalogue.filing.guess import FileFacts, guess_all
from catalogue.filing.people import read_person
from catalogue.filing.titles import title_key


def artists(*paths: str) -> dict[str, str]:
    guesses = guess_all([FileFacts(f"{path}.tif", width=8000, height=6000) for path in paths])
    return {path: guess.artist.value for path, guess in zip(paths, guesses, strict=True)}


def test_letters_that_nothing_resolves_are_no_artist() -> None:
    read = artists(*(f"{code}/{title}/{title} master" for code, title in (
        ("AB", "Pier"), ("AB", "Moor"), ("KX", "Kites"), ("KX", "Salt"), ("RT", "Ebb"), ("RT", "Old Field"))))
    assert set(read.values()) == {""}


def test_a_family_is_read_right_where_one_letter_is_wrong() -> None:
    titles = ("Pier", "Moor", "Kites", "Salt")
    read = artists("Artists/Quarenby/Ebb/Ebb master",
                   *(f"Artists/Quarrenby/{title}/{title} master" for title in titles),
                   *(f"Artists/Aldermere/{title} Two/{title} Two master" for title in titles))
    assert set(read.values()) == {"Quarrenby", "Aldermere"}


def test_a_client_is_not_the_artist_whose_works_stand_in_its_folder() -> None:
    works = {"Brunelle, Odile": ("Quai", "Jardin", "Neige", "Soir"),
             "Lecourbet, Anatole": ("Port", "Gare", "Halle", "Pluie")}
    own = [f"Clients/{who}/{title}/{title} master" for who, titles in works.items() for title in titles]
    client = [f"Clients/Hotel Pineridge/{who} - {title}/{title} master" for who, title in (
        ("Odile Brunelle", "Arbre"), ("Anatole Lecourbet", "Barques"), ("Odile Brunelle", "Orage"))]
    read = artists(*own, *client)
    assert set(read.values()) == {"Odile Brunelle", "Anatole Lecourbet"}


def test_an_initial_o_is_a_first_name() -> None:
    person = read_person(["O.", "Quarrenby"])
    assert person is not None and (person.given, person.family) == (("o",), "quarrenby")


def test_series_numbers_are_no_first_names() -> None:
    assert read_person(["VI", "Harbour"]) is None and read_person(["Viii", "Harbour"]) is None


def test_capitals_of_some_families_turn_no_other_names() -> None:
    titles = iter(("Pier", "Moor", "Kites", "Salt", "Ebb", "Flow", "Rain", "Fog"))
    paths = [f"Artists/{folder}/{next(titles)}" for folder in (
        "SALTMERE Margaret", "SALTMERE Margaret", "QUARRENBY Owen", "QUARRENBY Owen", "Tamsin Aldercroft",
        "Tamsin Aldercroft", "Percival Wexmoor", "Percival Wexmoor")]
    assert set(artists(*paths).values()) == {
        "Margaret Saltmere", "Owen Quarrenby", "Tamsin Aldercroft", "Percival Wexmoor"}


def test_a_word_before_several_names_belongs_to_none_of_them() -> None:
    works = {"A. Quarrenby": ("Pier", "Moor"), "B. Saltmere": ("Kites", "Blue Jug"), "C. Aldercroft": ("Fog", "Ebb"),
             "D. Wexmoor": ("Old Field", "Rain")}
    paths = [f"2020/{place} {who}, {title}{end}" for who, titles in works.items() for title in titles
             for place, end in (("flat/", " 2020 new"), ("proof/Ausgabe", " 30x40 matt"))]
    paths = [path.replace("/ ", "/") for path in paths]
    assert set(artists(*paths).values()) == {who.replace(".", "") for who in works}


def test_umlauts_are_spelt_out_within_words_only() -> None:
    assert title_key("Stöckli") == title_key("Stoeckli")
    assert title_key("Stampa e Vicolo") != title_key("Stampa Vicolo")
