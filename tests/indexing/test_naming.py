"""Artist, piece and role from places and names. The words are common practice, no source."""

import pytest

from catalogue.indexing.naming import FORMER_RULES, PathNames, guess, is_default_name, names_in_path, role_of
from catalogue.reading.model import Metadata, Picture, Stated

RULES = FORMER_RULES
PICTURE = Picture(400, 300, 16, "uint", 3, "RGB", "none", "strips")


@pytest.mark.parametrize(("path", "artist", "piece", "year"), [
    ("Ada Quill/Harbour/master.tif", "Ada Quill", "Harbour", ""),
    ("Ada Quill/Harbour/tiles/t01.tif", "Ada Quill", "Harbour", ""),
    ("Ada_Quill/Two__Boats/x.tif", "Ada Quill", "Two Boats", ""),
    ("2021/Ada Quill - Harbour/master.tif", "Ada Quill", "Harbour", "2021"),
    ("2021/Ada Quill - Harbour - master.tif", "Ada Quill", "Harbour", "2021"),
    ("Ada Quill/Harbour.tif", "Ada Quill", "Harbour", ""),
    ("2021/Ada Quill - Harbour re-scan 90.tif", "Ada Quill", "Harbour", "2021"),
    ("2021/Ada Quill - Tilemaker.tif", "Ada Quill", "Tilemaker", "2021"),
    ("2021/Ada Quill - Harbour print 30x40.tif", "Ada Quill", "Harbour", "2021"),
    ("Ada Quill/Harbour_t03.tif", "Ada Quill", "Harbour", ""),
    ("Ada Quill/Tides/Tides 2 of 6 [master].tif", "Ada Quill", "Tides 2 of 6", ""),
    ("Ada Quill/Tides/Tides 2 of 6.tif", "Ada Quill", "Tides", ""),
    ("loose.tif", "", "", ""),
])
def test_place(path: str, artist: str, piece: str, year: str) -> None:
    assert names_in_path(path, RULES) == PathNames(artist, piece, year)


def test_inventory_number() -> None:
    assert names_in_path("2021/inv 0412b Quill - Harbour master.tif", RULES) == \
        PathNames("Quill", "Harbour", "2021", "0412b")


@pytest.mark.parametrize(("path", "role"), [
    ("A/B/master.tif", "master"),
    ("A/B/B stitched 600ppi.tif", "master"),
    ("A/B/re-scan 2023.tif", "master"),
    ("A/B/B_t03.tif", "tile"),
    ("A/B/tile 2 of 6.tif", "tile"),
    ("A/B/tiles/IMG_0007.tif", "tile"),
    ("A/B/B print 50x70.tif", "print file"),
    ("A/B/prints/B 30x40.tif", "print file"),
    ("A/B/ref.tif", "reference"),
    ("A/B/detail lower left.tif", "reference"),
    ("A/The Footprint/x.tif", "master"),
    ("A/Printers Row/x.tif", "master"),
    ("The Masters/Tiles of Lisbon/x.tif", "master"),
    ("A/B/tile 1, print test.tif", "tile"),
    ("A/Tides/Tide 1 of 6 [master].tif", "master"),
    ("A/B/B 3 of 4.tif", "tile"),
])
def test_role(path: str, role: str) -> None:
    assert role_of(path, "TIFF", PICTURE) == role


def test_a_lossy_picture_is_no_master_unless_it_says_so() -> None:
    assert role_of("A/B/c.jpg", "JPEG", PICTURE) == "reference"
    assert role_of("A/B/master.jpg", "JPEG", PICTURE) == "master"


def test_what_shows_no_picture_stays_unsorted() -> None:
    assert role_of("A/B/c.tif", "TIFF", None) == "unsorted"


def named(path: str, rules: tuple[str, ...] = RULES, **tags: str) -> tuple[str, str, str, str]:
    """Artist, title, year and number as guessed; tags as ``TIFF_title="…"``."""
    stated = tuple(Stated(key.split("_")[1], value, key.split("_")[0]) for key, value in tags.items())
    found = guess(path, "TIFF", PICTURE, Metadata(**{s.field: s.value for s in stated}, stated=stated), rules)
    return found.artist, found.title, found.year, found.number


def test_tags_outrank_the_path_but_a_scanner_s_document_name_does_not() -> None:
    """TIFF 6.0 tag 269 names the document scanned from; scanner programs put a file's name there."""
    path = "Ada Quill/Harbour/master.tif"
    assert named(path, XMP_title="Harbour at Dusk") == ("Ada Quill", "Harbour at Dusk", "", "")
    assert named(path, XMP_creator="Ben Ashe") == ("Ben Ashe", "Harbour", "", "")
    assert named(path, TIFF_title="Quay study.tif") == ("Ada Quill", "Harbour", "", "")
    assert named(path, TIFF_title="scan0001.tif") == ("Ada Quill", "Harbour", "", "")
    assert named("loose.tif", XMP_creator="Ada Quill", TIFF_title="Quay study.tif")[1] == "Quay study"
    assert named("loose.tif", XMP_creator="Ada Quill", TIFF_title="scan0001.tif")[1] == ""
    assert named(path, TIFF_title="Harbour at Dusk", XMP_title="Harbour at Dusk")[1] == "Harbour at Dusk"


def test_a_name_that_scanners_give_is_no_title() -> None:
    assert named("Ada Quill/scan0001.tif") == ("Ada Quill", "", "", "")
    assert all(is_default_name(n) for n in ("scan0001.tif", "Scan 12", "IMG_1234.TIF", "DSC04567", "image (3)",
                                            "Scanned Image 004", "scan", "Scan_20240305 (2).tiff"))
    assert not any(is_default_name(n) for n in ("Scandinavia", "Imagery", "Harbour 0001", "Untitled 3", "Picture 7",
                                                "Imago", "Document of a day", ""))


@pytest.mark.parametrize(("rule", "path", "artist", "piece"), [
    ("{artist}/**/*", "Ada Quill/Harbour/master.tif", "Ada Quill", ""),
    ("{year}/*", "2021/x.tif", "", ""),
    ("**/*", "a/b.tif", "", ""),
    ("{artist}/{artist} - {piece}.*", "Ada/Ada - Harbour.tif", "Ada", "Harbour"),
    ("{piece}.*", "Harbour.tif", "", "Harbour"),
])
def test_a_rule_that_names_no_piece_or_one_thing_twice(rule: str, path: str, artist: str, piece: str) -> None:
    found = names_in_path(path, (rule,))
    assert (found.artist, found.piece) == (artist, piece)


def test_a_year_is_four_ascii_figures() -> None:
    assert names_in_path("²²²²/Ada Quill/Harbour/x.tif", RULES).year == ""
    assert names_in_path("٢٠٢١/Ada Quill/Harbour/x.tif", RULES).year == ""
