"""``catalogue artist``: list and correct artists and their terms; merge names."""

import click

from catalogue.commands.lookup import find_artist
from catalogue.commands.printing import Printer, undo_hint
from catalogue.commands.session import Session, SessionGroup
from catalogue.errors import refusing
from catalogue.ledger.artist_terms import in_words
from catalogue.operations import correcting
from catalogue.operations.artist_statements import set_terms
from catalogue.operations.correcting import Correction, describe_artist, merge_artists, rename_artist, summarize
from catalogue.operations.wording import counted
from catalogue.records import artist_statements, pieces
from catalogue.records.pieces import Artist

command = SessionGroup("artist", help="List and correct artists and their terms; merge two names of one.")


@command.command("list")
def list_(session: Session) -> None:
    """List artists, with how many pieces, scans and orders."""
    rows = pieces.artists(session.looking())
    session.emit(rows, [f"{a.name}: {counted(a.pieces, 'piece')}, {counted(a.scans, 'scan')},"
                         f" {counted(a.orders, 'order')}" for a in rows]
                 or ["No artists yet."])


@command.command("show")
@click.argument("name", nargs=-1, required=True)
def show(session: Session, name: tuple[str, ...]) -> None:
    """Show contact, terms and notes of the artist NAME."""
    artist = find_artist(session.looking(), " ".join(name))
    session.emit(artist, lambda out: _print(out, artist))


@command.command("set")
@click.argument("name", nargs=-1, required=True)
@click.option("--contact", help="Address, telephone, e-mail.")
@click.option("--terms", help="What was agreed: shares, approval, who may order.")
@click.option("--notes", help="Anything else worth knowing.")
def set_(session: Session, name: tuple[str, ...], contact: str | None, terms: str | None, notes: str | None) -> None:
    """Set contact, terms or notes of the artist NAME.

    Anything not given stays as it is.
    """
    artist = describe_artist(db := session.existing(), find_artist(db, " ".join(name)).id, contact=contact,
                             terms=terms, notes=notes)
    session.emit(artist, lambda out: _print(out, artist))


@command.command("terms")
@click.argument("name", nargs=-1, required=True)
@click.option("--percent", help="Per cent of the price of each print, such as 40 or 33.3333.")
@click.option("--per-print", help="Amount for each print, such as 12.50.")
@click.option("--currency", default="", help="Currency of --per-print; otherwise that of the settings.")
@click.option("--nothing", is_flag=True, help="Nothing is owed for prints.")
@click.option("--since", help="Date from which these terms apply, or: start. Required if terms are already on record.")
@click.option("--destroyed/--not-destroyed", default=True, show_default=True,
              help="Count prints destroyed after the sale.")
@click.option("--replaced/--not-replaced", default=False, show_default=True,
              help="Count prints made in place of destroyed ones.")
@click.option("--proofs/--not-proofs", default=False, show_default=True, help="Count artist's proofs.")
def terms_(session: Session, /, name: tuple[str, ...], percent: str | None, per_print: str | None, currency: str,
           nothing: bool, since: str | None, destroyed: bool, replaced: bool, proofs: bool) -> None:
    """Show or set what is agreed with the artist NAME, for statements.

    Without options the terms are shown.
    """
    bases = [basis for basis, given in (("percentage", percent is not None), ("fixed", per_print is not None),
                                       ("none", nothing)) if given]
    if len(bases) > 1:
        raise click.UsageError("Give only one of --percent, --per-print and --nothing.")
    if not bases and since:
        raise click.UsageError("Give the terms: --percent, --per-print or --nothing.")
    db = session.existing() if bases else session.looking()
    artist = find_artist(db, " ".join(name))
    if bases:
        with refusing("Nothing was changed"):
            start = None if since is None else "" if since == "start" else session.day(since)
        set_terms(db, artist.id, bases[0], percent or per_print or "", currency or session.home.settings.currency,
                  since=start, destroyed=destroyed, replaced=replaced, proofs=proofs)
    terms = artist_statements.terms_of(db, artist.id)
    shown = [f"  {in_words(each, session.home.settings.dates)}" for each in terms]
    session.emit(terms, [artist.name, *shown] if shown else [f"No terms with {artist.name} are on record."])


@command.command("rename")
@click.argument("name")
@click.argument("new_name")
def rename(session: Session, name: str, new_name: str) -> None:
    """Rename the artist NAME to NEW_NAME.

    Folders with the old spelling still mean this artist.
    """
    db = session.database()
    change = rename_artist(db, find_artist(db, name).id, new_name)
    session.emit(change, correction_lines(change))


@command.command("merge")
@click.argument("name")
@click.option("--into", "keep", required=True, help="The artist to keep.")
def merge(session: Session, name: str, keep: str) -> None:
    """Merge the artist NAME into another.

    All pieces move there, and pieces with the same title become one. Later index runs follow this.
    """
    db = session.database()
    change = merge_artists(db, find_artist(db, keep).id, find_artist(db, name).id)
    session.emit(change, correction_lines(change))


@command.command("also")
@click.argument("name")
@click.argument("spelling")
def also(session: Session, name: str, spelling: str) -> None:
    """State that the artist NAME is also written SPELLING.

    Folders, tags and order books with that spelling mean this artist from then on.
    """
    db = session.database()
    change = correcting.add_spelling(db, find_artist(db, name).id, spelling)
    session.emit(change, correction_lines(change))


def correction_lines(change: Correction) -> list[str]:
    """What was corrected, and how to take it back."""
    return [" ".join([*summarize(change), *undo_hint(change.id)])]


def _print(out: Printer, artist: Artist) -> None:
    out.print(artist.name)
    for name, text in (("contact", artist.contact), ("terms", artist.terms), ("notes", artist.notes)):
        out.field(name, text)
