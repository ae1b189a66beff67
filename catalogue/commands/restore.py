"""``catalogue restore``: restore a file from a good copy, keeping the bad one aside."""

import click

from catalogue.commands.printing import ask, note
from catalogue.commands.scan_lookup import scan_of_digest
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.fixity.restore import find_file
from catalogue.operations.restoring import plan_restore, restore_file, summarize


@click.command("restore", cls=SessionCommand)
@click.argument("file", type=click.Path())  # also names that are not UTF-8
@click.option("--from", "source", metavar="STORE", help="The store to restore from; otherwise the one checked last.")
@click.option("--digest", metavar="SHA256", help="Bring back earlier content, by its SHA-256.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def command(session: Session, file: str, source: str | None, digest: str | None, yes: bool) -> None:
    """Restore FILE from a good copy.

    FILE is a path, STORE:path, or the end of one. The copy is made beside it and verified first; only then are the
    names switched. The old file stays beside it, with .damaged and the time added to its name.
    """
    db = session.existing()
    located = find_file(db, file)
    planned = plan_restore(db, located.id, source or "", scan_of_digest(db, digest).sha256 if digest else "")
    if not yes:
        note(f"Restore   {planned.target}")
        note(f"from      {planned.source}")
        note("The present file is kept beside it under another name." if planned.present else
             "There is no file there now.")
        ask("Write to this store?", otherwise="Nothing was restored.")
    with watched("Nothing was restored; the file is unchanged.") as watch:
        restored = restore_file(db, session.home, planned, **watch)
    session.stopped = ""  # too late to stop: it is restored
    session.emit(restored, summarize(restored))
