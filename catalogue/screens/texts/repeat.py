"""What the repeat panel says of an order before it is recorded."""

from collections.abc import Sequence

from textual.content import Content

from catalogue.ledger import values
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.screens.texts.facts import line, lines
from catalogue.screens.texts.formats import counted, day, size_cm
from catalogue.sheets.layout import PrintLayout, print_layout


def layout_of(found: Proposal) -> PrintLayout | None:
    """The print as the job sheet draws it; None where the scan's shape is not known."""
    scan, new = found.printing.scan if found.printing else None, found.line
    if scan is None or found.fit is None or not scan.width or not scan.height:
        return None
    width, height = (new.height_mm, new.width_mm) if found.fit.turned else (new.width_mm, new.height_mm)
    return print_layout(width, height, border_mm=new.border_mm, wrap_mm=new.wrap_mm, edge=new.edge,
                        scan_size=(scan.width, scan.height))


def proposal_words(found: Proposal, day_form: str) -> Content:
    """The ppi; what is grave; last time, what it would be printed from now, edition; the rest."""
    said: list[Content] = []
    if found.fit is not None:
        sign = ("✓ ", "$success") if found.fit.enough else ("! ", "bold $warning")
        turned = ", turned" if found.fit.turned else ""
        cut = f", {found.fit.cropped:.0%} cropped" if found.fit.cropped else ""
        size = values.shown_size(found.line.width_mm, found.line.height_mm)
        said.append(line(sign, f"{found.fit.ppi:.0f} ppi at {size}{turned}{cut}"))
    lines_drawn = _lines_drawn(layout_of(found))
    if lines_drawn:
        said.append(line((lines_drawn, "$quiet")))
    said += caution_words([caution for caution in found.cautions if caution.grave])
    last = found.last
    if last is not None:
        said.append(line(("Last time ", "bold"), f"{day(last.placed, day_form)}, {last.quantity} × "
                         f"{size_cm(last.width_mm, last.height_mm)}" + (f" on {last.medium}" if last.medium else "")
                         + (f", for {last.buyer}" if last.buyer else "")))
    if found.printing is not None:
        scan = found.printing.scan
        if found.same_bytes:
            said.append(line(("✓ ", "$success"), "the same scan as last time, bit for bit"))
        elif found.used is not None and scan.id == found.used.scan.id:
            said.append(line(("= ", "bold"), "from last time's scan, not the current master"))
        else:
            said.append(line(("From ", "bold"), "the current master"))
    if found.edition is not None:
        state = found.edition
        said.append(line(("Edition ", "bold"), f"{counted(state.numbers_left, 'number')} of "
                         f"{state.edition.size_limit} left" + (f", next {state.next_number}"
                                                                if state.next_number else "")))
    said += caution_words([caution for caution in found.cautions if not caution.grave])
    if found.printing is not None:
        said.append(line((f"{found.line.scan_name}  {found.printing.scan.sha256[:12]}…", "$quiet")))
    return lines(said)


def _lines_drawn(layout: PrintLayout | None) -> str:
    """What the lines on the picture mean; nothing where there are none."""
    if layout is None:
        return ""
    drawn = ["─ folds, ┄ edge of the wrap"] if layout.wrapped else []
    drawn += ["white border"] if layout.bordered else []
    drawn += ["dimmed: cropped"] if layout.cropped and layout.extent != layout.sheet else []
    return "; ".join(drawn)


def caution_words(cautions: Sequence[Caution]) -> list[Content]:
    """What to see before recording, and what to do about it."""
    said = []
    for caution in cautions:
        said.append(line(("✗ " if caution.grave else "! ", "bold $error" if caution.grave else "bold $warning"),
                         caution.text))
        if caution.hint:
            said.append(line((f"  {caution.hint}", "$quiet")))
    return said
