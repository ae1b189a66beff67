"""``catalogue artist``: how to reach an artist, what was agreed, and how the name is spelt."""

from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, json_option

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer
    from catalogue.indexing.corrections import Correction
    from catalogue.records.database import Database
    from catalogue.records.pieces import Artist


@click.group("artist")
def command() -> None:
    """Artists: contact, terms, notes; correct and merge names."""


@command.command("list")
@json_option
@click.pass_obj
def list_(session: Session) -> None:
    """Artists by name, with how many pieces, scans and orders."""
    from catalogue.records import pieces

    rows, page = [], pieces.artists(db := session.looking())
    while page:
        rows += page
        page = pieces.artists(db, after=page[-1].name)
    session.emit(rows, lambda out: out.lines(
        [f"{a.name}: {a.pieces} pieces, {a.scans} scans, {a.orders} orders" for a in rows] or ["No artists yet."]))


@command.command("show")
@click.argument("name", nargs=-1, required=True)
@json_option
@click.pass_obj
def show(session: Session, name: tuple[str, ...]) -> None:
    """Contact, terms and notes of the artist NAME."""
    artist = find_artist(session.looking(), " ".join(name))
    session.emit(artist, lambda out: _print(out, artist))


@command.command("set")
@click.argument("name", nargs=-1, required=True)
@click.option("--contact", help="Address, telephone, e-mail.")
@click.option("--terms", help="What was agreed: shares, approval, who may order.")
@click.option("--notes")
@json_option
@click.pass_obj
def set_(session: Session, name: tuple[str, ...], contact: str | None, terms: str | None, notes: str | None) -> None:
    """Set contact, terms or notes of the artist NAME; anything not given stays as it is."""
    from catalogue.operations.correcting import describe_artist

    artist = describe_artist(db := session.existing(), find_artist(db, " ".join(name)).id, contact=contact,
                             terms=terms, notes=notes)
    session.emit(artist, lambda out: _print(out, artist))


@command.command("terms")
@click.argument("name", nargs=-1, required=True)
@click.option("--percent", help="Per cent of the price of each print, such as 40 or 33.3333.")
@click.option("--per-print", help="An amount for each print, such as 12.50.")
@click.option("--currency", default="", help="Currency of --per-print; by default that of the settings.")
@click.option("--nothing", is_flag=True, help="Nothing is owed for prints.")
@click.option("--since", help="For orders from this day on, or: start. Needed where terms are on record already.")
@click.option("--destroyed/--not-destroyed", default=True, show_default=True,
              help="Whether prints destroyed since count.")
@click.option("--replaced/--not-replaced", default=False, show_default=True,
              help="Whether prints made in place of destroyed ones count.")
@click.option("--proofs/--not-proofs", default=False, show_default=True, help="Whether artist's proofs count.")
@json_option
@click.pass_obj
def terms_(session: Session, /, name: tuple[str, ...], percent: str | None, per_print: str | None, currency: str,
           nothing: bool, since: str | None, destroyed: bool, replaced: bool, proofs: bool) -> None:
    """What is agreed with the artist NAME, for statements; shown where nothing is said."""
    from catalogue.errors import Refused
    from catalogue.ledger.artist_terms import in_words
    from catalogue.ledger.values import day
    from catalogue.operations.artist_statements import set_terms
    from catalogue.records import artist_statements

    dates = session.home.settings.dates
    said = [basis for basis, given in (("percentage", percent is not None), ("fixed", per_print is not None),
                                       ("none", nothing)) if given]
    if len(said) > 1:
        raise click.UsageError("Give only one of --percent, --per-print and --nothing.")
    if not said and since:
        raise click.UsageError("Give the terms: --percent, --per-print or --nothing.")
    db = session.existing() if said else session.looking()
    artist = find_artist(db, " ".join(name))
    if said:
        try:
            start = None if since is None else "" if since == "start" else day(since, dates)
        except ValueError as error:
            raise Refused(f"Nothing was changed: {error}.") from error
        set_terms(db, artist.id, said[0], percent or per_print or "", currency or session.home.settings.currency,
                  since=start, destroyed=destroyed, replaced=replaced, proofs=proofs)
    terms = artist_statements.terms_of(db, artist.id)
    session.emit(terms, lambda out: out.lines([artist.name, *(f"  {in_words(each, dates)}" for each in terms)] if terms
                                              else [f"No terms with {artist.name} are on record."]))


@command.command("rename")
@click.argument("name")
@click.argument("new_name")
@json_option
@click.pass_obj
def rename(session: Session, name: str, new_name: str) -> None:
    """Rename the artist NAME to NEW_NAME. Folders with the old spelling still mean this artist."""
    from catalogue.operations.correcting import rename_artist

    db = session.database()
    done = rename_artist(db, find_artist(db, name).id, new_name)
    session.emit(done, lambda out: print_correction(out, done))


@command.command("merge")
@click.argument("name")
@click.option("--into", "keep", required=True, help="The artist to keep.")
@json_option
@click.pass_obj
def merge(session: Session, name: str, keep: str) -> None:
    """Merge the artist NAME into another: all pieces move there, and pieces with the same title become one. Later index
    runs follow this.
    """
    from catalogue.operations.correcting import merge_artists

    db = session.database()
    done = merge_artists(db, find_artist(db, keep).id, find_artist(db, name).id)
    session.emit(done, lambda out: print_correction(out, done))


def print_correction(out: "Printer", done: "Correction") -> None:
    """What was corrected, and how to take it back."""
    from catalogue.operations.correcting import summarize

    out.print(" ".join([*summarize(done), *([f"Undo: catalogue undo {done.id}"] if done.id else [])]))


def find_artist(db: "Database", words: str) -> "Artist":
    """The one artist meant; raises NotFound, or Ambiguous with those who fit."""
    from catalogue.errors import Ambiguous, NotFound
    from catalogue.records import pieces
    from catalogue.records.search import search

    fitting = pieces.artists_matching(db, words) or [
        artist for hit in search(db, words, 20).artists if (artist := pieces.artist_by_id(db, hit.id))]
    if not fitting:
        raise NotFound(f"No artist matches {words!r}.", hint="Try: catalogue artist list.")
    if len(fitting) > 1:
        raise Ambiguous(f"{len(fitting)} artists match {words!r}.", hint="; ".join(a.name for a in fitting[:8]) + ".")
    return fitting[0]


def _print(out: "Printer", artist: "Artist") -> None:
    out.print(artist.name)
    for heading, text in (("contact", artist.contact), ("terms", artist.terms), ("notes", artist.notes)):
        if text:
            out.field(heading, text)
