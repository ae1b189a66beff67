"""The invented shop's stock list: its artists, pieces and how each master is stored. Every name is made up."""

from __future__ import annotations

from dataclasses import dataclass

from .tiffs import Form

SHOP = "Ossel Lane Print Room"
MAKER, MODEL, SOFTWARE, STITCHER = "Brellmark", "Flatbed A3-R", "Brellmark Capture 2.4", "Seamwright 1.1"

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
    "packbits": Form("packbits", profiled=False),
}


@dataclass(frozen=True)
class Original:
    """One piece and its current master: pixels, ppi, form, the year it was scanned, its inventory number."""

    artist: str
    title: str
    manner: str
    scene: str
    palette: int
    width: int
    height: int
    ppi: int
    form: str
    year: int
    inventory: int
    by_year: bool = False  # filed flat by year rather than by artist and piece

    @property
    def surname(self) -> str:
        return self.artist.split()[-1]

    @property
    def cm(self) -> tuple[float, float]:
        return self.width / self.ppi * 2.54, self.height / self.ppi * 2.54


def _stock() -> tuple[Original, ...]:
    rows = (
        (
            MAREN,
            "impasto",
            False,
            (
                ("Harbour, Low Water", "harbour", 0, 1080, 760, 60, "jpeg", 2023),
                ("Harbour, Blue Hour", "harbour", 1, 1000, 700, 60, "jpeg wide", 2021),
                ("Herring Boats at Skarnøy", "harbour", 11, 720, 500, 60, "lzw", 2022),
                ("Quay by Night", "town", 0, 900, 640, 72, "jpeg", 2020),
                ("Regatta, Grey Morning", "harbour", 5, 560, 400, 75, "16 deflate", 2024),
            ),
        ),
        (
            TOBIN,
            "flat",
            False,
            (
                ("Three Kites", "kites", 4, 1400, 1000, 100, "lzw", 2021),
                ("Allotment", "garden", 9, 1200, 900, 72, "deflate tiled", 2022),
                ("Red Barn Yard", "yard", 8, 600, 440, 60, "none", 2020),
                ("Ferry Stop", "ferry", 7, 1200, 850, 80, "big", 2023),
                ("Quarter Past", "quarters", 8, 1000, 1000, 100, "alpha", 2024),
            ),
        ),
        (
            ISAURA,
            "lines",
            True,
            (
                ("Contour Study", "contours", 6, 1000, 720, 90, "deflate", 2020),
                ("Pollard Row", "woods", 0, 1000, 740, 90, "grey", 2021),
                ("Headland, Evening", "ridges", 8, 1000, 760, 72, "motorola", 2022),
                ("Lamps on Stair Street", "town", 1, 720, 540, 72, "grey 16", 2021),
            ),
        ),
        (
            HESPER,
            "colour field",
            True,
            (
                ("Ember over Slate", "", 3, 520, 620, 60, "16 lzw tiled", 2022),
                ("Field for Listening", "", 1, 900, 1100, 60, "deflate wide", 2021),
                ("Two Greys", "", 5, 800, 800, 60, "zstd", 2023),
                ("Long Yellow", "", 2, 1100, 600, 60, "lzw cm", 2023),
            ),
        ),
        (
            ILVO,
            "tide",
            False,
            tuple(
                (f"Tide Table {n} of 6", str(n), 1, 1000, 700, 80, "lzw", 2021 if n < 4 else 2022) for n in range(1, 7)
            ),
        ),
        (
            WENDLA,
            "minimal",
            True,
            (
                ("Pebble", "stone", 8, 440, 560, 60, "packbits", 2020),
                ("Horizon, Unfinished", "horizon", 4, 1200, 800, 72, "lzw bare", 2022),
                ("One Thread", "thread", 6, 900, 900, 72, "deflate", 2024),
            ),
        ),
        (
            EZECHIEL,
            "collage",
            False,
            (
                ("Marché [épreuve]", "", 8, 800, 620, 72, "deflate", 2021),
                ("Signal Flags", "", 0, 640, 480, 72, "layers", 2022),
                ("Torn Timetable", "", 7, 900, 680, 72, "lzw", 2023),
                ("Night Kiosk", "", 3, 620, 480, 72, "cmyk", 2023),
            ),
        ),
        (
            ORLA,
            "wash",
            False,
            (
                ("Hay Meadow", "hills", 10, 900, 640, 72, "jpeg", 2020),
                ("Rain off the Fell", "rain", 11, 900, 640, 72, "jpeg", 2021),
                ("Estuary Morning", "hills", 4, 960, 660, 72, "jpeg wide", 2022),
                ("Plum Branch", "branch", 9, 760, 560, 72, "lab", 2023),
                ("Fell Study no. 3", "hills", 0, 600, 430, 72, "deflate", 2024),
            ),
        ),
        (
            NOAM,
            "impasto",
            False,
            (
                ("אור על המים", "harbour", 7, 900, 640, 60, "jpeg", 2022),
                ("Terraces, Noon", "fields", 10, 960, 700, 60, "jpeg", 2023),
                ("Birches 🌿", "woods", 10, 900, 660, 60, "jpeg", 2024),
            ),
        ),
        (
            PELL,
            "knife",
            False,
            (
                ("Three Jugs and a Bowl", "still life", 6, 900, 680, 72, "jpeg", 2020),
                ("Copper Bottle", "still life", 0, 880, 660, 72, "jpeg wide", 2021),
                ("Bowl by the Green Wall", "still life", 2, 900, 680, 72, "jpeg", 2022),
                ("Kitchen Table, Winter", "still life", 5, 900, 640, 72, "jpeg", 2024),
                ("Two Bowls (miniature)", "still life", 3, 520, 400, 600, "16 none", 2023),
                ("Blue Jug (miniature)", "still life", 8, 680, 500, 600, "lzw", 2024),
            ),
        ),
    )
    made: list[Original] = []
    for artist, manner, by_year, pieces in rows:
        for title, scene, palette, w, h, ppi, form, year in pieces:
            made.append(
                Original(artist, title, manner, scene, palette, w, h, ppi, form, year, 401 + 3 * len(made), by_year)
            )
    return tuple(made)


STOCK: tuple[Original, ...] = _stock()

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
    "Ms Ingeborg Daltrey-Muir",
    "The Saltmarsh Rooms",
    "Quennel & Daughters",
    "Pim Vanderhoek-Ray",
)
PAPERS = ("cotton rag 310 g", "etching paper 350 g", "baryta 300 g", "bamboo 290 g")
CANVASES = ("canvas, satin", "canvas, matt")
