"""``catalogue store``: the disks and shares that hold scans."""

from pathlib import Path
from typing import Any

import click

from catalogue.commands.printing import Printer, ask, yes_or_no
from catalogue.commands.session import Session, SessionGroup
from catalogue.indexing.locating import has_lost_marker, locate_store, marked_elsewhere, on_one_disk, read_marker
from catalogue.operations.stores import (
    add_store,
    move_store,
    retire_store,
    stand_in,
    summarize,
    summarize_unread,
    unread_files,
)
from catalogue.progress import data_size
from catalogue.records import stores
from catalogue.storage.folders import MARKER
from catalogue.untrusted import shell_word

command = SessionGroup("store", help="Add, list, move or retire stores: the disks and shares that hold scans.")


@command.command("add")
@click.argument("name")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--kind", type=click.Choice(["primary", "copy", "off-site"]), default="primary", show_default=True,
              help="What the store is for.")
@click.option("--marker/--no-marker", default=None,
              help="Write the marker file by which the disk is recognised elsewhere; otherwise you are asked.")
@click.option("--one-reader", is_flag=True, help="Read one file at a time, as suits a spinning disk.")
def add(session: Session, name: str, folder: Path, kind: str, marker: bool | None, one_reader: bool) -> None:
    """Add FOLDER as the store NAME.

    One small file, the marker, is written at its root if you agree; nothing else there is changed.
    """
    db = session.database()
    if marker is None and folder.is_dir() and read_marker(folder) is None:
        marker = yes_or_no(f"Write the marker {MARKER} into {folder}, so that this store is recognised at another "
                           "mount point?", default=True, otherwise="No store was added.",
                           unasked="Use --marker or --no-marker when there is nobody to ask.")
    result = add_store(db, session.home, name, folder, kind, consent=bool(marker), one_reader=one_reader)
    session.emit(result.store, [*summarize(result), "Next: catalogue index"])


@command.command("list")
def list_stores(session: Session) -> None:
    """List stores, what they hold, and whether they are connected."""
    db = session.looking()
    shared = on_one_disk(db)
    rows: list[dict[str, Any]] = []
    advice: dict[str, str] = {}
    for store in stores.listed(db):
        root = locate_store(db, store)
        advice[store.name] = stand_in(store, root)
        holding = stores.holding(db, store.id)
        rows.append({"name": store.name, "kind": store.kind, "folder": str(root or store.root),
                     "online": root is not None, "files": holding.files, "bytes": holding.bytes,
                     "missing": holding.missing, "unread": unread_files(db, store, root, holding),
                     "oldest check": holding.oldest_check,
                     "on one disk with": [b if a == store.name else a for a, b, _ in shared if store.name in (a, b)],
                     "server": next((server for a, b, server in shared if store.name in (a, b) and server), ""),
                     "marker also at": [str(other) for other in marked_elsewhere(store) if other != root]})

    def text(out: Printer) -> None:
        if not rows:
            out.print("No store yet. Add one: catalogue store add NAME FOLDER")
            return
        out.table(("store", "kind", "state", "files", "size", "missing", "folder"), [
            (row["name"], row["kind"], "online" if row["online"] else "OFFLINE", row["files"], data_size(row["bytes"]),
             row["missing"], row["folder"]) for row in rows])
        out.lines(f"{first} and {second} are both on {f'the server {server}' if server else 'the same disk'}:"
                  " if it fails, both are lost." for first, second, server in shared)
        out.lines(f"{row['name']} is {summarize_unread(row['unread'])}: catalogue index {shell_word(row['name'])}"
                  for row in rows if row["unread"])
        out.lines(f"{other} has the marker of {row['name']}: a clone, or the same disk mounted elsewhere. If it is"
                  f" the store itself: catalogue store move {shell_word(row['name'])} {shell_word(other)}"
                  for row in rows if row["online"] for other in row["marker also at"])
        out.lines(f"{name}: {text}" for name, text in advice.items() if text)

    session.emit(rows, text)


@command.command("retire")
@click.argument("name")
@click.option("--yes", is_flag=True, help="Do not ask.")
def retire(session: Session, name: str, yes: bool) -> None:
    """Retire the store NAME.

    Nothing on its disk is touched; adding it again brings its records back.
    """
    db = session.database()
    store = stores.by_name(db, name)
    if not yes:
        ask(f"Retire the store {store.name}? Its files stay where they are.", otherwise="Nothing was changed.")
    result = retire_store(db, session.home, store.name)
    session.emit({"retired": store.name}, summarize(result))


@command.command("move")
@click.argument("name")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Do not ask.")
def move(session: Session, name: str, folder: Path, yes: bool) -> None:
    """Record that the store NAME is now at FOLDER.

    Use it after moving a store to another disk or enclosure, or if it has a new mount point. FOLDER must have the
    store's marker; if it is gone from the folder last seen, it is written again if you agree. Nothing else on the disk
    is touched. Also use it to choose between a disk and its clone with the same marker.
    """
    store = stores.by_name(session.database(), name)
    if not yes and has_lost_marker(session.database(), store, folder.absolute()):
        ask(f"The marker of {name} is gone from {folder}. Write it again?", otherwise="Nothing was changed.")
    result = move_store(session.database(), session.home, name, folder)
    session.emit(result.store, [*summarize(result), "Next: catalogue index"])
