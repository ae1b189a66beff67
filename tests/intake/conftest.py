"""Small true files for intake, and a store to take them into."""

import os
from datetime import datetime
from pathlib import Path

import pytest
import tifffile
from intake_pictures import Pixels, TakeUp, Write

from catalogue.indexing.guessing import guess_new
from catalogue.indexing.previews import keep_preview
from catalogue.indexing.recording import record
from catalogue.indexing.stores import add_store
from catalogue.reading.file import read_file
from catalogue.records import runs
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from catalogue.settings import Home


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a picture as a TIFF with a resolution, a time and metadata."""

    def make(name: str, pixels: Pixels, *, at: str = "2026-03-01T10:00:00", ppi: int = 600, artist: str = "",
             title: str = "", folder: str = "key") -> Path:
        path = tmp_path / folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        moment = datetime.fromisoformat(at)
        tags = [(306, "s", 0, moment.strftime("%Y:%m:%d %H:%M:%S"), True)]
        if artist:
            tags.append((315, "s", 0, artist, True))
        tifffile.imwrite(path, pixels, photometric="rgb", resolution=(ppi, ppi), resolutionunit=2, metadata=None,
                         description=title or None, extratags=tags)
        os.utime(path, (moment.timestamp(), moment.timestamp()))
        return path

    return make


@pytest.fixture
def store(db: Database, tmp_path: Path) -> Store:
    (tmp_path / "masters").mkdir()
    return add_store(db, "masters", tmp_path / "masters", "primary", consent=True)


@pytest.fixture
def take_up(db: Database, home: Home) -> TakeUp:
    """Record every TIFF of a store as an index run would, without its processes."""

    def record_all(store: Store) -> None:
        root = Path(store.root)
        with transaction(db):
            run_id = runs.start(db, "index", store.id)
            for path in sorted(root.rglob("*.tif")):
                reading = read_file(path)
                keep_preview(home, reading)
                record(db, home, store, str(path.relative_to(root)), reading)
            runs.end(db, run_id, "finished", {})
        guess_new(db, home, ())

    return record_all
