"""``catalogue rescan``: which pieces need a new scan, and how similar ones were captured."""

import click

from catalogue.commands.lookup import find_piece
from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand, named_values
from catalogue.dates import shown_day
from catalogue.errors import refusing
from catalogue.ledger.rescans import ORIGINALS, WEAVE, Captures, Rescan, advice, captures
from catalogue.ledger.values import measured_size, shown_size, size_mm
from catalogue.operations.wording import counted
from catalogue.records.demand import Captured, captured_like


@click.command("rescan", cls=SessionCommand)
@click.argument("piece", nargs=-1)
@click.option("--note", "noted", multiple=True, metavar="NAME=VALUE",
              help="Note how PIECE's current master was scanned, such as light=left or 'tiles=9'.")
@click.option("--relief", type=click.FloatRange(0, 500), help="Relief of PIECE's original in mm.")
@click.option("--size", default="",
              help="Plan the captures of an original of this size, such as 90x90 (cm) or 36x24in.")
@click.option("--bed", default="", help="Only on this bed, by its name in the settings.")
@click.option("--overlap", type=click.FloatRange(0, 90),
              help="Minimum overlap of neighbouring captures, in per cent.")
def command(session: Session, piece: tuple[str, ...], noted: tuple[str, ...], relief: float | None, size: str, bed: str,
            overlap: float | None) -> None:
    """List pieces whose master is too small for the sizes ordered.

    Most ordered first. With PIECE: what is missing, and the capture notes of the same artist's scans, closest relief
    first. With --size: a plan of captures on each of the shop's beds.
    """
    if size:
        if piece or noted or relief is not None:
            raise click.UsageError("A plan is made for a size or for a piece, not both.")
        _print_plans(session, size, bed, overlap)
        return

    db = session.existing() if noted or relief is not None else session.looking()
    if not piece:
        if noted or relief is not None:
            raise click.UsageError("Notes belong to a piece; name it.")
        advised = advice(db, session.home.settings)
        session.emit(advised, lambda out: _advice(out, advised, session.home.settings.dates))
        return
    chosen = find_piece(db, " ".join(piece))
    if noted or relief is not None:
        from catalogue.operations.capturing import note_capture

        note_capture(db, chosen.id, named_values(noted, "NAME=VALUE", "--note"), relief_mm=relief)
    ours = [rescan for rescan in advice(db, session.home.settings) if rescan.piece_id == chosen.id]
    offered = captured_like(db, chosen.id)
    expected = captures(db, session.home.settings, chosen.id)
    session.emit({"piece": chosen.id, "advice": ours, "captures": expected, "captured before": offered},
                 lambda out: _piece(out, ours, expected, offered, session.home.settings.dates))


def _print_plans(session: Session, size: str, bed: str, overlap: float | None) -> None:
    from catalogue.operations.capturing import capture_plans, summarize

    with refusing():
        width, height = size_mm(size)
    plans = capture_plans(session.home.settings, width, height, bed=bed,
                          overlap=None if overlap is None else overlap / 100)
    session.emit(plans, [line for plan in plans for line in summarize(plan)])


def _advice(out: Printer, advised: list[Rescan], dates: str) -> None:
    for rescan in advised:
        out.print(f"{rescan.artist}: {rescan.title}  (piece {rescan.piece_id})  "
                  f"{counted(rescan.prints, 'print')} ordered, last {shown_day(rescan.last, dates)}")
        if not rescan.sizes:
            out.print("    no current master is chosen")
        for size in rescan.sizes:
            out.print(f"    {measured_size(size.width_mm, size.height_mm)}: {size.ppi:.0f} ppi, "
                      f"{size.least_ppi} ppi needed; {size.prints} ordered")
        if rescan.scan_ppi and rescan.master_ppi:
            out.print(f"    scanned at {rescan.master_ppi:.0f} ppi; "
                      f"{rescan.scan_ppi:.0f} ppi on the original would be enough for all")
    if not advised:
        out.print("Every master is large enough for the sizes ordered.")


def _piece(out: Printer, ours: list[Rescan], expected: Captures | None, offered: list[Captured], dates: str) -> None:
    _advice(out, ours, dates)
    if expected:
        count = expected.across * expected.down
        bed = shown_size(*expected.bed_mm)
        out.print(f"{counted(count, 'capture')} ({expected.across} × {expected.down}) of "
                  f"{shown_size(expected.width_mm, expected.height_mm)} on a bed of {bed}"
                  + (f", each overlapping the next by {expected.overlap:.0%}." if count > 1 else "."))
        if count > 1:
            out.print(WEAVE)
    out.lines(ORIGINALS)
    for capture in offered:
        relief = f", relief {capture.relief_mm:g} mm" if capture.relief_mm is not None else ""
        out.print(f"captured {shown_day(capture.captured, dates)}: {capture.title}{relief}")
        out.lines(f"    {name}: {value}" for name, value in capture.notes.items())
    if not offered:
        out.print("No capture notes on this artist's work yet; add them with --note.")
