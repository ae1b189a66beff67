"""``catalogue undo``: take back what was stated."""

import click

from catalogue.commands.session import Session, json_option


@click.command("undo")
@click.argument("number", type=int, required=False)
@json_option
@click.pass_obj
def command(session: Session, number: int | None) -> None:
    """Take back the statement NUMBER (see: catalogue history), or the last one that still stands.

    Refused where what it stated was changed since.
    """
    from catalogue.operations.correcting import undo_statement

    done = undo_statement(session.database(), number)
    session.emit(done, lambda out: out.print(f"{done.detail}."
                                             + (f" Undo this too: catalogue undo {done.id}" if done.id else "")))
