"""``catalogue edition``: set, list, show, close, record a destroyed print, certificates."""

from pathlib import Path

import click

from catalogue.commands.lookup import ID_DIGITS, find_artist, find_piece
from catalogue.commands.printing import Printer, undo_hint
from catalogue.commands.session import Session, SessionGroup
from catalogue.dates import shown_day
from catalogue.errors import Ambiguous, NotFound, refusing
from catalogue.ledger import editions as numbering
from catalogue.ledger import values
from catalogue.ledger.whereabouts import place_in_words, whereabouts
from catalogue.operations.editions import close_edition, define_edition, destroy_prints, move_prints, summarize
from catalogue.operations.exporting import export_certificates
from catalogue.records import editions, pieces
from catalogue.records.database import Database
from catalogue.records.editions import Issued
from catalogue.records.numbers import numbers_text, parse_numbers
from catalogue.records.print_moves import PLACES

command = SessionGroup("edition", help="Set, list and close editions; record losses; write certificates.")


@command.command("set")
@click.argument("piece", nargs=-1, required=True)
@click.option("--limit", required=True, type=click.IntRange(1),
              help="Size of the edition, fixed once a number is issued.")
@click.option("--proofs", default=0, type=click.IntRange(0), help="Artist's proofs, beyond the limit.")
@click.option("--size", help="Only this size, such as 50x70 (cm); otherwise all sizes.")
@click.option("--medium", default="", help="Only prints on this medium count.")
@click.option("--opened", default="", help="Date from which it is open.")
@click.option("--closed", default="", help="Date from which no more numbers are issued.")
@click.option("--notes", default="", help="Anything else worth knowing.")
def set_(session: Session, piece: tuple[str, ...], limit: int, proofs: int, size: str | None, medium: str,
         opened: str, closed: str, notes: str) -> None:
    """Open an edition of PIECE, or correct the one of that size."""
    db = session.existing()
    with refusing("Nothing was recorded"):
        width, height = values.print_size_mm(size) if size else (None, None)
        opened, closed = session.day(opened), session.day(closed)
    state = define_edition(db, find_piece(db, " ".join(piece)).id, limit, proofs=proofs, width_mm=width,
                           height_mm=height, medium=medium, opened=opened, closed=closed, notes=notes)
    session.emit(state, summarize(state, session.home.settings.dates))


@command.command("list")
@click.argument("artist", nargs=-1)
def list_(session: Session, artist: tuple[str, ...]) -> None:
    """List editions, of one ARTIST or of all, and what is left."""
    db = session.looking()
    chosen = find_artist(db, " ".join(artist)).id if artist else None
    rows = [(numbering.state(db, edition), pieces.by_id(db, edition.piece_id))
            for edition in editions.listed(db, chosen)]
    dates = session.home.settings.dates
    lines = [f"edition {item.edition.id}  {f'{piece.artist}: {piece.title}' if piece else ''}, "
             f"{numbering.label(item.edition)}: {item.numbers_left} left"
             + (f", closed {shown_day(item.edition.closed, dates)}" if item.edition.closed else "")
             for item, piece in rows]
    session.emit([{"artist": piece and piece.artist, "title": piece and piece.title, "state": item}
                  for item, piece in rows],
                 lines or ["No editions yet. Set one with: catalogue edition set PIECE --limit N."])


@command.command("show")
@click.argument("piece", nargs=-1, required=True)
def show(session: Session, piece: tuple[str, ...]) -> None:
    """Show the editions of PIECE, with every numbered print."""
    db = session.looking()
    chosen = find_piece(db, " ".join(piece))
    rows = [(numbering.state(db, edition), editions.issued(db, edition.id))
            for edition in editions.of_piece(db, chosen.id)]

    def text(out: Printer) -> None:
        out.print(f"{chosen.artist}: {chosen.title}")
        for edition_state, prints in rows:
            out.lines(summarize(edition_state, session.home.settings.dates))
            out.lines(f"  {_print(print_, session.home.settings.dates)}" for print_ in prints)
        if not rows:
            out.print("No edition: its prints are not numbered.")

    session.emit([{"state": edition_state, "prints": prints} for edition_state, prints in rows], text)


@command.command("close")
@click.argument("edition")
@click.option("--date", "day", default="", help="Date; otherwise today.")
def close(session: Session, edition: str, day: str) -> None:
    """Close EDITION: no more numbers are issued.

    EDITION is its number in `catalogue edition list`, or a piece that has one edition.
    """
    db = session.existing()
    with refusing("Nothing was recorded"):
        state = close_edition(db, _find_edition(db, edition), session.day(day))
    session.emit(state, summarize(state, session.home.settings.dates))


