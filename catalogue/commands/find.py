"""``catalogue find``: by words, or by a picture."""

from pathlib import Path

import click

from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, with_session
from catalogue.records.paths import display_path
from catalogue.records.search import Found, search


@click.command("find")
@click.argument("words", nargs=-1)
@click.option("--picture", type=click.Path(path_type=Path), help="Which piece does this picture show?")
@click.option("--limit", type=click.IntRange(1, 500), default=20, show_default=True, help="Matches of each kind.")
@with_session
def command(session: Session, words: tuple[str, ...], picture: Path | None, limit: int) -> int:
    """Find artists, pieces, orders and files by WORDS; typing slips are tolerated. Exit 1 when nothing is found."""
    if picture is not None:
        from catalogue.commands.alike import find_by_picture

        return find_by_picture(session, picture, limit)
    if not words:
        raise click.UsageError("Give some words, or --picture FILE.")
    result = search(session.looking(), " ".join(words), limit)
    session.emit(result, lambda out: _print(out, result))
    return int(not result.total)


def _print(out: Printer, result: Found) -> None:
    for word, taken in result.corrected:
        out.print(f"(no {word!r} here; searched for {', '.join(taken)})")
    for artist in result.artists:
        out.print(f"artist  {artist.name}  ({artist.pieces} pieces)")
    for piece in result.pieces:
        out.print(f"piece   {piece.id:>5}  {piece.artist}: {piece.title}  {piece.year}".rstrip())
    for order in result.orders:
        out.print(f"order   {order.number}  {order.placed}  {order.buyer}  {order.summary}  [{order.status}]")
    for file in result.files:
        state = "" if file.state == "present" else f"  ({file.state})"
        out.print(f"file    {file.store}:{display_path(file.path)}  {file.role or 'no scan'}{state}")
    if not result.total:
        out.print("No matches.")
