"""Four small shops with habits of their own, written before the guessing saw them. Every name is invented.

Numbers of an edition that read like counters of captures, the same titles by several artists behind which their names
stand, works told apart by a year alone, and folders that hold a work's data in brackets.
"""

from collections.abc import Iterator
from dataclasses import replace

from scripts.names_kinds import Shop, Truth, Work, joined, last_first, surname
from scripts.names_shops_small import _jpeg, _tiff

# Italian: what was printed of an edition, by the number of the print.
EDITION_ARTISTS = ("Ornella Vascarini", "Fulvio Tremagnò", "Benedetta Colfiorito", "Ruggero Scandolara",
                   "Ilario Pestrin")
EDITION_TITLES = (
    "Barche", "Barche al molo", "Il pontile", "Neve", "Neve sui tetti", "Le lavandaie", "Campo di lino", "Melograni",
    "Natura morta con brocca", "Notte I", "Notte II", "Notte III", "La finestra", "Il vecchio mulino", "Ulivi",
    "Senza titolo 5", "Mattino", "Mercato del pesce", "Due sedie", "Rovine", "Il cane bianco", "Autoritratto",
    "Controluce", "Pini", "La vigna", "Acqua alta", "Vento", "Sentiero", "Chiesa di campagna", "Temporale", "Arance",
    "Tramonto", "Tramonto sul lago", "Le sorelle", "Cortile", "Glicine", "Falene", "Il sonno", "Marina", "Sassi",
)


