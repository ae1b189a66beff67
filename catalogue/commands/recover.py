"""``catalogue recover``: recover a damaged or lost catalogue."""

from pathlib import Path

import click

from catalogue.commands.printing import ask
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import bar, watched
from catalogue.errors import ReadOnly


@click.command("recover", cls=SessionCommand)
@click.argument("folders", nargs=-1, type=click.Path(path_type=Path, exists=True, file_okay=False),
                metavar="[FOLDER]...")
@click.option("--rebuild", "anew", is_flag=True, help="Rebuild it from the stores at FOLDER…, when no backup is left.")
@click.option("--from", "source", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="FILE",
              help="Go back to this backup, even from a sound catalogue.")
@click.option("--ledger", type=click.Path(path_type=Path, exists=True, file_okay=False), metavar="FOLDER",
              help="With --rebuild: orders.csv, editions.csv and the like lie here, not in the catalogue's folder.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def command(session: Session, folders: tuple[Path, ...], anew: bool, source: Path | None, ledger: Path | None,
            yes: bool) -> None:
    """Replace the catalogue with the newest sound backup, plus everything recorded since. The present file is kept
    aside. Orders, editions, verdicts and other records made after the backup come from the damaged file, as far as it
    can be read, and from the journal beside it. Anything neither has is reported. An interrupted recovery is completed.

    Without any backup left: catalogue recover --rebuild FOLDER…. That reads the stores again, compares them with
    their checksum manifests, and takes what was stated from the journal, else from the last tables of orders and
    editions.
    """
    if (folders or ledger) and not anew:
        raise click.UsageError("FOLDER… and --ledger go with --rebuild.")
    home = session.home
    if home.settings.read_only:
        raise ReadOnly(action="Recover it")
    if not yes:
        action = "Rebuild the catalogue from the stores" if anew else "Replace the catalogue with a backup"
        ask(f"{action} in {home.folder}? The present one is kept under another name.", otherwise="Nothing was changed.")
    if anew:
        _rebuild(session, folders, ledger)
        return
    from catalogue.operations.recovering import recover, summarize

    with bar() as report:
        recovered = recover(home, source, report=report)
    session.emit(recovered, summarize(recovered))


def _rebuild(session: Session, folders: tuple[Path, ...], ledger: Path | None) -> None:
    from catalogue.operations.recovering import rebuild_catalogue, summarize_rebuilt

    with watched() as watch:
        result = rebuild_catalogue(session.home, folders, ledger, **watch)
    session.emit(result, summarize_rebuilt(result))
