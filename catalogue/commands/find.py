"""``catalogue find``: by words, or by a picture."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand
from catalogue.dates import shown_day
from catalogue.errors import CatalogueError
from catalogue.operations.wording import counted
from catalogue.records.paths import display_path
from catalogue.untrusted import open_regular

if TYPE_CHECKING:
    from catalogue.likeness.finding import Match
    from catalogue.records.search import Found


@click.command("find", cls=SessionCommand)
@click.argument("words", nargs=-1)
@click.option("--picture", type=click.Path(path_type=Path), help="Find the piece that this picture shows.")
@click.option("--limit", type=click.IntRange(1, 500), default=20, show_default=True,
              help="Show at most this many of each kind.")
def command(session: Session, words: tuple[str, ...], picture: Path | None, limit: int) -> int:
    """Find artists, pieces, orders and files by WORDS.

    Typing mistakes are tolerated; words that match nothing are left out, and listed. Exit 1 when nothing is found.
    """
    if picture is not None:
        return _find_by_picture(session, picture, limit)
    if not words:
        raise click.UsageError("Give some words, or --picture FILE.")
    from catalogue.records.search import search

    result = search(session.looking(), " ".join(words), limit, leave_out=True)
    session.emit(result, lambda out: _print(out, result, session.home.settings.dates))
    return int(not result.total)


def _find_by_picture(session: Session, picture: Path, limit: int) -> int:
    """``catalogue find --picture``: which piece a picture shows. Returns the exit code."""
    from catalogue.likeness.finding import find_picture
    from catalogue.records.likenesses import piece_titles

    try:
        open_regular(picture, follow=True).close()  # a pipe or a device would make the reader wait
    except OSError as error:
        raise CatalogueError(f"The picture cannot be read: {error.strerror}.", path=picture) from error
    db = session.looking()
    matches = find_picture(db, session.home, picture, limit)
    names = piece_titles(db, {m.piece_id for m in matches if m.piece_id is not None})
    session.emit(matches, lambda out: _print_matches(out, matches, names))
    return 0 if matches else 1


def _print_matches(out: Printer, matches: "Sequence[Match]", names: dict[int, str]) -> None:
    pieces: dict[object, list[Match]] = {}
    for match in matches:
        pieces.setdefault(match.piece_id or match.sha256, []).append(match)
    for group in pieces.values():
        best, more = group[0], len(group) - 1
        name = names.get(best.piece_id or 0, "no piece")
        others = f", and {more} more of its scans" if more else ""
        out.print(f"{best.photo_match.sure:4.0%} certain  {name}  [{best.role} {best.sha256[:12]}]  "
                  f"{best.photo_match.inliers} features agree, {best.photo_match.agreement:.0%} alike{others}")
    if not matches:
        out.print("No piece matches this picture.")


def _print(out: Printer, result: "Found", dates: str) -> None:
    out.lines(f"(no {word!r} found; searched for {', '.join(taken)})" for word, taken in result.corrected)
    if result.ignored:
        out.print(f"(left out, no match: {', '.join(map(repr, result.ignored))})")
    out.lines(f"artist  {artist.name}  ({counted(artist.pieces, 'piece')})" for artist in result.artists)
    out.lines(f"piece   {piece.id:>5}  {piece.artist}: {piece.title}  {piece.year}".rstrip() for piece in result.pieces)
    for order in result.orders:
        out.print(f"order   {order.number}  {shown_day(order.placed, dates)}  {order.buyer}  {order.summary}  "
                  f"[{order.status}]")
    for file in result.files:
        state = "" if file.state == "present" else f"  ({file.state})"
        out.print(f"file    {file.store}:{display_path(file.path)}  {file.role or 'no scan'}{state}")
    if not result.total:
        out.print("No matches.")
