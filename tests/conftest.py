"""Small real archives to try things on."""

from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import settings as hypothesis_settings
from PIL import ImageCms

from catalogue.records.database import Database, open_database
from catalogue.settings import Home

hypothesis_settings.register_profile("suite", deadline=None, max_examples=60)
hypothesis_settings.load_profile("suite")


SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


@pytest.fixture
def home(tmp_path: Path) -> Home:
    return Home(tmp_path / "catalogue home")


@pytest.fixture
def db(home: Home) -> Iterator[Database]:
    database = open_database(home.database)
    yield database
    database.close()


Scan = Callable[..., Path]


@pytest.fixture
def scan(tmp_path: Path) -> Scan:
    """Writes a small TIFF below ``tmp_path``: ``scan("main/Ada/Harbour/master.tif", seed=3)``."""

    def write(place: str, *, seed: int = 0, size: tuple[int, int] = (60, 80), **options: object) -> Path:
        path = tmp_path / place
        path.parent.mkdir(parents=True, exist_ok=True)
        pixels = np.random.default_rng(seed).integers(0, 255, (*size, 3), dtype=np.uint8)
        tifffile.imwrite(path, pixels, photometric="rgb", resolution=(100, 100), resolutionunit=2, metadata=None,
                         iccprofile=SRGB, **options)
        return path

    return write
