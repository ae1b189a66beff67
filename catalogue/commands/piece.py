"""``catalogue piece``: correct, confirm, merge and split pieces."""

from typing import Any

import click

from catalogue.commands.artist import correction_lines
from catalogue.commands.lookup import find_artist, find_piece
from catalogue.commands.printing import Printer, undo_hint
from catalogue.commands.scan_lookup import find_scan
from catalogue.commands.session import Session, SessionGroup
from catalogue.errors import refusing
from catalogue.ledger import values
from catalogue.operations.correcting import (
    confirm_artist,
    confirm_pieces,
    describe_piece,
    merge_pieces,
    new_artist_note,
    split_piece,
)

command = SessionGroup("piece", help="Correct, confirm, merge and split pieces.")


@command.command("set")
@click.argument("piece", nargs=-1, required=True)
@click.option("--artist", help="Another artist, by name; created if new.")
@click.option("--title", help="Another title.")
@click.option("--year", help="Year of the original.")
@click.option("--series", help="The series it belongs to.")
@click.option("--inventory", "inventory_number", help="Inventory number.")
@click.option("--medium", help="What the original is made of: oil on canvas.")
@click.option("--size", help="The original as measured: 60x80 (cm) or 600x800mm.")
@click.option("--relief", "relief_mm", type=click.FloatRange(0, 500), help="Depth of its relief in mm.")
@click.option("--notes", help="Anything else worth knowing.")
def set_(session: Session, /, piece: tuple[str, ...], artist: str | None, size: str | None, **given: Any) -> None:
    """Set details of PIECE and its original.

    Anything not given stays as it is. An empty text means there is none.
    """
    db = session.database()
    facts = {name: value for name, value in given.items() if value is not None}
    if size:
        with refusing("Nothing was changed"):
            facts["width_mm"], facts["height_mm"] = values.size_mm(size)
    known = find_piece(db, " ".join(piece))
    new = new_artist_note(db, artist) if artist else []
    change, noted = describe_piece(db, known.id, facts, artist=artist)

    def text(out: Printer) -> None:
        out.print(f"{noted.artist}: {noted.title}")
        for name, value in (("year", noted.year), ("series", noted.series), ("inventory", noted.inventory_number),
                            ("medium", noted.medium), ("original", values.shown_size(noted.width_mm, noted.height_mm)),
                            ("relief", f"{noted.relief_mm:g} mm" if noted.relief_mm else ""), ("notes", noted.notes)):
            out.field(name, value)
        out.lines(new)
        out.lines(undo_hint(change.id))

    session.emit(noted, text)


@command.command("confirm")
@click.argument("piece", nargs=-1)
@click.option("--artist", help="Every piece of this artist.")
def confirm(session: Session, piece: tuple[str, ...], artist: str | None) -> None:
    """Confirm that artist and title of PIECE are right as guessed.

    Files can be renamed by them from then on.
    """
    if bool(piece) == bool(artist):
        raise click.UsageError("Name a piece, or an artist with --artist.")
    db = session.database()
    change = (confirm_artist(db, find_artist(db, artist).id) if artist else
            confirm_pieces(db, [find_piece(db, " ".join(piece)).id]))
    session.emit(change, correction_lines(change))


@command.command("merge")
@click.argument("piece", nargs=-1, required=True)
@click.option("--into", "keep", required=True, metavar="PIECE",
              help="The piece to keep: its number, title, or artist and title.")
def merge(session: Session, piece: tuple[str, ...], keep: str) -> None:
    """Merge PIECE into another.

    Scans, orders, editions and details of the original move there.
    """
    db = session.database()
    change = merge_pieces(db, find_piece(db, keep).id, find_piece(db, " ".join(piece)).id)
    session.emit(change, correction_lines(change))


@command.command("split")
@click.argument("piece", nargs=-1, required=True)
@click.option("--scan", "scans", multiple=True, required=True,
              help="A scan that shows another piece: a file, or the first digits of its SHA-256.")
@click.option("--title", required=True, help="Title of the new piece, by the same artist.")
def split(session: Session, piece: tuple[str, ...], scans: tuple[str, ...], title: str) -> None:
    """File some scans of PIECE under a new piece."""
    db = session.database()
    change = split_piece(db, find_piece(db, " ".join(piece)).id, [find_scan(db, s).id for s in scans], title)
    session.emit(change, correction_lines(change))
