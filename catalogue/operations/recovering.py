"""Recover a damaged or lost catalogue, from a backup or from the stores themselves."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import sentence
from catalogue.fixity import rebuild
from catalogue.fixity.rebuild import Rebuilt
from catalogue.fixity.recovery import PutBack, Recovered, recover
from catalogue.operations.importing import ORDER, import_table
from catalogue.operations.wording import counted, number
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records.database import open_database
from catalogue.settings import Home

__all__ = ["RebuiltCatalogue", "rebuild_catalogue", "recover", "summarize", "summarize_rebuilt"]


@dataclass(frozen=True, slots=True)
class RebuiltCatalogue:
    """A catalogue made again. ``ledger``: rows imported and left out, by name of the table's file."""

    rebuilt: Rebuilt
    ledger: dict[str, tuple[int, int]]


def rebuild_catalogue(home: Home, folders: Sequence[Path], ledger: Path | None = None, *,
                      report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> RebuiltCatalogue:
    """Make the catalogue again from stores, and take in what was stated: from the journal, else from tables.

    ``ledger`` is the folder of the tables, which are then read in any case; else they are beside the catalogue.
    """
    rebuilt = rebuild.rebuild(home, [folder.absolute() for folder in folders], report=report, cancelled=cancelled)
    stated = bool(rebuilt.put_back.statements) and not rebuilt.put_back.doubts
    if stated and ledger is None:
        return RebuiltCatalogue(rebuilt, {})
    return RebuiltCatalogue(rebuilt, _import_ledger(home, ledger or home.folder / "ledger"))


def _import_ledger(home: Home, folder: Path) -> dict[str, tuple[int, int]]:
    """Imports orders last, because they refer to pieces and their numbers count in editions."""
    rows = {}
    with closing(open_database(home.database)) as db:
        for kind in ORDER:
            path = folder / f"{kind}.csv"
            if path.is_file():
                _, outcome = import_table(db, home.settings, path, kind=kind, make_pieces=True, own=True)
                rows[path.name] = (len(outcome.fates) - outcome.left_out, outcome.left_out)
    return rows


def summarize(result: Recovered) -> list[str]:
    """What the catalogue holds now, and which parts are only as recent as the backup."""
    state = result.condition
    where = f"from {result.source}" if result.source else "by completing an interrupted recovery"
    lines = [f"The catalogue is restored {where}: {counted(state.files, 'file')}, {counted(state.scans, 'scan')}, "
             f"{counted(state.pieces, 'piece')}, {counted(state.orders, 'order')}"]
    if result.settings:
        lines.append("The shop's settings were kept beside the backup and are back too: settings.toml")
    lines += [sentence(result.detail)] if result.put_back is None else _put_back(
        result.put_back, "Index the stores, then audit them: what was found since the backup is not on record.",
        "No event was lost. To read again what was indexed since the backup: catalogue index.")
    return [*lines, f"The old file: {result.aside}"] if result.aside else lines


def summarize_rebuilt(result: RebuiltCatalogue) -> list[str]:
    """What each store holds beside its manifest, and what was stated."""
    lines = []
    for store in result.rebuilt.stores:
        words = f"{store.store}: {counted(store.files, 'file')}"
        if store.listed is None:
            words += "; no checksum manifest could be read, so earlier damage cannot be detected"
        else:
            words += (f"; the manifest lists {number(store.listed)}: {number(store.differ)} differ from it, "
                      f"{number(store.missing)} are missing, {number(store.unlisted)} are new")
        lines.append(words)
    lines += result.rebuilt.passed_over
    if result.rebuilt.aside:
        lines.append(f"The old file: {result.rebuilt.aside}")
    lines += _put_back(result.rebuilt.put_back, "The stores have been read again.",
                       "No event was lost." if result.rebuilt.put_back.last else "")
    lines += [f"{name}: {counted(taken, 'row')} imported, {number(left_out)} left out"
              for name, (taken, left_out) in result.ledger.items()]
    if not result.ledger and not result.rebuilt.put_back.statements:
        lines.append("No tables of orders and editions were found: catalogue import can add them later.")
    return lines


def _put_back(put_back: PutBack, after_loss: str, without_loss: str) -> list[str]:
    lines = []
    if put_back.carried_on:
        lines.append(f"{counted(put_back.carried_on, 'event')} after the backup kept from the old file.")
    if put_back.statements:
        lines.append(f"{counted(len(put_back.statements), 'statement')} after the backup put back from the journal.")
    if put_back.orders:
        lines.append(f"Orders recorded after the backup, all kept: {', '.join(put_back.orders)}.")
    if put_back.lost:
        lines.append(f"{counted(put_back.lost, 'event')} of {put_back.first} to {put_back.last} lost: "
                     f"checks and index runs since the backup. {after_loss}")
    elif without_loss:
        lines.append(without_loss)
    if put_back.distrusted:
        lines.append(f"{counted(put_back.distrusted, 'file')} failed a check since the backup: no sound copy until"
                     " catalogue index has read it again." if put_back.distrusted == 1 else
                     f"{counted(put_back.distrusted, 'file')} failed a check since the backup: no sound copies until"
                     " catalogue index has read them again.")
    return [*lines, *put_back.doubts]
