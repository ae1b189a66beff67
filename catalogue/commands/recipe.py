"""``catalogue recipe``: how an old print file was made from its master."""

import click

from catalogue.commands.printing import Printer, ask
from catalogue.commands.scan_lookup import find_scan
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched


@click.command("recipe", cls=SessionCommand)
@click.argument("file")
@click.option("--record", is_flag=True, help="Record the recipe, after you agree: repeats of this print then use it.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def command(session: Session, file: str, record: bool, yes: bool) -> int:
    """Find how the old print file FILE was made from its master.

    FILE is its path or name, or the first digits of its SHA-256. Turn, crop, border, wrap and edge are found by laying
    the master's picture on the file, and proven by making the file again. Exit 1 when the two differ visibly.
    """
    from catalogue.operations.print_recipes import confirm_recipe, propose_recipe, summarize

    db = session.database() if record else session.looking()
    scan = find_scan(db, file)
    with watched("Nothing was recorded.") as watch:
        proposal = propose_recipe(db, session.home, scan, **watch)
    session.stopped = ""
    if record:
        if not yes:
            if not session.as_json:
                Printer().lines(summarize(proposal))
            ask("Record this recipe for repeats?", otherwise="Nothing was recorded.")
        confirm_recipe(db, session.home, proposal)
    session.emit(proposal, [*(summarize(proposal) if yes or not record else []),
                            *(["recorded for repeats of this print"] if record else [])])
    return int(not proposal.close)
