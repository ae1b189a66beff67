"""Two pieces are kept apart where anything of their names differs that nothing explains. Habits: common practice, no
source."""

import pytest

from catalogue.filing.guess import FileFacts, Guess, guess_all
from scripts import names_generator
from scripts.bench_names import wrong_joins

ARTIST = "Margaret Saltmere"


def guessed(*paths: str) -> dict[str, Guess]:
    files = [FileFacts(path, format="JPEG" if path.endswith("jpg") else "TIFF", width=8000, height=6000)
             for path in paths]
    return dict(zip(paths, guess_all(files), strict=True))


def titles(*paths: str) -> dict[str, str]:
    return {path.rpartition("/")[2]: guess.piece.value for path, guess in guessed(*paths).items()}


@pytest.mark.parametrize(("number", "other"), [("VII", "IX"), ("Vii", "Ix"), ("No. 2", "No. 4"), ("V", "X")])
def test_a_series_number_before_a_counter_stays_with_its_title(number: str, other: str) -> None:
    """ "Moor VII_1" is the first capture of "Moor VII", not the capture "VII1" of "Moor"."""
    masters = [f"Artists/{ARTIST}/scan/Moor {n}.tif" for n in (number, other)]
    tiles = [f"Artists/{ARTIST}/tiles/Moor {n}_{at}.tif" for n in (number, other) for at in (1, 2, 3)]
    read = titles(*masters, *tiles, f"Artists/{ARTIST}/scan/Pier.tif", "Artists/Joss Aldermere/scan/Kites.tif")
    for n in (number, other):
        of_one = {read[f"Moor {n}.tif"], *(read[f"Moor {n}_{at}.tif"] for at in (1, 2, 3))}
        assert len(of_one) == 1, read
    assert read[f"Moor {number}.tif"] != read[f"Moor {other}.tif"]


def test_numbers_that_read_as_one_of_three_are_series_where_the_second_counts() -> None:
    """ "Untitled 3-4" cannot be the third of four where "Untitled 3-5" stands beside it."""
    tiles = [f"Artists/{ARTIST}/tiles/untitled_{n}-{at}.tif" for n in (3, 4) for at in range(n, 7)]
    read = titles(*tiles, f"Artists/{ARTIST}/Pier.tif", "Artists/Joss Aldermere/Kites.tif")
    threes = {title for name, title in read.items() if name.startswith("untitled_3")}
    fours = {title for name, title in read.items() if name.startswith("untitled_4")}
    assert threes & fours <= {""}
    moors = titles(*(f"Artists/{ARTIST}/scan/Moor {n}-{at}.tif" for n in (3, 4) for at in range(n, 7)),
                   f"Artists/{ARTIST}/scan/Pier.tif", "Artists/Joss Aldermere/Kites.tif")
    assert {name[:6]: title for name, title in moors.items() if name.startswith("Moor")} == {
        "Moor 3": "Moor 3", "Moor 4": "Moor 4"}


def test_an_artists_own_name_is_no_title() -> None:
    read = guessed(f"Artists/{ARTIST}/scan/{ARTIST}, Tile 6_2012.tif",
                   f"Artists/{ARTIST}/scan/{ARTIST}, Tile 8_2012.tif",
                   f"Artists/{ARTIST}/scan/{ARTIST}, Moor_2012.tif", f"Artists/{ARTIST}/scan/{ARTIST}, Pier_2012.tif")
    assert all(guess.piece.value != ARTIST for guess in read.values())


