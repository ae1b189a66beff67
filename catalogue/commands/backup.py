"""``catalogue backup``: a checked copy of the catalogue itself."""

from pathlib import Path

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.fixity.backup import generations
from catalogue.operations.backing_up import back_up, summarize


@click.command("backup", cls=SessionCommand)
@click.option("--also", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
              help="Also put a verified copy here, ideally on another disk.")
@click.option("--list", "only_list", is_flag=True, help="List the backups.")
def command(session: Session, also: Path | None, only_list: bool) -> None:
    """Back up the catalogue, check the backup, and refresh what else it could be restored from.

    These are the ledger as tables, and the checksum manifests: beside the catalogue, in FOLDER, and in those stores
    that allow it (see catalogue export manifest). The newest backups (setting backups_kept) and the last of each month
    are kept.
    """
    if only_list:
        known = generations(session.home)
        session.emit(known, [f"{generation.number:>6}  {generation.made}  {generation.path}" for generation in known]
                     or ["No backup yet."])
        return
    db = session.existing()
    with watched() as watch:
        result = back_up(db, session.home, also=also, **watch)
    session.emit({"backup": result.backup, "manifests": result.manifests}, summarize(result))
