"""``catalogue refile``: guess again after the place rules changed."""

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.operations.place_rules import refile, summarize, undo_refiling


@click.command("refile", cls=SessionCommand)
@click.option("--yes", is_flag=True, help="Do it; otherwise it is only previewed.")
@click.option("--undo", "take_back", is_flag=True, help="Undo the last refiling.")
def command(session: Session, yes: bool, take_back: bool) -> None:
    """File guessed scans again by the place rules in the settings.

    Shows what would move; --yes does it. Only guesses change; anything a person entered stays.
    """
    db = session.database()
    if take_back:
        count = undo_refiling(db)
        session.emit({"scans": count}, [f"The former guesses of {count} scans are back."])
        return
    with watched() as watch:
        refiled = refile(db, session.home, apply=yes, **watch)
    session.emit({"looked": refiled.looked, "applied": bool(refiled.id), "moves": refiled.moves}, summarize(refiled))
