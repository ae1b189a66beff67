"""``catalogue find``: by words, or by a picture."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, json_option

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer
    from catalogue.records.search import Found


@click.command("find")
@click.argument("words", nargs=-1)
@click.option("--picture", type=click.Path(path_type=Path), help="Which piece does this picture show?")
@click.option("--limit", type=click.IntRange(1, 500), default=20, show_default=True, help="Hits of each kind.")
@json_option
@click.pass_obj
@click.pass_context
def command(context: click.Context, session: Session, words: tuple[str, ...], picture: Path | None,
            limit: int) -> None:
    """Find artists, pieces, orders and files by WORDS; slips of typing are tolerated. Exit 1 when nothing is found."""
    if picture is not None:
        from catalogue.commands.alike import find_by_picture

        context.exit(find_by_picture(session, picture, limit))
    if not words:
        raise click.UsageError("Give some words, or --picture FILE.")
    from catalogue.records.search import search

    found = search(session.looking(), " ".join(words), limit)
    session.emit(found, lambda out: _print(out, found))
    if not found.total:
        context.exit(1)


def _print(out: "Printer", found: "Found") -> None:
    from catalogue.records.paths import shown

    for word, taken in found.corrected:
        out.print(f"(no {word!r} here; taken for {', '.join(taken)})")
    for artist in found.artists:
        out.print(f"artist  {artist.name}  ({artist.pieces} pieces)")
    for piece in found.pieces:
        out.print(f"piece   {piece.id:>5}  {piece.artist}: {piece.title}  {piece.year}".rstrip())
    for order in found.orders:
        out.print(f"order   {order.number}  {order.placed}  {order.buyer}  {order.summary}  [{order.status}]")
    for file in found.files:
        state = "" if file.state == "present" else f"  ({file.state})"
        out.print(f"file    {file.store}:{shown(file.path)}  {file.role or 'no scan'}{state}")
    if not found.total:
        out.print("Nothing fits.")