def test_a_word_that_stands_for_the_title_in_every_folder_joins_no_pieces() -> None:
    """Each folder is a piece; a file "original" that no folder explains is nobody's piece, and makes nobody its
    artist's."""
    folders = [f"Artists/{artist} - {title}" for artist, of in
               ((ARTIST, ("Moor", "Pier", "1959")), ("Joss Aldermere", ("Kites", "Harbour at Night", "Low Field")))
               for title in of]
    read = guessed(*(f"{folder}/oryginał-2014.tif" for folder in folders),
                   *(f"{folder}/{part}-{n}.tif" for folder in folders for part in ("bits",) for n in (1, 2)))
    filed: dict[tuple[str, str], set[str]] = {}
    for path, guess in read.items():
        if guess.artist.value and guess.piece.value:
            filed.setdefault((guess.artist.value, guess.piece.value), set()).add(path.split("/")[1])
    assert all(len(places) == 1 for places in filed.values()), filed


def test_a_word_that_stands_for_titles_is_none_where_no_folder_says_better() -> None:
    """The folder "1959" names no piece: its file's name is the word that all others have in place of a title."""
    truths = names_generator.shop(427)
    guesses = guess_all([FileFacts(t.path, format=t.format, width=t.width, height=t.height) for t in truths])
    assert not [t.path for t, guess in zip(truths, guesses, strict=True)
                if guess.artist.value and guess.piece.value.casefold() == "oryginał"]


def test_other_titles_in_a_pieces_folder_are_pieces_of_their_own() -> None:
    """Three files of another title are no slip; a word that lies in every piece's folder is no title."""
    read = titles(f"Artists/{ARTIST}/Salt/salt-corrected.tif", f"Artists/{ARTIST}/Salt/salt-final.tif",
                  f"Artists/{ARTIST}/Salt/tiles/salt-1-4.tif", f"Artists/{ARTIST}/Salt/tiles/salt-2-4.tif",
                  f"Artists/{ARTIST}/Salt/tiles/salt-3-4.tif", f"Artists/{ARTIST}/Salt/tiles/salt-4-4.tif",
                  f"Artists/{ARTIST}/Salt/old-kitchen-final.tif",
                  f"Artists/{ARTIST}/Salt/old-kitchen-print-24x30cm.tif",
                  f"Artists/{ARTIST}/Salt/for client/old-kitchen-web.jpg", f"Artists/{ARTIST}/Pier/pier-final.tif")
    kitchens = {title.casefold() for name, title in read.items() if "kitchen" in name}
    assert kitchens.isdisjoint({"salt"}), read


@pytest.mark.parametrize("seed", [406, 417, 422, 427, 437, 513, 520, 551, 571, 576, 641, 648, 662,
                                  8031, 8052, 8055, 8068, 8073, 8078, 9007, 9064, 9099, 11017, 20134,
                                  21000, 21018, 21080])
def test_no_pieces_are_joined_in_shops_where_they_were(seed: int) -> None:
    """Shops made by dice in which two pieces or more were joined before titles were checked against whole names."""
    truths = names_generator.shop(seed)
    guesses = guess_all([FileFacts(t.path, format=t.format, width=t.width, height=t.height) for t in truths])
    assert wrong_joins(truths, guesses) == 0


def test_masters_that_differ_by_a_year_are_two_pieces() -> None:
    read = titles(f"Artists/{ARTIST}/Self Portrait 1998.tif", f"Artists/{ARTIST}/Self Portrait 2003.tif",
                  f"Artists/{ARTIST}/Moor.tif", "Artists/Joss Aldermere/Kites.tif", "Artists/Joss Aldermere/Pier.tif")
    assert read["Self Portrait 1998.tif"] != read["Self Portrait 2003.tif"]


@pytest.mark.parametrize("title", ["The Old Boat", "Der alte Kahn", "Katze auf Sofa"])
@pytest.mark.parametrize("whole", [True, False], ids=["with its master", "tiles alone"])
def test_a_short_last_word_before_a_counter_stays_with_its_title(title: str, whole: bool) -> None:
    tiles = [f"Artists/{ARTIST}/Raw scans/{title}_{at}.tif" for at in (1, 2, 3)]
    others = [f"Artists/{ARTIST}/Moor.tif", "Artists/Joss Aldermere/Kites.tif", "Artists/Joss Aldermere/Pier.tif"]
    read = titles(*tiles, *others, *([f"Artists/{ARTIST}/{title}.tif"] if whole else []))
    assert {read[path.rpartition("/")[2]] for path in tiles} == {title}


