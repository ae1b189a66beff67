"""The invented shop's stock list: its artists, pieces and how each master is stored. Every name is made up."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from math import ceil

from .tiffs import Form

SHOP = "Ossel Lane Print Room"
MAKER, MODEL, SOFTWARE, STITCHER = "Ombrethwaite", "Flatbed A3", "Ombrethwaite Capture 2.4", "Nahtquill 1.1"

MAREN, TOBIN, ISAURA, HESPER, ILVO = (
    "Maren Öllsvik-Tarn",
    "Tobin Quarrelwick",
    "Isaura Pennyroil",
    "Hesper Vandrille",
    "Ilvo Castermaine",
)
WENDLA, EZECHIEL, ORLA, NOAM, PELL = (
    "Wendla Ambrose-Nyx",
    "Ézéchiel Brunmarsh",
    "Orla Féithgrange",
    "Noam Ostrelisk",
    "Pell Grauwicke",
)

FORMS: dict[str, Form] = {
    "jpeg": Form("jpeg", tiled=True),
    "jpeg wide": Form("jpeg", tiled=True, space="wide"),
    "lzw": Form("lzw"),
    "lzw cm": Form("lzw", cm=True),
    "lzw bare": Form("lzw", profiled=False),
    "deflate": Form("deflate"),
    "deflate tiled": Form("deflate", tiled=True),
    "deflate wide": Form("deflate", space="wide"),
    "16 deflate": Form("deflate", bits=16, space="wide"),
    "16 lzw tiled": Form("lzw", bits=16, space="wide", tiled=True),
    "16 none": Form("none", bits=16),
    "none": Form("none"),
    "big": Form("deflate", big=True, tiled=True),
    "motorola": Form("deflate", order=">"),
    "cmyk": Form("deflate", space="cmyk"),
    "grey": Form("lzw", space="grey"),
    "grey 16": Form("deflate", space="grey", bits=16),
    "alpha": Form("deflate", alpha=True),
    "layers": Form("deflate", layers=True),
    "lab": Form("deflate", space="lab", profiled=False),
    "zstd": Form("zstd", tiled=True),
    "packbits": Form("packbits"),
}


# Painted at this many times fewer pixels a side than the master has, then enlarged: no brush stroke is finer than
# that, and painting costs by the pixel. What has hard edges is painted at the master's own pixels.
_SOFT = {"impasto": 2, "knife": 2, "wash": 2, "collage": 2, "colour field": 4}
_LARGEST_PAINTED = 1800  # long side in pixels, of soft work


@dataclass(frozen=True)
class Original:
    """One piece and its current master: how large it is painted, in pixels, and at which ppi; its form, the year it was
    scanned, its inventory number. The master has `enlarge` times the pixels a side, and times the ppi."""

    artist: str
    title: str
    manner: str
    scene: str
    palette: int
    width: int
    height: int
    ppi: float
    form: str
    year: int
    inventory: int
    by_year: bool = False  # filed flat by year rather than by artist and piece
    enlarge: int = 1
    scale: float = 1.0  # share of the pixels a side that the shop's own archive has

    @property
    def surname(self) -> str:
        return self.artist.split()[-1]

    @property
    def cm(self) -> tuple[float, float]:
        return self.width / self.ppi * 2.54, self.height / self.ppi * 2.54

    @property
    def master_ppi(self) -> float:
        """The resolution of the shop's own master, whatever the scale of this archive."""
        return self.ppi * self.enlarge / self.scale


def scanned_at(original: Original, later_days: int = 0) -> datetime:
    """When its master was scanned, during working hours."""
    n = original.inventory
    return datetime(original.year, 1 + n % 12, 1 + n % 27, 9 + n % 8, n * 7 % 60, n * 13 % 60) + timedelta(
        days=later_days
    )


