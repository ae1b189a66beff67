"""A shop that was built once in a folder of its own, copied for each test, which may change the copy."""

import shutil
from contextlib import closing
from pathlib import Path

from catalogue.indexing.locations import note_file_location, note_store_location
from catalogue.records import locations, stores
from catalogue.records.database import open_database, transaction
from catalogue.records.paths import native_path
from catalogue.settings import Home


def copy_shop(built: Path, folder: Path, home: Home) -> Home:
    """Copy everything in ``built``, where the stores' folders lie too; ``home`` is the catalogue's in the copy."""
    shutil.copytree(built, folder, dirs_exist_ok=True)
    with closing(open_database(home.database)) as db, transaction(db):
        db.execute("DELETE FROM store_place")  # the copied files stand for those that were read
        for store in stores.listed(db):
            root = folder / Path(store.root).relative_to(built)
            stores.move(db, store.id, str(root))
            note_store_location(db, store, root)
            for file_id, path, _ in locations.inodes_of_store(db, store.id):
                note_file_location(db, file_id, str(root / native_path(path)))
    return home
