"""``catalogue history``: list what was stated, newest first."""

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.dates import shown_moment
from catalogue.records import history


@click.command("history", cls=SessionCommand)
@click.option("--limit", type=click.IntRange(1, 10_000), default=30, show_default=True, help="Show at most this many.")
def command(session: Session, limit: int) -> None:
    """List changes recorded by people, newest first.

    To undo one: catalogue undo NUMBER.
    """
    made = history.statements(session.looking(), limit)
    lines = [f"{s.id:>6}  {shown_moment(s.at, session.home.settings.dates)}  {s.detail}"
             + (f"  (undone by {s.undone_by})" if s.undone_by else "") for s in made]
    session.emit(made, lines or ["Nothing has been recorded yet."])
