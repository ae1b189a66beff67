"""``catalogue recover``: a damaged or lost catalogue comes back."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import ask
from catalogue.commands.session import Session, bar, interruptible, json_option
from catalogue.errors import Refused

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer


@click.command("recover")
@click.argument("folders", nargs=-1, type=click.Path(path_type=Path, exists=True, file_okay=False),
                metavar="[FOLDER]...")
@click.option("--rebuild", "anew", is_flag=True,
              help="Make it anew from the stores at FOLDER…, when no backup is left.")
@click.option("--from", "source", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="FILE",
              help="Go back to this backup, even from a sound catalogue.")
@click.option("--ledger", type=click.Path(path_type=Path, exists=True, file_okay=False), metavar="FOLDER",
              help="With --rebuild: orders.csv, editions.csv and the like lie here; else in the catalogue's folder.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
@click.pass_obj
def command(session: Session, folders: tuple[Path, ...], anew: bool, source: Path | None, ledger: Path | None,
            yes: bool) -> None:
    """Put the newest sound backup in the catalogue's place. The present file is kept aside.

    Without any backup left: catalogue recover --rebuild FOLDER…. That reads the stores anew, compares them with
    their checksum manifests, and takes the orders and editions in from their last tables. Roles and places that a
    person chose, capture notes and the event log are in backups alone.
    """
    if (folders or ledger) and not anew:
        raise click.UsageError("FOLDER… and --ledger go with --rebuild.")
    home = session.home
    if home.settings.read_only:
        raise Refused("This catalogue can only be looked at here.", hint="Recover it on the seat that keeps it.")
    if not yes:
        what = "Rebuild the catalogue from the stores" if anew else "Put a backup in the catalogue's place"
        ask(f"{what} in {home.folder}? The present one is kept aside.", otherwise="Nothing was changed.")
    if anew:
        _rebuild(session, folders, ledger)
        return
    from catalogue.fixity.backup import recover

    with bar() as report:
        done = recover(home, source, report=report)

    def text(out: "Printer") -> None:
        found = done.condition
        out.print(f"The catalogue is back from {done.source}: {found.files} files, {found.scans} scans, {found.pieces}"
                  f" pieces, {found.orders} orders, last event at {found.last_event or 'no time'}")
        if done.lost:
            out.print(f"{done.lost} events written after that backup are lost. Index the stores; enter later orders"
                      " again.")
        if done.aside:
            out.print(f"The former file: {done.aside}")

    session.emit(done, text)


def _rebuild(session: Session, folders: tuple[Path, ...], ledger: Path | None) -> None:
    from catalogue.fixity.rebuild import rebuild

    with interruptible() as cancelled, bar() as report:
        done = rebuild(session.home, [f.absolute() for f in folders], report=report, cancelled=cancelled)
    tables = _import_ledger(session, ledger or session.home.folder / "ledger")

    def text(out: "Printer") -> None:
        for one in done.stores:
            words = f"{one.store}: {one.files} files"
            if one.listed is None:
                words += "; no checksum manifest was found, so earlier damage cannot be told"
            else:
                words += (f"; the manifest lists {one.listed}: {one.differ} differ from it, {one.missing} are missing,"
                          f" {one.unlisted} are new")
            out.print(words)
        if done.aside:
            out.print(f"The former file: {done.aside}")
        for name, (taken, left_out) in tables.items():
            out.print(f"{name}: {taken} rows taken in, {left_out} left out")
        if not tables:
            out.print("No tables of orders and editions were found: catalogue import takes them in later.")

    session.emit({"rebuilt": done, "ledger": tables}, text)


def _import_ledger(session: Session, folder: Path) -> dict[str, tuple[int, int]]:
    """Orders last, for they name pieces and their numbers count in editions; rows taken in and left out, per table."""
    from catalogue.ledger.taking import ORDER, take_in

    db, settings = session.existing(), session.home.settings
    done = {}
    for kind in ORDER:
        path = folder / f"{kind}.csv"
        if path.is_file():
            _, outcome = take_in(db, settings, path, kind=kind, make_pieces=True)
            done[path.name] = (len(outcome.fates) - outcome.left_out, outcome.left_out)
    return done
