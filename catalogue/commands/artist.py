"""``catalogue artist``: how to reach an artist, and what was agreed."""

from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, json_option

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer
    from catalogue.records.database import Database
    from catalogue.records.pieces import Artist


@click.group("artist")
def command() -> None:
    """Artists: contact, terms, notes."""


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
    """How to reach the artist NAME, and what was agreed."""
    artist = find_artist(session.looking(), " ".join(name))
    session.emit(artist, lambda out: _print(out, artist))


@command.command("set")
@click.argument("name", nargs=-1, required=True)
@click.option("--contact", help="Address, telephone, e-mail: as you write it.")
@click.option("--terms", help="What was agreed: shares, approval, who may order.")
@click.option("--notes")
@json_option
@click.pass_obj
def set_(session: Session, name: tuple[str, ...], contact: str | None, terms: str | None, notes: str | None) -> None:
    """Note contact, terms or notes of the artist NAME; what is not given stays."""
    from catalogue.records import pieces
    from catalogue.records.database import transaction

    db = session.existing()
    with transaction(db):
        artist = find_artist(db, " ".join(name))
        pieces.describe_artist(db, artist.id, contact=artist.contact if contact is None else contact,
                               terms=artist.terms if terms is None else terms,
                               notes=artist.notes if notes is None else notes)
    artist = find_artist(db, artist.name)
    session.emit(artist, lambda out: _print(out, artist))


def find_artist(db: "Database", words: str) -> "Artist":
    """The one artist meant; raises NotFound, or Ambiguous with those who fit."""
    from catalogue.errors import Ambiguous, NotFound
    from catalogue.records import pieces
    from catalogue.records.search import search

    fitting = pieces.artists_matching(db, words) or [
        artist for hit in search(db, words, 20).artists if (artist := pieces.artist_by_id(db, hit.id))]
    if not fitting:
        raise NotFound(f"No artist fits {words!r}.", hint="Try: catalogue artist list.")
    if len(fitting) > 1:
        raise Ambiguous(f"{len(fitting)} artists fit {words!r}.", hint="; ".join(a.name for a in fitting[:8]) + ".")
    return fitting[0]


def _print(out: "Printer", artist: "Artist") -> None:
    out.print(artist.name)
    for heading, text in (("contact", artist.contact), ("terms", artist.terms), ("notes", artist.notes)):
        if text:
            out.field(heading, text)
