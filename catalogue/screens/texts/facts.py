"""Texts about a piece and its scans, composed from records; signs always with words."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual.content import Content

from catalogue.progress import data_size
from catalogue.reading.printsize import prints_up_to
from catalogue.records.finding_kinds import DAMAGE_KINDS
from catalogue.records.paths import display_path
from catalogue.screens.texts.formats import BAD, DOUBT, ago, centimetres, counted, day, line, lines, scanned_cm, size_cm

if TYPE_CHECKING:
    from catalogue.ledger.editions import State
    from catalogue.records.glances import Glance
    from catalogue.screens.pages.piece_view import PieceView, ScanView

def glance_words(glance: "Glance", day_form: str, *, one_disk: bool) -> Content:
    """Under the picture: title, artist and year, size and pixels, where it is, what was printed."""
    made = ", ".join(filter(None, (glance.artist, glance.year)))
    size = size_cm(glance.width_mm, glance.height_mm) if glance.width_mm else scanned_cm(
        glance.width, glance.height, glance.ppi_x, glance.ppi_y)
    parts = [line((glance.title, "bold")), line(made)]
    if glance.scan_id is None:
        parts.append(line(("!", "$warning"), " no current master"))
    else:
        depth = f" {glance.bits} bit" if glance.bits else ""
        parts.append(state_line(glance, one_disk=one_disk))
        if glance.caution:
            parts.append(line(("! ", "bold $warning"), "another scan could be current: open it"))
        else:
            parts.insert(2, line((f"{size}  {glance.width or '?'}×{glance.height or '?'} px{depth}", "$quiet")))
    ordered = f"{counted(glance.lines, 'order')}, last {day(glance.last_order, day_form)}" if glance.lines \
        else "never ordered"
    parts.append(line((ordered, "$quiet")))
    return lines(parts)


def state_line(glance: "Glance", *, one_disk: bool) -> Content:
    """How safe the current master is, in a sign and words; ``one_disk``: one disk or server is enough."""
    checked = f"checked {ago(glance.checked_at)}" if glance.checked_at else "not checked yet"
    if glance.damaged:
        return line(("✗", "bold $error"), f" damage: {counted(glance.damaged, 'file')}; "
                    f"{counted(glance.present, 'file')} present")
    if glance.findings:
        return line(("!", "bold $warning"), f" {counted(glance.findings, 'finding')}; "
                    f"{counted(glance.present, 'file')} present")
    if glance.present == 0:
        return line(("✗", "bold $error"), " no file of the master is present")
    if glance.stores == 0:
        return line(("✗", "bold $error"), f" no sound copy; {counted(glance.present, 'file')} present")
    if glance.stores < 2:
        return line(("!", "bold $warning"), f" one store only, {checked}")
    if glance.disks < 2 and not one_disk:
        return line(("!", "bold $warning"), f" {counted(glance.stores, 'store')} on one disk or server, {checked}")
    return line(("✓", "$success"), f" in {counted(glance.stores, 'store')}, {checked}")


def piece_words(view: "PieceView") -> Content:
    """Title, who and when, and the original's size."""
    piece = view.piece
    parts = [line((piece.title, "bold")), line(", ".join(filter(None, (piece.artist, piece.year))))]
    also = "  ".join(filter(None, (piece.series, piece.inventory_number, piece.medium)))
    if also:
        parts.append(line((also, "$quiet")))
    if view.caution:
        parts.append(line(("! ", "bold $warning"), view.caution))
    scan = view.master.scan if view.master else None
    if piece.width_mm and piece.height_mm:
        parts.append(line(size_cm(piece.width_mm, piece.height_mm), ("  as measured", "$quiet")))
    elif scan is not None and scan.ppi_x:
        parts.append(line(scanned_cm(scan.width, scan.height, scan.ppi_x, scan.ppi_y),
                          (f"  at {scan.ppi_x:g} ppi", "$quiet")))
    return lines(parts)


def prints_words(view: "PieceView", ppi: Sequence[int]) -> Content:
    """The "prints up to" table of the current master."""
    scan = view.master.scan if view.master else None
    if scan is None or not scan.width or not scan.height:
        return line(("No current master, so no print sizes.", "$quiet"))
    parts = [line(("Prints up to", "bold"))]
    for size in prints_up_to(scan.width, scan.height, tuple(ppi)):
        parts.append(line(f"{centimetres(size.width_mm):>6} × {centimetres(size.height_mm):>5} cm",
                          (f"  at {size.ppi} ppi", "$quiet")))
    return lines(parts)


def scan_words(row: "ScanView", day_form: str) -> Content:
    """One scan: how it is stored, every place it is in, what is wrong with it."""
    scan = row.scan
    stored = [f"{scan.width} × {scan.height} px" if scan.width else "", f"{scan.ppi_x:g} ppi" if scan.ppi_x else "",
              f"{scan.bits} bit {scan.photometric}" if scan.bits else scan.photometric, scan.format,
              scan.profile_name or "no profile", data_size(scan.bytes)]
    parts = [line((", ".join(filter(None, stored)), "$quiet"))]
    for held in row.files:
        name = f"{held.file.store}: {display_path(held.file.path)}"
        if held.state == "present":
            when = f"checked {ago(held.file.checked_at)}" if held.file.checked_at else "not checked yet"
            parts.append(line(("✓ ", "$success"), name, (f"  {when}", "$quiet")))
        elif held.state == "offline":
            parts.append(line(("– ", "$quiet"), name, ("  offline", "$quiet")))
        else:
            parts.append(line(("✗ ", "$error"), name, "  missing"))
    if row.recipe:
        parts.append(line(("Recipe ", "bold"), row.recipe))
    elif scan.role == "print file":
        parts.append(line(("No recipe on record: press R to find it.", "$quiet")))
    for finding in row.findings:
        hint = f" {finding.hint}" if finding.hint else ""
        sign = BAD if finding.kind in DAMAGE_KINDS else DOUBT
        parts.append(line((f"{sign[0]} ", f"bold {sign[1]}"), f"{finding.kind}: {finding.detail}{hint}",
                          (f"  since {day(finding.first_seen, day_form)}", "$quiet")))
    return lines(parts)


def edition_words(states: "Sequence[State]", day_form: str) -> Content:
    """Editions and what is left of them."""
    from catalogue.ledger.editions import label

    parts = []
    for state in states:
        closed = f", closed {day(state.edition.closed, day_form)}" if state.edition.closed else ""
        left = f"{state.numbers_left} left" if state.numbers_left else "none left"
        parts.append(line(("Edition ", "bold"), f"{label(state.edition)}: {state.numbers_out} issued, {left}{closed}",
                          (f", {state.proofs_left} proofs left" if state.edition.proofs else "", "$quiet")))
    return lines(parts)
