"""``catalogue export``: what leaves the catalogue, in open formats."""

from pathlib import Path

import click

from catalogue.commands.lookup import find_artist, find_piece
from catalogue.commands.printing import ask
from catalogue.commands.session import Session, SessionGroup
from catalogue.commands.watching import bar, watched
from catalogue.fixity.bag_check import check_bag
from catalogue.fixity.manifest import NAME
from catalogue.operations import exporting
from catalogue.operations.stores import selected_stores
from catalogue.progress import data_size
from catalogue.records.fixity import baggable

command = SessionGroup("export",
                       help="Export checksums, bags, tables and pages that can be read without the catalogue.")


@command.command("manifest")
@click.argument("names", nargs=-1, metavar="[STORE]...")
@click.option("--into-store", is_flag=True, help="Write it at the store's root too, now and with every backup.")
@click.option("--yes", is_flag=True, help="Do not ask before writing into a store.")
def manifest(session: Session, names: tuple[str, ...], into_store: bool, yes: bool) -> None:
    """Write checksums of stores, as a file that sha256sum -c reads.

    Covers the named stores, or all; the file is written beside the catalogue. With --into-store also into the store
    itself, after asking.
    """
    db = session.existing()
    chosen = selected_stores(db, names)
    for store in chosen if into_store and not yes else ():
        ask(f"Write {NAME} into {store.root}, now and with every backup?", otherwise="Nothing was written.")
    written = exporting.export_manifests(db, session.home, chosen, into_store=into_store)
    session.emit(written, exporting.summarize_manifests(written))


@command.command("bag")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--piece", metavar="WORDS", help="Only scans of this piece.")
@click.option("--artist", metavar="NAME", help="Only scans of this artist.")
@click.option("--masters", is_flag=True, help="Masters only, not tiles and print files.")
@click.option("--description", default="", help="What the bag is, in a sentence.")
@click.option("--organisation", default="", help="Who it comes from.")
@click.option("--check", is_flag=True, help="Write nothing; check the bag in FOLDER, whoever made it.")
def bag(session: Session, folder: Path, piece: str | None, artist: str | None, masters: bool, description: str,
        organisation: str, check: bool) -> int:
    """Write scans into FOLDER as a bag (RFC 8493).

    It holds verified copies, their checksums, and a list of what each is. FOLDER must not exist. With --check it is the
    bag to check; exit 1 when it is not valid.
    """
    if check:
        return _check(session, folder)
    db = session.existing()
    wanted = baggable(db, artist_id=None if artist is None else find_artist(db, artist).id,
                      piece_id=find_piece(db, piece).id if piece else None, masters_only=masters)
    with watched("No bag was written.") as watch:
        made = exporting.write_bag(db, folder, wanted, description=description, organisation=organisation, **watch)
    session.stopped = ""  # too late to stop: the bag is whole
    session.emit(made, exporting.summarize_bag(made))
    return 0


@command.command("csv")
@click.argument("table", type=click.Choice(["orders", "editions", "artists", "pieces", "buyers", "files"]))
@click.argument("file", type=click.Path(path_type=Path))
def csv_(session: Session, table: str, file: Path) -> None:
    """Write a table to a new CSV FILE.

    Its headings are those that catalogue import reads. The table files has a row for each file: store, path, SHA-256,
    role, artist, title, year, and for each of these whether it was stated, read from the file or guessed, and why.
    """
    made = exporting.export_table(session.looking(), table, file)
    session.emit({"written": made}, [f"Wrote {made}"])


@command.command("holdings")
@click.argument("artist", nargs=-1, required=True)
@click.option("--to", "file", type=click.Path(path_type=Path),
              help="A new HTML file; otherwise one in the sheets folder.")
def holdings(session: Session, artist: tuple[str, ...], file: Path | None) -> None:
    """Write a page of all works by ARTIST in the archive, to e-mail.

    One HTML file with pictures, sizes, editions and numbers left; no buyers and no prices.
    """
    db = session.looking()
    chosen = find_artist(db, " ".join(artist))
    with bar() as report:
        made = exporting.export_holdings(db, session.home, chosen, file, report=report)
    session.emit({"written": made}, [f"Wrote {made} ({data_size(made.stat().st_size)}). Check it before you send it."])


def _check(session: Session, folder: Path) -> int:
    with watched("The check of the bag was stopped.") as watch:
        problems = check_bag(folder, **watch)
    session.emit({"valid": not problems, "problems": problems},
                 [f"{problem.path or folder}: {problem.text}" for problem in problems]
                 or ["The bag is complete and every checksum is correct."])
    return int(bool(problems))
