"""``catalogue edition``: set, list, show, close, record a destroyed print, certificates."""

from pathlib import Path

import click

from catalogue.commands.lookup import find_artist, find_piece
from catalogue.commands.printing import Printer, undo_hint
from catalogue.commands.session import Session, refusing, with_session
from catalogue.ledger import editions as numbering
from catalogue.ledger import values
from catalogue.ledger.whereabouts import place_in_words, whereabouts
from catalogue.operations.editions import close_edition, define_edition, destroy_prints, move_prints, summarize
from catalogue.operations.exporting import export_certificates
from catalogue.records import editions, pieces
from catalogue.records.editions import Issued
from catalogue.records.numbers import numbers_text, parse_numbers


@click.group("edition")
def command() -> None:
    """Editions: how many prints of a piece there may be, and which numbers are out."""


@command.command("set")
@click.argument("piece", nargs=-1, required=True)
@click.option("--limit", required=True, type=click.IntRange(1), help="N: fixed once the first number is issued.")
@click.option("--proofs", default=0, type=click.IntRange(0), help="Artist's proofs, outside N.")
@click.option("--size", help="For an edition of one size: 50x70 (cm); otherwise it covers all sizes.")
@click.option("--medium", default="", help="Only prints on this medium count.")
@click.option("--opened", default="", help="Date.")
@click.option("--closed", default="", help="Date from which no more numbers are issued.")
@click.option("--notes", default="")
@with_session
def set_(session: Session, piece: tuple[str, ...], limit: int, proofs: int, size: str | None, medium: str,
         opened: str, closed: str, notes: str) -> None:
    """Open an edition of PIECE, or correct the one of that size."""
    db = session.existing()
    with refusing("Nothing was recorded"):
        width, height = values.size_mm(size) if size else (None, None)
        opened, closed = session.day(opened), session.day(closed)
    state = define_edition(db, find_piece(db, " ".join(piece)).id, limit, proofs=proofs, width_mm=width,
                           height_mm=height, medium=medium, opened=opened, closed=closed, notes=notes)
    session.emit(state, lambda out: out.lines(summarize(state)))


@command.command("list")
@click.argument("artist", nargs=-1)
@with_session
def list_(session: Session, artist: tuple[str, ...]) -> None:
    """Every edition, of one ARTIST or of all, and what is left of it."""
    db = session.looking()
    chosen = find_artist(db, " ".join(artist)).id if artist else None
    rows = [(numbering.state(db, edition), pieces.by_id(db, edition.piece_id))
            for edition in editions.listed(db, chosen)]

    def text(out: Printer) -> None:
        for item, piece in rows:
            who = f"{piece.artist}: {piece.title}" if piece else ""
            out.print(f"edition {item.edition.id}  {who}, {numbering.label(item.edition)}: {item.numbers_left} left"
                      + (f", closed {item.edition.closed}" if item.edition.closed else ""))
        if not rows:
            out.print("No editions yet. Set one with: catalogue edition set PIECE --limit N.")

    session.emit([{"artist": piece and piece.artist, "title": piece and piece.title, "state": item}
                  for item, piece in rows], text)


@command.command("show")
@click.argument("piece", nargs=-1, required=True)
@with_session
def show(session: Session, piece: tuple[str, ...]) -> None:
    """The editions of PIECE, with every numbered print."""
    db = session.looking()
    chosen = find_piece(db, " ".join(piece))
    rows = [(numbering.state(db, edition), editions.issued(db, edition.id))
            for edition in editions.of_piece(db, chosen.id)]

    def text(out: Printer) -> None:
        out.print(f"{chosen.artist}: {chosen.title}")
        for edition_state, prints in rows:
            out.lines(summarize(edition_state))
            for print_ in prints:
                out.print(f"  {_print(print_)}")
        if not rows:
            out.print("No edition: its prints are not numbered.")

    session.emit([{"state": edition_state, "prints": prints} for edition_state, prints in rows], text)


@command.command("close")
@click.argument("edition", type=int)
@click.option("--date", "day", default="", help="Otherwise today.")
@with_session
def close(session: Session, edition: int, day: str) -> None:
    """Close EDITION (its number in `edition list`): no more numbers are issued."""
    with refusing("Nothing was recorded"):
        state = close_edition(session.existing(), edition, session.day(day))
    session.emit(state, lambda out: out.lines(summarize(state)))