def _editions(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    own = f"Edizioni/{last_first(w.artist)}/{w.title}"
    yield r.choice((_tiff(f"{own}/{w.title} - matrice.tif", w), _tiff(f"{own}/{w.title} - originale.tif", w)))
    for i in range(1, w.tiles + 1):
        yield _tiff(f"{own}/scansioni/{w.title} {i}.tif", w, "tile")
    run = r.choice((10, 25, 50))
    for number in range(1, w.prints + 1):
        yield _tiff(f"{own}/stampe/{w.title} - {number} di {run} - {r.choice(('30x40', '50x70'))}.tif", w, "print file")
    if w.web:
        yield _jpeg(f"{own}/{w.title} - sito.jpg", w)
    if w.detail:
        yield _jpeg(f"{own}/{w.title} - dettaglio.jpg", w)


# English: the title first, the artist behind; every one of them paints the harbour.
BEHIND_ARTISTS = ("Rosamund Tilbrook", "Garrick Penhale", "Sunniva Larkfield", "Edmund Thornquist", "Pris Wetherden")
_EACH = ("Harbour", "Still Life", "The Garden", "Winter", "Portrait of a Girl", "Evening Light")
BEHIND_TITLES = (
    *(f"{title}#{by}" for title in _EACH for by in range(5)),
    "Gorse", "Slack Tide", "The Weir", "Two Herons", "Ferry Steps", "Blue Jug", "Causeway", "Hay Barn",
    "Night Train", "Sea Fret", "Allotment", "The Long Field", "Marram", "Rooks", "Quince", "Lamplight", "Estuary Mud",
    "Chapel Lane", "Kitchen Door", "Plum Tree", "The Crossing", "Washing Line", "Starlings", "Old Ford",
)


def _behind(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    title, _, by = w.title.partition("#")
    w = replace(w, title=title, artist=BEHIND_ARTISTS[int(by)] if by else w.artist)
    name = f"{title} - {w.artist}"
    yield _tiff(f"Studio scans/{w.year}/{name}.tif", w)
    for i in range(1, w.tiles + 1):
        yield _tiff(f"Studio scans/{w.year}/tiles/{name} - {i} of {w.tiles}.tif", w, "tile")
    for size in r.sample(("A4", "A3", "A2", "A1"), w.prints):
        yield _tiff(f"To print/{name} - {size}.tif", w, "print file")
    if w.web:
        yield _jpeg(f"Website/{name}.jpg", w)
    if w.rescan:
        yield _tiff(f"Studio scans/{w.year}/{name} - rescan.tif", w)


# English: a level for what a file is for; one motif year after year.
DATED_ARTISTS = ("Lionel Ashgrove", "Maud Fennimore", "Cuthbert Wainfleet", "Iris Dunmallet")
DATED_TITLES = (
    "Harbour 1988", "Harbour 1992", "Harbour 2003", "1974", "Study No. 2 for Harbour", "Garden 2011", "Garden 2012",
    "Winter 1999", "Winter 2001", "Self Portrait 1971", "Self Portrait 1985", "Self Portrait 2004", "Quarry",
    "The Ford",
    "Nocturne 3", "Nocturne 4", "Nocturne 11", "Hill Farm", "Ravens", "Lock Gates", "Bathers", "Bathers 1990", "Sluice",
    "Field Edge", "Tide Mill", "The Blue Hour", "Snow on Slate", "Bridge at Dusk", "Opus 21", "Opus 22", "Red Kite",
    "Orchard 2015", "Orchard 2016", "Orchard", "Chairs", "Smoke", "Lapwings", "Room 12", "Room 14", "Copse",
)


def _dated(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    yield _tiff(f"Masters 16bit/{w.artist}/{w.title}.tif", w)
    for i in range(1, w.tiles + 1):
        yield _tiff(f"Captures/{w.artist}/{joined(w.title, '_')}_{i:02}.tif", w, "tile")
    for size in r.sample(("12x16in", "16x20in", "20x24in"), w.prints):
        yield _tiff(f"Print-ready/{w.artist}/{w.title}_{size}.tif", w, "print file")
    if w.web:
        yield _jpeg(f"JPEG previews/{w.artist}/{w.title}.jpg", w)


# Dutch: a folder a work, with what is known of it in brackets; the files say only what they are for.
BRACKET_ARTISTS = ("Femke Oosterwolde", "Sjoerd van Palsma", "Lieke Hennegouw", "Teun de Braakman", "Gerrit Nijsloot")
BRACKET_TITLES = (
    "Polder", "Polder in de mist", "Stilleven met citroen", "De oude schuur", "Wilgen", "Haven", "Haven bij nacht",
    "Zelfportret", "Drie stoelen", "Zonder titel 2", "Sneeuw", "Sneeuw op het dak", "Trekvogels", "Het raam", "Dijk",
    "Tulpen", "Vrouw met hoed", "Ochtend", "Brug I", "Brug II", "Riet", "Storm", "De lezer", "Kade", "Blauwe vaas",
    "Duinen", "Marktdag", "Het wad", "Regen", "Schaduw", "Tuin", "Kersen", "Waterlelies", "De veerman", "Zomer",
    "Akker", "Nevel", "Lente", "Boot", "Twee boten", "Avond", "Ijs", "Paarden", "Molen", "Oogst", "Stoel", "Licht",
)


def _brackets(shop: Shop, w: Work) -> Iterator[Truth]:
    r = shop.dice
    medium = r.choice(("olieverf", "acryl", "aquarel", "krijt"))
    size = r.choice(("60x80", "40x50", "100x120"))
    given = w.artist.rsplit(maxsplit=1)[0]
    own = f"Werken/{surname(w.artist).upper()} {given}/{w.title} ({w.year}, {size}cm, {medium})"
    yield r.choice((_tiff(f"{own}/scan.tif", w), _tiff(f"{own}/scan definitief.tif", w)))
    for i in range(1, w.tiles + 1):
        yield _tiff(f"{own}/deel {i} van {w.tiles}.tif", w, "tile")
    for print_size in r.sample(("30x40", "50x70", "A3"), w.prints):
        yield _tiff(f"{own}/druk {print_size}.tif", w, "print file")
    if w.web:
        yield _jpeg(f"{own}/site.jpg", w)


HABITS = (
    Shop("habit editions", EDITION_ARTISTS, EDITION_TITLES, _editions, True, ("Edizioni/da ordinare/scan0004.tif",)),
    Shop("habit behind", BEHIND_ARTISTS, BEHIND_TITLES, _behind, True, ("Studio scans/2021/Scan 12.tif",)),
    Shop("habit dated", DATED_ARTISTS, DATED_TITLES, _dated, True, ("Captures/IMG_0032.tif",)),
    Shop("habit brackets", BRACKET_ARTISTS, BRACKET_TITLES, _brackets, True, ("Werken/uitzoeken/scan 8.tif",)),
)
