"""A shop that was built once in a folder of its own, copied for each test, which may change the copy."""

import shutil
from contextlib import closing
from pathlib import Path

from catalogue.records import stores
from catalogue.records.database import open_database, transaction
from catalogue.settings import Home


def copy_shop(built: Path, folder: Path, home: Home) -> Home:
    """Copy everything in ``built``, where the stores' folders lie too; ``home`` is the catalogue's in the copy."""
    shutil.copytree(built, folder, dirs_exist_ok=True)
    with closing(open_database(home.database)) as db, transaction(db):
        for store in stores.listed(db):
            stores.move(db, store.id, str(folder / Path(store.root).relative_to(built)))
    return home
