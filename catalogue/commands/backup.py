"""``catalogue backup``: a checked copy of the catalogue itself."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, bar, interruptible, json_option

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer


@click.command("backup")
@click.option("--also", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
              help="Put a verified copy here too, best on another disk.")
@click.option("--list", "only_list", is_flag=True, help="List the backups there are.")
@json_option
@click.pass_obj
def command(session: Session, also: Path | None, only_list: bool) -> None:
    """Back the catalogue up, check the backup, and bring what else would bring it back up to date.

    That is the ledger as tables, and the checksum manifests: beside the catalogue, in FOLDER, and in those stores
    that allow it (see catalogue export manifest). The newest backups are kept (setting backups_kept) and the last of
    each month.
    """
    from catalogue.fixity.backup import back_up, generations
    from catalogue.fixity.manifest import refresh
    from catalogue.sheets.tables import write_tables

    if only_list:
        known = generations(session.home)

        def table(out: "Printer") -> None:
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
        for folder in filter(None, (session.home.folder, also)):
            write_tables(db, folder / "ledger")
        if also:
            for one in manifests:
                if one.path.parent.parent == session.home.folder:
                    _put(also / "manifests" / one.path.name, one.path.read_bytes())

    def text(out: "Printer") -> None:
        out.print(f"Backup {made.number}, checked: {made.path}")
        if also:
            out.print(f"and a verified copy in {also}, with the ledger and the checksums")
        for one in manifests:
            out.print(f"Checksums of {one.files} files: {one.path}")

    session.emit({"backup": made, "manifests": manifests}, text)


def _put(place: Path, data: bytes) -> None:
    from catalogue.storage.atomic import write_atomically

    write_atomically(place, data)
