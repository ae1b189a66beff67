"""``catalogue scan``: say what a scan is and which piece it shows."""

import click

from catalogue.commands.artist import correction_lines
from catalogue.commands.lookup import find_piece
from catalogue.commands.scan_lookup import find_scan
from catalogue.commands.session import Session, SessionGroup
from catalogue.errors import Refused
from catalogue.operations.correcting import describe_scans
from catalogue.records.pieces import get_piece
from catalogue.records.scans import ROLES

command = SessionGroup("scan", help="Say what a scan is and which piece it shows.")


@command.command("set")
@click.argument("scan")
@click.option("--role", type=click.Choice(ROLES), help="Its role.")
@click.option("--piece", help="The piece it shows: its number, title, or artist and title.")
@click.option("--new", "title", help="It shows a new piece with this title.")
@click.option("--artist", help="With --new: by this artist; otherwise by the artist of its present piece.")
def set_(session: Session, scan: str, role: str | None, piece: str | None, title: str | None,
         artist: str | None) -> None:
    """Say what SCAN is and which piece it shows.

    SCAN is a file's path or name, or the first digits of its SHA-256. Later index runs follow this.
    """
    if piece and title:
        raise Refused("A scan belongs to one piece.", hint="Give --piece or --new.")
    if not (role or piece or title):
        raise Refused("Nothing to change.", hint="Give --role, --piece or --new.")
    db = session.database()
    chosen = find_scan(db, scan)
    piece_id = find_piece(db, piece).id if piece else None
    if title:
        if artist is None and chosen.piece_id is not None:
            artist = get_piece(db, chosen.piece_id).artist
        if artist is None:
            raise Refused("The new piece needs an artist.", hint="Give --artist.")
        change = describe_scans(db, [chosen.sha256], role=role, new_piece=(artist, title))
    else:
        change = describe_scans(db, [chosen.sha256], role=role, piece_id=piece_id)
    session.emit(change, correction_lines(change))
