"""``catalogue show``: everything about a piece."""

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from catalogue.commands.lookup import find_piece
from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand
from catalogue.dates import shown_day
from catalogue.ledger.values import shown_prints
from catalogue.operations.wording import counted
from catalogue.progress import data_size
from catalogue.records.paths import display_path
from catalogue.records.pieces import Piece

if TYPE_CHECKING:
    from catalogue.records.database import Database


@click.command("show", cls=SessionCommand)
@click.argument("piece", nargs=-1, required=True)
def command(session: Session, piece: tuple[str, ...]) -> None:
    """Show everything about PIECE: its scans, sizes and orders.

    PIECE is its number, its title, or artist and title.
    """
    db = session.looking()
    chosen = find_piece(db, " ".join(piece))
    data = everything(db, session, chosen)
    session.emit(data, lambda out: _print(out, data, session.home.settings.dates))


def everything(db: "Database", session: Session, piece: Piece) -> dict[str, Any]:
    """A piece with its scans and their files, sizes, findings and orders, as plain values."""
    from catalogue.indexing.locating import is_same_disk, locate_store
    from catalogue.reading.printsize import prints_up_to
    from catalogue.records import copies, files, findings, orders, scans, stores
    from catalogue.records.current import caution

    in_use = stores.listed(db)
    names = {store.id: store.name for store in in_use}
    roots = {store.id: locate_store(db, store) for store in in_use}
    replaced = {store.id for store in in_use if (root := roots[store.id]) and not is_same_disk(db, store, root)}
    files_of: dict[int, list[dict[str, Any]]] = {}
    for scan_id, file in files.of_piece(db, piece.id):
        state = "offline" if roots.get(file.store_id) is None else file.state
        if state == "present" and (file.store_id in replaced or not copies.is_intact(db, file.id)):
            state = "in doubt"
        files_of.setdefault(scan_id, []).append(
            {"store": file.store, "path": file.path, "state": state, "checked": file.checked_at})
    listed = []
    for scan in scans.of_piece(db, piece.id):
        picture, held = scans.picture(db, scan.id), copies.of_scan(db, scan.id)
        listed.append({
            "current": scan.id == piece.current_scan_id, **asdict(scan),
            "width_mm": picture and picture.width_mm, "height_mm": picture and picture.height_mm,
            "copies": held.counted(one_disk=session.home.settings.copies_on_one_disk), "stores": held.stores,
            "notes": [asdict(n) for n in scans.notes(db, scan.id)], "files": files_of.get(scan.id, [])})
    current = next((scan for scan in listed if scan["current"]), None)
    return {
        **asdict(piece), "caution": caution(db, piece.id), "scans": listed,
        "prints up to": [asdict(size) for size in prints_up_to(
            current["width"], current["height"], session.home.settings.print_ppi)] if current else [],
        "findings": [asdict(f) | {"store": names.get(f.store_id or 0, "")} for f in findings.of_piece(db, piece.id)],
        "orders": [asdict(line) for line in orders.lines_of_piece(db, piece.id)]}


def _print(out: Printer, data: dict[str, Any], dates: str) -> None:
    out.print(f"{data['artist']}: {data['title']}  {data['year']}  (piece {data['id']})".replace("   ", " "))
    if data["caution"]:
        out.print(data["caution"])
    for scan in data["scans"]:
        mark = "current master" if scan["current"] else scan["role"]
        size = f"{scan['width']} × {scan['height']} px" if scan["width"] else "not decoded"
        if scan["width_mm"] and scan["height_mm"]:
            size += f", {scan['width_mm'] / 10:.1f} × {scan['height_mm'] / 10:.1f} cm at {scan['ppi_x']:.0f} ppi"
        out.print()
        out.print(f"{mark}: {size}, {scan['bits'] or '?'} bit {scan['photometric']}, "
                  f"{scan['profile_name'] or 'no profile'}, {data_size(scan['bytes'])}")
        out.print(f"  SHA-256 {scan['sha256']}")
        for file in scan["files"]:
            out.print(f"  {file['store']}:{display_path(file['path'])}  {file['state']}, "
                      f"checked {shown_day(file['checked'] or 'never', dates)}")
        if scan["copies"] < scan["stores"]:
            out.print(f"  {scan['stores']} stores on {counted(scan['copies'], 'disk or server', 'disks or servers')},"
                      f" so {counted(scan['copies'], 'copy', 'copies')}: stores on one disk or server fail together")
        for note in scan["notes"] if scan["role"] == "master" else ():
            out.print(f"  note: {note['kind']}: {note['detail']}")
    if data["prints up to"]:
        out.print()
        out.print("prints up to")
        for size in data["prints up to"]:
            out.print(f"  {size['ppi']:>4} ppi  {size['width_mm'] / 10:.1f} × {size['height_mm'] / 10:.1f} cm")
    for finding in data["findings"]:
        out.print()
        path = f"{finding['store']}:{display_path(finding['path'])}".strip(":")
        out.print(f"finding: {finding['kind']}: {path}: "
                  f"{finding['detail']}. {finding['hint']}")
    from catalogue.records.orders import Line

    if data["orders"]:
        out.print()
        out.print("orders")
    for line in data["orders"]:
        out.print(f"  {shown_day(line['placed'], dates)}  {line['number']}  "
                  f"{shown_prints(line['quantity'], line['width_mm'], line['height_mm'])}, {line['medium']}  "
                  f"{Line(**line).state}  {line['buyer']}  "
                  f"{'nos. ' + line['numbers'] if line['numbers'] else ''}  from {line['scan_name'] or 'unknown scan'}")