@command.command("destroy")
@click.argument("edition")
@click.argument("numbers")
@click.option("--reason", required=True, help="What happened, such as torn at the framer's.")
@click.option("--date", "day", default="", help="Date; otherwise today.")
def destroy(session: Session, edition: str, numbers: str, reason: str, day: str) -> None:
    """Record that prints NUMBERS of EDITION were destroyed.

    EDITION is its number in `catalogue edition list`, or a piece that has one edition.
    NUMBERS are such as 3-4, or AP II; they stay used. To reprint one: catalogue order repeat PIECE --replacing NUMBER.
    """
    db = session.existing()
    with refusing("Nothing was recorded"):
        chosen = parse_numbers(numbers)[0]
        edition_id = _find_edition(db, edition)
        destroy_prints(db, edition_id, chosen, reason, day=session.day(day))
    text = numbers_text(chosen)
    session.emit({"edition": edition_id, "destroyed": text}, [f"Recorded: {text} destroyed."])


@command.command("move")
@click.argument("edition")
@click.argument("numbers")
@click.option("--to", "place", required=True, type=click.Choice(PLACES), help="Where they went.")
@click.option("--holder", default="", help="Who has them; required for consigned prints.")
@click.option("--date", "day", default="", help="Date; otherwise today.")
@click.option("--notes", default="", help="Anything else worth knowing.")
def move(session: Session, edition: str, numbers: str, place: str, holder: str, day: str, notes: str) -> None:
    """Record where prints NUMBERS of EDITION went.

    NUMBERS are such as 3-4, or AP II.
    """
    db = session.existing()
    with refusing("Nothing was recorded"):
        moved = move_prints(db, _find_edition(db, edition), parse_numbers(numbers)[0], place, holder=holder,
                            notes=notes, day=session.day(day))
    session.emit(moved, [*summarize(moved, session.home.settings.dates), *undo_hint(moved.event)])


@command.command("where")
@click.argument("edition", required=False)
@click.option("--place", type=click.Choice([*PLACES, "destroyed", "not printed", "unknown"]),
              help="Only prints that are there.")
def where(session: Session, edition: str | None, place: str | None) -> None:
    """Show where the prints of EDITION, or of all editions, are."""
    db = session.looking()
    listed = whereabouts(db, _find_edition(db, edition) if edition else None, place=place or "")
    dates = session.home.settings.dates
    session.emit([{"edition": print_.edition_id, "artist": print_.artist, "title": print_.title,
                   "number": numbers_text([print_.number]),
                   "place": print_.place, "holder": print_.holder, "since": print_.since, "notes": print_.notes,
                   "stated": print_.stated} for print_ in listed],
                 lambda out: out.table(["Piece", "Number", "Where", "Since", "Notes"], (
                     (f"{print_.artist}: {print_.title}", numbers_text([print_.number]), place_in_words(print_),
                      shown_day(print_.since, dates), print_.notes) for print_ in listed)) if listed
                 else out.print("No such prints."))


@command.command("certificates")
@click.argument("edition")
@click.option("--csv", "as_csv", type=click.Path(path_type=Path), help="Write this CSV file.")
@click.option("--html", "as_html", type=click.Path(path_type=Path), help="Write this HTML page.")
def certificates(session: Session, edition: str, as_csv: Path | None, as_html: Path | None) -> None:
    """List the prints of EDITION for its certificates.

    It says where each print went and which scan it was made from.
    """
    db = session.looking()
    sheet, written = export_certificates(db, session.home, _find_edition(db, edition), as_csv=as_csv, as_html=as_html)
    session.emit({"rows": sheet.rows, "written": written}, [f"Wrote {path}" for path in written]
                 or sheet.as_csv.rstrip().split("\r\n"))


def _print(print_: Issued, dates: str) -> str:
    size = values.shown_size(print_.width_mm, print_.height_mm)
    fate = f"destroyed {shown_day(print_.destroyed, dates)}: {print_.reason}" if print_.destroyed else ""
    again = f"reprinted in {print_.replaced_in}" if print_.replaced_in else ""
    return "  ".join(filter(None,
                            (numbers_text([(print_.series, print_.number)]), print_.order_number,
                             shown_day(print_.placed, dates), size,
                                   print_.buyer, fate, again)))


def _find_edition(db: Database, words: str) -> int:
    """The id of the edition meant: its number in the list of editions, or the piece that has one edition only.

    Raises NotFound, or Ambiguous with the piece's editions.
    """
    if words.isascii() and words.isdigit() and len(words) <= ID_DIGITS:
        return int(words)
    piece = find_piece(db, words)
    of_piece = editions.of_piece(db, piece.id)
    if not of_piece:
        raise NotFound(f"{piece.artist}: {piece.title} has no edition.", hint="Set one: catalogue edition set.")
    if len(of_piece) > 1:
        listed = "; ".join(f"{each.id} {numbering.label(each)}" for each in of_piece)
        raise Ambiguous(f"{piece.artist}: {piece.title} has {len(of_piece)} editions.",
                        hint=f"Give the number: {listed}.")
    return of_piece[0].id