@command.command("destroy")
@click.argument("edition", type=int)
@click.argument("numbers")
@click.option("--reason", required=True, help="What happened: torn at the framer's, wrong colour, …")
@click.option("--date", "day", default="", help="Otherwise today.")
@with_session
def destroy(session: Session, edition: int, numbers: str, reason: str, day: str) -> None:
    """Record that prints NUMBERS (such as 3-4, or AP II) of EDITION were destroyed.

    Their numbers stay used. To reprint one: catalogue order repeat PIECE --replacing NUMBER.
    """
    db = session.existing()
    with refusing("Nothing was recorded"):
        chosen = parse_numbers(numbers)[0]
        destroy_prints(db, edition, chosen, reason, day=session.day(day))
    text = numbers_text(chosen)
    session.emit({"edition": edition, "destroyed": text}, lambda out: out.print(f"Recorded: {text} destroyed."))


@command.command("move")
@click.argument("edition", type=int)
@click.argument("numbers")
@click.option("--to", "place", required=True, type=click.Choice(["shop", "artist", "buyer", "consigned"]))
@click.option("--holder", default="", help="Who has them: needed with consigned; else only where it is somebody else.")
@click.option("--date", "day", default="", help="Otherwise today.")
@click.option("--notes", default="")
@with_session
def move(session: Session, edition: int, numbers: str, place: str, holder: str, day: str, notes: str) -> None:
    """Note that prints NUMBERS (such as 3-4, or AP II) of EDITION went to a place."""
    db = session.existing()
    with refusing("Nothing was recorded"):
        moved = move_prints(db, edition, parse_numbers(numbers)[0], place, holder=holder, notes=notes,
                           day=session.day(day))
    session.emit(moved, lambda out: out.lines(
        [*summarize(moved), *undo_hint(moved.event)]))


@command.command("where")
@click.argument("edition", type=int, required=False)
@click.option("--place", default="", type=click.Choice(["", "shop", "artist", "buyer", "consigned", "destroyed",
                                                        "not printed", "unknown"]), help="Only prints in this place.")
@with_session
def where(session: Session, edition: int | None, place: str) -> None:
    """Where each numbered print of EDITION is, or of all editions; such as all that is on consignment."""
    places = whereabouts(session.looking(), edition, place=place)
    dates = session.home.settings.dates
    session.emit([{"edition": position.edition_id, "artist": position.artist, "title": position.title,
                   "number": numbers_text([position.number]),
                   "place": position.place, "holder": position.holder, "since": position.since, "notes": position.notes,
                   "stated": position.stated} for position in places],
                 lambda out: out.table(["Work", "Number", "Where", "Since", "Notes"], (
                     (f"{position.artist}: {position.title}", numbers_text([position.number]), place_in_words(position),
                      values.shown_day(position.since, dates), position.notes) for position in places)) if places
                 else out.print("No such prints."))


@command.command("certificates")
@click.argument("edition", type=int)
@click.option("--csv", "as_csv", type=click.Path(path_type=Path), help="Write this CSV file.")
@click.option("--html", "as_html", type=click.Path(path_type=Path), help="Write this HTML page.")
@with_session
def certificates(session: Session, edition: int, as_csv: Path | None, as_html: Path | None) -> None:
    """The numbered list of EDITION for its certificates: where each print went and which scan it was made from."""
    sheet, written = export_certificates(session.looking(), session.home, edition, as_csv=as_csv, as_html=as_html)
    session.emit({"rows": sheet.rows, "written": written}, lambda out: out.lines(
        [f"Wrote {path}" for path in written] or sheet.as_csv.rstrip().split("\r\n")))


def _print(print_: Issued) -> str:
    size = values.shown_size(print_.width_mm, print_.height_mm) if print_.width_mm and print_.height_mm else ""
    fate = f"destroyed {print_.destroyed}: {print_.reason}" if print_.destroyed else ""
    again = f"reprinted in {print_.replaced_in}" if print_.replaced_in else ""
    return "  ".join(filter(None,
                            (numbers_text([(print_.series, print_.number)]), print_.order_number, print_.placed, size,
                                   print_.buyer, fate, again)))
