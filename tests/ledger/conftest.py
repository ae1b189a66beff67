"""A shop in a folder: one store with small real TIFFs, its catalogue, and pieces under invented names."""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from catalogue.indexing.previews import keep_preview
from catalogue.indexing.stores import add_store
from catalogue.reading.model import Picture, Reading
from catalogue.records import files, pieces
from catalogue.records.database import Database, open_database, transaction
from catalogue.settings import Home
from tests import recorded


@dataclass
class Shop:
    """What a test needs to set up scans and pieces without running the indexer."""

    home: Home
    db: Database
    root: Path
    made: dict[str, str] = field(default_factory=dict)

    def piece(self, artist: str, title: str) -> int:
        with transaction(self.db):
            return pieces.piece_called(self.db, pieces.artist_called(self.db, artist).id, title)

    def scan(self, path: str, piece_id: int | None, *, width: int = 60, height: int = 84, role: str = "master",
             shade: int = 0, profile: str = "a" * 64, stated_px: tuple[int, int] | None = None,
             pixels: str = "", preview: Image.Image | None = None, photometric: str = "RGB") -> str:
        """Write a small TIFF and record it; ``stated_px`` records larger dimensions than the file's. Its SHA-256."""
        place = self.root / path
        place.parent.mkdir(parents=True, exist_ok=True)
        picture = np.full((height, width, 3), shade % 251, np.uint8)
        picture[0, 0] = (shade // 251, 1, 2)
        tifffile.imwrite(place, picture, photometric="rgb", metadata={"path": path})
        sha256 = hashlib.sha256(place.read_bytes()).hexdigest()
        px = stated_px or (width, height)
        stat = place.stat()
        reading = Reading(path, stat.st_size, stat.st_mtime_ns, sha256, pixels, "TIFF",
                          Picture(*px, 8, "uint", 3, photometric, "none", "strips",
                                  profile_name="Scanner RGB" if profile else "", profile_digest=profile))
        if preview is not None:
            buffer = BytesIO()
            preview.save(buffer, "WEBP", lossless=True)
            reading = replace(reading, preview=buffer.getvalue())
            keep_preview(self.home, reading)
        with transaction(self.db):
            scan_id = recorded.save_scan(self.db, reading, role=role, piece_id=piece_id)
            files.save(self.db, 1, path, stat.st_size, stat.st_mtime_ns, scan_id, verified=False)
            if piece_id is not None:
                pieces.propose_current(self.db, piece_id)
        return sha256


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    home = Home(tmp_path / "catalogue")
    root = tmp_path / "store"
    root.mkdir()
    db = open_database(home.database)
    add_store(db, "main", root, "primary", consent=True)
    yield Shop(home, db, root)
    db.close()