# artist, manner, filed by year; title, scene, palette, width and height of the original in cm, ppi, form, year
_ROWS = (
    (
        MAREN,
        "impasto",
        False,
        (
            ("Harbour, Low Water", "harbour", 0, 45.0, 31.5, 300, "jpeg wide", 2022),
            ("Harbour, Blue Hour", "harbour", 1, 29.0, 20.3, 300, "jpeg wide", 2021),
            ("Herring Boats at Skarnøy", "harbour", 11, 20.0, 14.0, 300, "16 deflate", 2022),
            ("Quay by Night", "town", 0, 15.0, 10.7, 400, "jpeg", 2020),
            ("Regatta, Grey Morning", "harbour", 5, 14.0, 10.0, 300, "16 deflate", 2024),
        ),
    ),
    (
        TOBIN,
        "flat",
        False,
        (
            ("Three Kites", "kites", 4, 36.0, 25.7, 300, "lzw", 2021),
            ("Allotment", "garden", 9, 20.0, 15.0, 300, "deflate tiled", 2022),
            ("Red Barn Yard", "yard", 8, 14.0, 10.3, 300, "none", 2020),
            ("Ferry Stop", "ferry", 7, 24.0, 17.0, 300, "big", 2023),
            ("Quarter Past", "quarters", 8, 15.0, 15.0, 300, "alpha", 2024),
        ),
    ),
    (
        ISAURA,
        "lines",
        True,
        (
            ("Contour Study", "contours", 6, 14.5, 10.4, 600, "deflate", 2020),
            ("Pollard Row", "woods", 0, 14.5, 10.7, 400, "grey", 2021),
            ("Headland, Evening", "ridges", 8, 14.5, 11.0, 400, "motorola", 2022),
            ("Lamps on Stair Street", "town", 1, 12.0, 9.0, 400, "grey 16", 2021),
        ),
    ),
    (
        HESPER,
        "colour field",
        True,
        (
            ("Ember over Slate", "", 3, 15.0, 18.0, 300, "16 lzw tiled", 2022),
            ("Field for Listening", "", 1, 20.0, 24.4, 300, "16 deflate", 2021),
            ("Two Greys", "", 5, 15.0, 15.0, 300, "zstd", 2023),
            ("Long Yellow", "", 2, 20.0, 10.9, 300, "lzw cm", 2023),
        ),
    ),
    (
        ILVO,
        "tide",
        False,
        tuple(
            (f"Tide Table {n} of 6", str(n), 1, 14.8, 10.4, 300, "lzw", 2021 if n < 4 else 2022) for n in range(1, 7)
        ),
    ),
    (
        WENDLA,
        "minimal",
        True,
        (
            ("Pebble", "stone", 8, 10.5, 13.4, 300, "packbits", 2020),
            ("Horizon, Unfinished", "horizon", 4, 20.0, 13.3, 300, "lzw bare", 2025),
            ("One Thread", "thread", 6, 15.0, 15.0, 300, "deflate", 2024),
        ),
    ),
    (
        EZECHIEL,
        "collage",
        False,
        (
            ("Marché [épreuve]", "", 8, 20.0, 15.5, 300, "deflate", 2021),
            ("Signal Flags", "", 0, 12.0, 9.0, 300, "layers", 2022),
            ("Torn Timetable", "", 7, 15.0, 11.3, 300, "lzw", 2023),
            ("Night Kiosk", "", 3, 12.0, 9.3, 300, "cmyk", 2023),
        ),
    ),
    (
        ORLA,
        "wash",
        False,
        (
            ("Hay Meadow", "hills", 10, 20.0, 14.2, 300, "jpeg", 2020),
            ("Rain off the Fell", "rain", 11, 14.8, 10.5, 300, "jpeg", 2021),
            ("Estuary Morning", "hills", 4, 20.0, 13.8, 300, "jpeg wide", 2022),
            ("Plum Branch", "branch", 9, 14.8, 10.9, 300, "lab", 2023),
            ("Fell Study no. 3", "hills", 0, 10.5, 7.5, 300, "deflate wide", 2024),
        ),
    ),
    (
        NOAM,
        "impasto",
        False,
        (
            ("אור על המים", "harbour", 7, 18.0, 12.8, 300, "jpeg", 2022),
            ("Terraces, Noon", "fields", 10, 18.0, 13.1, 300, "jpeg", 2023),
            ("Birches 🌿", "woods", 10, 18.0, 13.2, 300, "16 deflate", 2024),
        ),
    ),
    (
        PELL,
        "knife",
        False,
        (
            ("Three Jugs and a Bowl", "still life", 6, 15.0, 11.3, 300, "jpeg", 2020),
            ("Copper Bottle", "still life", 0, 15.0, 11.3, 300, "jpeg wide", 2021),
            ("Bowl by the Green Wall", "still life", 2, 15.0, 11.3, 300, "jpeg", 2022),
            ("Kitchen Table, Winter", "still life", 5, 15.0, 10.7, 300, "16 deflate", 2024),
            ("Two Bowls (miniature)", "still life", 3, 6.0, 4.6, 600, "16 none", 2023),
            ("Blue Jug (miniature)", "still life", 8, 6.0, 4.4, 600, "lzw", 2024),
        ),
    ),
)


def original(
    artist: str,
    title: str,
    manner: str,
    scene: str,
    palette: int,
    size_cm: tuple[float, float],
    ppi: float,
    form: str,
    year: int,
    inventory: int,
    scale: float,
    by_year: bool = False,
) -> Original:
    """A piece of `size_cm` whose master has `ppi`, in an archive at `scale`; below 1 nothing is enlarged."""
    pixels = [cm / 2.54 * ppi * scale for cm in size_cm]
    enlarge = 1
    if scale >= 1 and manner in _SOFT:
        enlarge = max(_SOFT[manner], ceil(max(pixels) / _LARGEST_PAINTED))
    width, height = (round(side / enlarge) for side in pixels)
    return Original(
        artist,
        title,
        manner,
        scene,
        palette,
        width,
        height,
        ppi * scale / enlarge,
        form,
        year,
        inventory,
        by_year,
        enlarge,
        scale,
    )


def stock(scale: float) -> tuple[Original, ...]:
    """Every piece, for an archive at `scale` of the shop's own resolution."""
    made: list[Original] = []
    for artist, manner, by_year, pieces in _ROWS:
        for title, scene, palette, w, h, ppi, form, year in pieces:
            number = 401 + 3 * len(made)
            made.append(
                original(artist, title, manner, scene, palette, (w, h), ppi, form, year, number, scale, by_year)
            )
    return tuple(made)


BUYERS = (
    "Gallery Umberlow",
    "Mrs Pettigrain-Voss",
    "Hotel Zum Halben Anker",
    "Dr Fennimer Oake",
    "Tarnbeck Frames",
    "Café Lumbrel",
    "Lindqvarn Interiors",
    "Mr Abelard Snoade",
    "Studio Wexelhume",
    "Verity Colquhane",
    "Bryndal Library",
    "Osmund Tilleray",
    "Practice at Nettle Row",
    "Galerie Ouvremont",
    "Ms Ingelune Dalthrask-Muhl",
    "The Saltmarsh Rooms",
    "Quennel & Daughters",
    "Pim Vanderhoek-Ray",
)
PAPERS = ("cotton rag 310 g", "etching paper 350 g", "baryta 300 g", "bamboo 290 g")
CANVASES = ("canvas, satin", "canvas, matt")
