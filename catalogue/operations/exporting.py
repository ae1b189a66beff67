"""Export: checksums, bags, tables and pages that can be read without the catalogue."""

from collections.abc import Sequence
from pathlib import Path

from catalogue.fixity import manifest
from catalogue.fixity.bags import Bag, write_bag
from catalogue.fixity.manifest import Written
from catalogue.operations.wording import counted
from catalogue.progress import Report, data_size, ignore_progress
from catalogue.records import stores as known_stores
from catalogue.records.database import Database
from catalogue.records.pieces import Artist
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.sheets import certificates, holdings, tables
from catalogue.sheets.certificates import Certificates
from catalogue.sheets.writing import outside, safe_name, write_again, write_sheet

__all__ = ["export_certificates", "export_holdings", "export_manifests", "export_table", "summarize_bag",
           "summarize_manifests", "write_bag", "write_edition_page"]


def export_manifests(db: Database, home: Home, stores: Sequence[Store], *, into_store: bool = False) -> list[Written]:
    """Write the stores' checksums beside the catalogue; ``into_store``: at their roots too, now and with every backup.

    Raises: as :func:`catalogue.fixity.manifest.export_into`.
    """
    written = []
    for store in stores:
        written.append(manifest.export(db, home, store))
        if into_store:
            written.append(manifest.export_into(db, store, consent=True))
    return written


def summarize_manifests(manifests: Sequence[Written]) -> list[str]:
    """The path of each manifest."""
    return [f"{made.store}: checksums of {counted(made.files, 'file')} in {made.path}" for made in manifests]


def summarize_bag(bag: Bag) -> list[str]:
    """What the bag holds, and its path."""
    sidecars = f" and {counted(bag.sidecars, 'sidecar')}" if bag.sidecars else ""
    return [f"{counted(bag.files, 'scan')}{sidecars} ({data_size(bag.bytes)}), copied and verified: {bag.folder}"]


def export_table(db: Database, name: str, file: Path) -> Path:
    """Write one of ``tables.EXPORTS`` to a new CSV file. Raises Refused if it exists."""
    return write_sheet(db, file, tables.EXPORTS[name](db))


def export_holdings(db: Database, home: Home, artist: Artist, file: Path | None = None, *,
                    report: Report = ignore_progress) -> Path:
    """Write the page of an artist's holdings to a new file, or again in the sheets folder."""
    page = holdings.holdings(db, home, artist.id, report=report)
    if file is not None:
        return write_sheet(db, file, page)
    return write_again(home.sheets / f"{safe_name(artist.name)} holdings.html", page)


def export_certificates(db: Database, home: Home, edition_id: int, *, as_csv: Path | None = None,
                        as_html: Path | None = None) -> tuple[Certificates, list[Path]]:
    """An edition's numbered list, written to new files where they are named; returns the list and the files."""
    made = certificates.certificates(db, home.settings, edition_id)
    return made, [write_sheet(db, path, text) for path, text in ((as_csv, made.as_csv), (as_html, made.as_html))
                  if path is not None]


def write_edition_page(db: Database, home: Home, edition_id: int) -> Path:
    """An edition's numbered list as a page in the sheets' folder, in place of an earlier one. Raises NotFound."""
    made = certificates.certificates(db, home.settings, edition_id)
    folder = outside(home.sheets / "editions", known_stores.listed(db))
    return write_again(folder / f"edition {edition_id}.html", made.as_html)