def test_a_short_word_that_counts_is_no_part_of_a_title() -> None:
    of_one = titles(f"Artists/{ARTIST}/Moor.tif", *(f"Artists/{ARTIST}/raw/Moor osa {at}.tif" for at in (1, 2)),
                    "Artists/Joss Aldermere/Kites.tif", "Artists/Joss Aldermere/Pier.tif")
    assert of_one["Moor osa 1.tif"] == of_one["Moor osa 2.tif"] == "Moor"


def test_the_purpose_at_the_end_of_a_small_picture_is_not_taken_for_its_title() -> None:
    """Where the master says another purpose, and the small picture stands apart behind its artist's name."""
    read = titles(f"Scans/{ARTIST}/Low_Water_master.tif", f"web/{ARTIST} Low Water web.jpg",
                  f"Scans/{ARTIST}/Moor.tif", f"Scans/{ARTIST}/Moor detalj.jpg", "Scans/Joss Aldermere/Kites.tif",
                  "Scans/Joss Aldermere/Spider web.jpg", "Scans/Joss Aldermere/Spider web.tif")
    assert read[f"{ARTIST} Low Water web.jpg"] == read["Low_Water_master.tif"] == "Low Water"
    assert read["Moor detalj.jpg"] == "Moor" and read["Spider web.tif"] == "Spider web"


def test_a_piece_that_is_called_untitled_and_a_number_keeps_both() -> None:
    for title, other in (("無題3", "無題4"), ("Untitled 3", "Untitled 4")):
        read = titles(*(f"Artists/{ARTIST}/{piece}{end}.tif" for piece in (title, other)
                        for end in ("", "_01", "_02", "_A3")), "Artists/Joss Aldermere/Kites.tif")
        for piece in (title, other):
            assert {read[f"{piece}{end}.tif"].replace(" ", "") for end in ("", "_A3")} == {piece.replace(" ", "")}


def test_a_title_of_several_artists_is_nobody_elses_where_names_stand_behind_it() -> None:
    paths = ["Scans/Brackwater Slipway, Early - Quill.tif"]
    paths += [f"Scans/{title} - {artist}.tif"
             for artist in ("Ada Quill", "Bram Oster") for title in ("Harbour", "Low Tide", "Moor")]
    for path, guess in zip(paths, guess_all([FileFacts(path, width=9000, height=7000) for path in paths]), strict=True):
        surname = guess.artist.value.split(" ")[-1]
        assert surname in path, path


def test_an_editions_number_in_a_folder_of_prints_counts_no_captures() -> None:
    paths = [f"Edizioni/Vascarini, Ornella/{title}/{file.format(title)}.tif" for title in ("Ulivi", "Neve", "Arance")
             for file in ("{} - originale", "stampe/{} - 1 di 25", "stampe/{} - 2 di 25", "scansioni/{} - 1 di 2")]
    roles = [guess.role.value for guess in guess_all([FileFacts(path, width=9000, height=7000) for path in paths])]
    assert roles == ["master", "print file", "print file", "tile"] * 3


def test_data_in_brackets_behind_a_title_are_no_title_and_other_words_in_brackets_are() -> None:
    paths = [f"Werken/PALSMA Sjoerd van/{title}/scan.tif" for title in (
        "Licht (2020, 60x80cm, krijt)", "Twee boten (2019, 40x50cm, olieverf)", "Haven (bij nacht)")]
    guesses = guess_all([FileFacts(path, width=9000, height=7000) for path in paths])
    assert [(guess.artist.value, guess.piece.value) for guess in guesses] == [
        ("Sjoerd van Palsma", "Licht"), ("Sjoerd van Palsma", "Twee boten"), ("Sjoerd van Palsma", "Haven (bij nacht)")]
