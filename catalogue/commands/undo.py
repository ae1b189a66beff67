"""``catalogue undo``: undo a recorded change."""

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.operations.correcting import undo_statement


@click.command("undo", cls=SessionCommand)
@click.argument("number", type=int, required=False)
def command(session: Session, number: int | None) -> None:
    """Undo the change NUMBER, or the last one not yet undone.

    NUMBER is as listed by catalogue history. Refused if the same facts have been changed since.
    """
    change = undo_statement(session.database(), number)
    session.emit(change, [f"{change.detail}." + (f" Undo this: catalogue undo {change.id}" if change.id else "")])
