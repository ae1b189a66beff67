"""An invented catalogue for the bench of the screens: pieces by the ten thousand, each with a preview, and orders."""

import random
import time
from hashlib import sha256
from pathlib import Path

WORDS = [
    "Harbour", "Quay", "Terrace", "Meadow", "Fell", "Lantern", "Orchard", "Slipway", "Kiosk", "Ferry", "Thimble",
    "Walnut", "Pebble", "Heron", "Barley", "Ember", "Slate", "Willow", "Copper", "Juniper", "Cinder", "Saffron",
    "Anchor", "Gable", "Millrace", "Hollow", "Lichen", "Marram", "Otter", "Plover",
]
TIMES = [
    "Morning", "Noon", "Evening", "Winter", "Spring", "Rain", "Frost", "Study", "Sketch", "Reprise", "Low", "High",
    "Blue", "Grey", "Yellow", "Red",
]
FIRST = [
    "Ansgard", "Brida", "Corin", "Dagny", "Edda", "Fenn", "Gretchild", "Hollis", "Ithelwin", "Jorun", "Kester",
    "Linnewith", "Magnild", "Nessa", "Odile", "Piers",
]
LAST = [
    "Quarrel", "Tarnow", "Vandrel", "Ostrel", "Brunmar", "Pennyroy", "Grauwick", "Ambrosh", "Fethgar", "Castermain",
    "Halvik", "Umberlow",
]
SCANS_A_PIECE = 4
PREVIEWS = 24          # pictures painted; the masters share them through hard links


def build(folder: Path, count: int) -> None:
    """A catalogue of invented rows and painted previews."""
    from catalogue.reading.model import Picture, Reading
    from catalogue.records import files, orders, pieces, stores
    from catalogue.records.database import open_database, transaction
    from tests.recorded import save_scan

    chance = random.Random(7)
    db = open_database(folder / "catalogue.sqlite")
    pictures = [painted(chance) for _ in range(PREVIEWS)]
    painted_at = [folder / f"painted {number}.webp" for number in range(PREVIEWS)]
    for place, preview in zip(painted_at, pictures, strict=True):
        place.write_bytes(preview)
    picture = Picture(9000, 12000, 16, "uint", 3, "RGB", "none", "strips", ppi_x=600.0, ppi_y=600.0)
    begun = time.perf_counter()
    with transaction(db):
        homes = [stores.add(db, name, f"/stores/{name}", kind, name).id
                 for name, kind in (("main disk", "primary"), ("share", "copy"))]
        artists = [pieces.artist_called(db, f"{chance.choice(FIRST)} {chance.choice(LAST)} {number}")
                   for number in range(max(1, count // 100))]
        piece_id, artist, title = 0, artists[0], ""
        for number in range(count):
            if number % SCANS_A_PIECE == 0:
                artist = chance.choice(artists)
                title = f"{chance.choice(WORDS)} {chance.choice(TIMES)} {number // SCANS_A_PIECE}"
                piece_id = pieces.piece_called(db, artist.id, title, str(chance.randint(1990, 2025)))
            role = ("master", "tile", "tile", "print file")[number % SCANS_A_PIECE]
            digest = sha256(str(number).encode()).hexdigest()
            path = f"{artist.name}/{title}/{title} {role} {number % SCANS_A_PIECE}.tif"
            shown = number // SCANS_A_PIECE % PREVIEWS if role == "master" else None
            if shown is not None:
                place = folder / "previews" / digest[:2] / f"{digest}.webp"
                place.parent.mkdir(parents=True, exist_ok=True)
                place.hardlink_to(painted_at[shown])
            scan_id = save_scan(db, Reading(path, 600_000_000, number, digest, format="TIFF", picture=picture,
                                             preview=None if shown is None else pictures[shown]),
                                 role=role, piece_id=piece_id)
            for store_id in homes[:1 + (role == "master")]:
                files.save(db, store_id, path, 600_000_000, number, scan_id, verified=True)
            if role == "master":
                pieces.set_current(db, piece_id, scan_id, "proposed")
                placed = f"{chance.randint(2015, 2025)}-{chance.randint(1, 12):02d}-15"
                order = orders.save(db, f"B{number:06d}", placed,
                                    buyer=f"{chance.choice(FIRST)} {chance.choice(LAST)}", status="printed")
                orders.add_line(db, order, orders.NewLine(piece_id, 500, 700, chance.randint(1, 10), "cotton rag",
                                                          scan_sha256=digest))
    db.execute("ANALYZE")
    db.close()
    print(f"built {count:,} scans in {time.perf_counter() - begun:.0f} s")


def painted(chance: random.Random) -> bytes:
    """A preview of the usual size: soft fields with grain, as WebP."""
    import io

    from PIL import Image, ImageFilter

    small = Image.new("RGB", (12, 16))
    small.putdata([tuple(chance.randint(40, 230) for _ in range(3)) for _ in range(12 * 16)])
    large = small.resize((768, 1024), Image.Resampling.BICUBIC)
    grain = Image.effect_noise((768, 1024), 40).convert("RGB").filter(ImageFilter.GaussianBlur(1))
    out = io.BytesIO()
    Image.blend(large, grain, 0.15).save(out, "WEBP", quality=85)
    return out.getvalue()
