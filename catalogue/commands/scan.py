"""``catalogue scan``: say what a scan is and which piece it shows."""

import click

from catalogue.commands.artist import correction_lines
from catalogue.commands.lookup import TITLE, find_artist, find_piece, meant_pieces
from catalogue.commands.printing import Printer
from catalogue.commands.scan_lookup import find_scan
from catalogue.commands.session import Session, SessionGroup
from catalogue.errors import NotFound, Refused
from catalogue.operations.correcting import describe_scans, new_artist_note
from catalogue.operations.wording import counted
from catalogue.records import pieces, scans
from catalogue.records.database import Database
from catalogue.records.paths import display_path
from catalogue.records.pieces import get_piece
from catalogue.records.scans import ROLES
from catalogue.untrusted import shell_word

command = SessionGroup("scan", help="List scans without a piece; say what a scan is and which piece it shows.")


@command.command("list")
def list_(session: Session) -> None:
    """List scans that are filed under no piece yet."""
    rows = scans.without_piece(session.looking())

    def text(out: Printer) -> None:
        out.lines(f"{row.sha256[:12]}  {row.role:<10}  {row.store}:{display_path(row.path)}" for row in rows)
        out.print(f"{counted(len(rows), 'scan')}. To file one: catalogue scan set SCAN --new TITLE --artist NAME, or"
                  " --piece PIECE" if rows else "Every scan is filed under a piece.")

    session.emit(rows, text)


@command.command("set")
@click.argument("scan")
@click.option("--role", type=click.Choice(ROLES), help="Its role.")
@click.option("--piece", help="The piece it shows: its number, title, or artist and title.")
@click.option("--new", "title", help="It shows a new piece with this title.")
@click.option("--artist", help="The artist of --piece or --new; a new piece is otherwise by that of its present one.")
def set_(session: Session, scan: str, role: str | None, piece: str | None, title: str | None,
         artist: str | None) -> None:
    """Say what SCAN is and which piece it shows.

    SCAN is a file's path or name, or the first digits of its SHA-256. Later index runs follow this.
    """
    if piece and title:
        raise Refused("A scan belongs to one piece.", hint="Give --piece or --new.")
    if not (role or piece or title):
        raise Refused("Nothing to change.", hint="Give --role, --piece or --new.")
    if artist and not (piece or title):
        raise Refused("A scan has an artist by its piece.", hint="Give --piece or --new as well.")
    db = session.database()
    chosen = find_scan(db, scan)
    new: list[str] = []
    piece_id = (_piece_by(db, artist, piece) if artist else find_piece(db, piece).id) if piece else None
    if title:
        if artist is None and chosen.piece_id is not None:
            artist = get_piece(db, chosen.piece_id).artist
        if artist is None:
            raise Refused("The new piece needs an artist.", hint="Give --artist.")
        new = new_artist_note(db, artist)
        change = describe_scans(db, [chosen.sha256], role=role, new_piece=(artist, title))
    else:
        change = describe_scans(db, [chosen.sha256], role=role, piece_id=piece_id)
    session.emit(change, [*correction_lines(change), *new])


def _piece_by(db: Database, artist: str, piece: str) -> int:
    """The artist's piece of that number or title. Raises NotFound, Ambiguous."""
    owner = find_artist(db, artist)
    own = [p.id for _, p in meant_pieces(db, piece) if p.artist_id == owner.id]
    piece_id = pieces.of_title(db, owner.id, piece.removeprefix(TITLE)) or (own[0] if len(own) == 1 else None)
    if piece_id is None:
        raise NotFound(f"{owner.name} has no piece called {piece!r}.", hint=f"If it is a new one: --new "
                       f"{shell_word(piece)} --artist {shell_word(owner.name)}.")
    return piece_id
