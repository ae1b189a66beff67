"""``catalogue scan``: what a scan is and which piece it shows."""


import click

from catalogue.commands.artist import print_correction
from catalogue.commands.session import Session, json_option
from catalogue.commands.show import find_piece
from catalogue.errors import Ambiguous, NotFound, Refused
from catalogue.indexing.corrections import piece_of
from catalogue.operations.correcting import describe_scan, file_under_new_piece
from catalogue.records import scans
from catalogue.records.database import Database
from catalogue.records.scans import Scan

ROLES = ("master", "tile", "print file", "reference", "unsorted")


@click.group("scan")
def command() -> None:
    """Scans: their role and their piece."""


@command.command("set")
@click.argument("scan")
@click.option("--role", type=click.Choice(ROLES), help="Its role.")
@click.option("--piece", help="The piece it shows: its number, title, or artist and title.")
@click.option("--new", "title", help="It shows a new piece with this title.")
@click.option("--artist", help="With --new: by this artist; otherwise by the artist of its present piece.")
@json_option
@click.pass_obj
def set_(session: Session, scan: str, role: str | None, piece: str | None, title: str | None,
         artist: str | None) -> None:
    """Say what SCAN (a file's path or name, or the first digits of its SHA-256) is. Later index runs follow this."""
    if piece and title:
        raise Refused("A scan belongs to one piece.", hint="Give --piece or --new.")
    if not (role or piece or title):
        raise Refused("Nothing to change.", hint="Give --role, --piece or --new.")
    db = session.database()
    chosen = find_scan(db, scan)
    piece_id = find_piece(db, piece).id if piece else None
    if title:
        if artist is None and chosen.piece_id is not None:
            artist = piece_of(db, chosen.piece_id).artist
        if artist is None:
            raise Refused("The new piece needs an artist.", hint="Give --artist.")
        done = file_under_new_piece(db, chosen.id, artist, title, role=role)
    else:
        done = describe_scan(db, chosen.id, role=role, piece_id=piece_id)
    session.emit(done, lambda out: print_correction(out, done))


def find_scan(db: Database, words: str) -> Scan:
    """The one scan meant by a file's path or bare name, or by the first digits of its SHA-256.

    Raises NotFound, or Ambiguous with the files or digests that fit.
    """
    fitting = scans.starting_with(db, words.lower()) if len(words) >= 4 and not set(words.lower()) - set(
        "0123456789abcdef") else []
    by_file = scans.in_files_called(db, words)
    matches = {scan.id: scan for scan in (*fitting, *(scan for _, scan in by_file))}
    if not matches:
        raise NotFound(f"No scan matches {words!r}.", hint="Give a file's path as `catalogue show` prints it, or the "
                                                           "first "
                       "digits of its SHA-256.")
    if len(matches) > 1:
        named = [path for path, _ in by_file[:6]] or [scan.sha256[:16] for scan in fitting]
        raise Ambiguous(f"{len(matches)} scans match {words!r}.", hint="; ".join(named) + ".")
    return next(iter(matches.values()))
