"""``catalogue restore``: put a good copy back, keep the bad file aside."""

from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import ask, note
from catalogue.commands.session import Session, bar, interruptible, json_option

if TYPE_CHECKING:
    from catalogue.records.database import Database


@click.command("restore")
@click.argument("file")
@click.option("--from", "source", metavar="STORE", help="The store to take it from; else the one checked last.")
@click.option("--digest", metavar="SHA256", help="Bring back an earlier content, by the digest it had.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
@click.pass_obj
def command(session: Session, file: str, source: str | None, digest: str | None, yes: bool) -> None:
    """Put a good copy back in FILE's place: a path, STORE:path, or the end of one.

    The copy is made beside it and verified first; only then the names are switched. The former file stays beside it
    with a name ending in .damaged and the time.
    """
    from catalogue.fixity.restore import find_file
    from catalogue.operations.restoring import plan_restore, restore_file, summarize

    db = session.existing()
    located = find_file(db, file)
    planned = plan_restore(db, located.id, source or "", _whole(db, digest) if digest else "")
    if not yes:
        note(f"Restore   {planned.target}")
        note(f"from      {planned.source}")
        note("The present file is kept aside beside it." if planned.present else "Nothing stands in its place now.")
        ask("Write into this store?", otherwise="Nothing was restored.")
    with interruptible("Nothing was restored; the file is as it was.") as cancelled, bar() as report:
        done = restore_file(db, session.home, planned, report=report, cancelled=cancelled)
    session.stopped = ""  # too late to stop: it is restored
    session.emit(done, lambda out: out.lines(summarize(done)))


def _whole(db: "Database", digits: str) -> str:
    from catalogue.errors import Ambiguous, NotFound
    from catalogue.records import scans

    matches = scans.starting_with(db, digits.lower())
    if not matches:
        raise NotFound(f"No scan on record has a digest beginning with {digits}.")
    if len(matches) > 1:
        raise Ambiguous(f"Several scans have a digest beginning with {digits}.", hint="Give more of its digits.")
    return matches[0].sha256
