"""Artist, piece and role from places and names. The words are common practice, no source."""

import pytest

from catalogue.indexing.naming import Place, place_of, role_of
from catalogue.reading.model import Picture
from catalogue.settings import Settings

RULES = Settings().place_rules
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
    assert place_of(path, RULES) == Place(artist, piece, year)


def test_inventory_number() -> None:
    assert place_of("2021/inv 0412b Quill - Harbour master.tif", RULES) == Place("Quill", "Harbour", "2021", "0412b")


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
