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


def test_a_numbered_jobs_folder_names_its_artist_though_each_holds_one_title() -> None:
    paths = {"2022-014 Brellmoor/Two Pears": "Brellmoor", "2022-015 Torsbeck/Hare": "Torsbeck",
             "2022-016 Ostrander/Winter": "Ostrander", "2022-017 Torsbeck/Fox": "Torsbeck"}
    assert artists(*(f"JOBS/{path}" for path in paths)) == {f"JOBS/{path}": who for path, who in paths.items()}


def test_a_numbered_jobs_folder_that_names_a_piece_or_a_client_is_no_artist() -> None:
    pieces = artists("JOBS/2022-014 Harbour/left", "JOBS/2022-014 Harbour/right", "JOBS/2022-014 Harbour/Harbour",
                     "JOBS/2022-015 Old Pier/top", "JOBS/2022-015 Old Pier/Old Pier stitched",
                     "JOBS/2022-016 Two Pears/scan0001")
    assert set(pieces.values()) == {""}
    of_clients = artists("JOBS/2022-014 Lindmoor/Ada Quarrenby - Moor", "JOBS/2022-015 Pinehurst/Ada Quarrenby - Ebb",
                         "JOBS/2022-016 Lindmoor/Joss Aldermere - Rope", "JOBS/2022-017 Pinehurst/Joss Aldermere - Fox")
    assert set(of_clients.values()) == {"Ada Quarrenby", "Joss Aldermere"}


def test_folders_among_artists_name_them_in_small_letters_too() -> None:
    read = artists("artists/quarrenby/moor", "artists/quarrenby/field", "artists/saltmere/pier", "artists/saltmere/ebb")
    assert set(read.values()) == {"quarrenby", "saltmere"}


def test_underscores_part_fields_where_other_names_show_it() -> None:
    """ "Courvallon_Glycine_1" alone could be one name; beside "Bastien-Courvallon_Le-port" it is artist and title."""
    for space in "- ":
        written = {f"Bastien Courvallon_{title}" for title in ("Le port", "Glycine", "Brume")} | {
            f"Odile Marchevin_{title}" for title in ("La rive", "Citrons", "Vers le large")}
        masters = [f"Prints/{name.replace(' ', space)}_60x80cm_400ppi" for name in sorted(written)]
        tiles = [f"Prints/raw/{name}_{at}" for name in ("Courvallon_Glycine", "Marchevin_Citrons") for at in (1, 2, 3)]
        guesses = guess_all([FileFacts(f"{path}.tif", width=8000, height=6000) for path in (*masters, *tiles)])
        assert {g.artist.value for g in guesses} == {"Bastien Courvallon", "Odile Marchevin"}
        assert {g.piece.value for g in guesses} == {name.partition("_")[2] for name in written}
        assert {g.role.value for g in guesses[len(masters):]} == {"tile"}


def test_underscores_for_spaces_and_double_names_stay() -> None:
    double = artists("Ambrose-Nyx_Low_Tide", "Ambrose-Nyx_Two_Pears", "Ambrose-Nyx_Fog", "Ada_Quarrenby_Moor",
                     "Ada_Quarrenby_Red_Boat", "Ada_Quarrenby_Half-Light", "Ada_Quarrenby_The_Old_Pier")
    assert {who for who in double.values() if who} <= {"Ada Quarrenby", "Ambrose-Nyx"}
