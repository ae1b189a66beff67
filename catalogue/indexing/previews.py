"""Previews beside the catalogue. They can be made again from the stores, so they are never flushed, but written
atomically."""

from contextlib import suppress

from catalogue.errors import Busy
from catalogue.reading.model import Reading
from catalogue.settings import Home
from catalogue.storage.atomic import opened, part_of
from catalogue.storage.medium import write_all, writing


def keep_preview(home: Home, reading: Reading) -> None:
    """Store a reading's preview, whole or not at all. What a killed run left half written is removed on the way.

    Raises CatalogueError: the folder cannot be written to.
    """
    if reading.preview is None or not reading.sha256:
        return
    target = home.preview(reading.sha256)
    if target.exists():
        return
    # Busy: a concurrent intake is writing the same picture
    with suppress(Busy), opened(target) as entry, part_of(entry) as (part, out), writing(target):
        write_all(out, memoryview(reading.preview))
        part.rename_to(entry)
