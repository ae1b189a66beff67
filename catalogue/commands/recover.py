"""``catalogue recover``: a damaged or lost catalogue comes back."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import ask
from catalogue.commands.session import Session, bar, interruptible, json_option
from catalogue.errors import Refused

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer
    from catalogue.fixity.recovery import PutBack


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
    """Put the newest sound backup in the catalogue's place, with everything stated since.

    The present file is kept aside.

    Orders, editions, verdicts and what else was stated after the backup come from the damaged file, as far as it can
    be read, and from the journal beside it. What neither gives is said. A recovery that was cut short is finished.

    Without any backup left: catalogue recover --rebuild FOLDER…. That reads the stores anew, compares them with
    their checksum manifests, and takes what was stated from the journal, else from the last tables of orders and
    editions.
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
    from catalogue.fixity.recovery import recover

    with bar() as report:
        done = recover(home, source, report=report)

    def text(out: "Printer") -> None:
        found = done.condition
        where = f"is back from {done.source}" if done.source else "is back: a recovery that was cut short is finished"
        out.print(f"The catalogue {where}: {found.files} files, {found.scans} scans, {found.pieces} pieces,"
                  f" {found.orders} orders")
        if done.put_back is None:
            out.print(f"{done.detail[:1].upper()}{done.detail[1:]}.")
        else:
            _print_put_back(out, done.put_back)
        if done.aside:
            out.print(f"The former file: {done.aside}")

    session.emit(done, text)


def _print_put_back(out: "Printer", put_back: "PutBack") -> None:
    """What is as new as before, and what is as old as the backup."""
    if put_back.kept:
        out.print(f"{put_back.kept} events after the backup are kept: the former file still gave them.")
    if put_back.statements:
        out.print(f"{len(put_back.statements)} statements after the backup are put back from the journal.")
    if put_back.orders:
        out.print(f"Orders recorded after the backup, all here: {', '.join(put_back.orders)}.")
    if put_back.lost:
        out.print(f"{put_back.lost} events of {put_back.first} to {put_back.last} are lost: checks and index runs since"
                  " the backup. Index the stores: catalogue index.")
    else:
        out.print("No event is lost. What the index saw since the backup is read again by: catalogue index.")
    for doubt in put_back.doubts:
        out.print(doubt)


def _rebuild(session: Session, folders: tuple[Path, ...], ledger: Path | None) -> None:
    from catalogue.fixity.rebuild import rebuild

    with interruptible() as cancelled, bar() as report:
        done = rebuild(session.home, [f.absolute() for f in folders], report=report, cancelled=cancelled)
    back = done.put_back
    tables = {} if back.statements and not back.doubts and ledger is None else _import_ledger(
        session, ledger or session.home.folder / "ledger")

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
        _print_put_back(out, back)
        for name, (taken, left_out) in tables.items():
            out.print(f"{name}: {taken} rows taken in, {left_out} left out")
        if not tables and not back.statements:
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
