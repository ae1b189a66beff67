"""The shop that the fixity tests work on."""

from pathlib import Path

import pytest
from fixity_shop import Shop

from catalogue.records.database import Database
from catalogue.settings import Home


@pytest.fixture
def shop(db: Database, home: Home, tmp_path: Path) -> Shop:
    shop = Shop(db, home, tmp_path)
    shop.add("main")
    return shop
