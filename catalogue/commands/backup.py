"""``catalogue backup``: a checked copy of the catalogue itself."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, bar, interruptible, json_option

if TYPE_CHECKING:
    from rich.console import Console


@click.command("backup")
@click.option("--also", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
              help="Put a verified copy here too, best on another disk.")
@click.option("--list", "only_list", is_flag=True, help="List the backups there are.")
@json_option
@click.pass_obj
def command(session: Session, also: Path | None, only_list: bool) -> None:
    """Back the catalogue up, check the backup, and bring the checksum manifests in the stores up to date.

    The newest backups are kept (setting backups_kept) and the last of each month. Manifests are written only into
    stores that allow it: see catalogue export manifest.
    """
    from catalogue.fixity.backup import back_up, generations
    from catalogue.fixity.manifest import refresh

    if only_list:
        known = generations(session.home)

        def table(out: "Console") -> None:
            for one in known:
                out.print(f"{one.number:>6}  {one.made}  {one.path}")
            if not known:
                out.print("There is no backup yet.")

        session.emit(known, table)
        return
    db = session.existing()
    with interruptible() as cancelled, bar() as report:
        made = back_up(db, session.home, also=also, report=report, cancelled=cancelled)
        manifests = refresh(db, session.home)

    def text(out: "Console") -> None:
        out.print(f"Backup {made.number}, checked: {made.path}")
        if also:
            out.print(f"and a verified copy in {also}")
        for one in manifests:
            out.print(f"Checksums of {one.files} files: {one.path}")

    session.emit({"backup": made, "manifests": manifests}, text)
