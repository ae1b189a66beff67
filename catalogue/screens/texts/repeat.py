"""What the repeat panel says of an order before it is recorded."""

from collections.abc import Sequence

from textual.content import Content

from catalogue.ledger import values
from catalogue.ledger.print_recipe import EarlierRecipe, PlannedPrint, planned_print
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.operations.wording import numbers_to_issue
from catalogue.print_files.recipe import describe
from catalogue.records.orders import NewLine
from catalogue.screens.texts.formats import counted, day, line, lines, size_cm
from catalogue.sheets.layout import PrintLayout, print_layout, recipe_layout


def plan_of(found: Proposal, new: NewLine, last_print: EarlierRecipe | None,
            print_ppi: tuple[int, ...]) -> PlannedPrint:
    """The print file that a line like ``new`` would be printed from."""
    scan = found.printing.scan if found.printing else None
    return planned_print(new, scan, last_print, print_ppi) if scan else PlannedPrint(None)


def layout_of(found: Proposal, new: NewLine, plan: PlannedPrint) -> PrintLayout | None:
    """The print as its file will have it, else as its line alone says; None where the scan's shape is not known."""
    scan = found.printing.scan if found.printing else None
    if scan is None or found.fit is None or not scan.width or not scan.height:
        return None
    if plan.recipe:
        return recipe_layout(plan.recipe, scan.width, scan.height)
    across = (scan.width > scan.height) != (new.width_mm > new.height_mm) and scan.width != scan.height
    width, height = (new.height_mm, new.width_mm) if across else (new.width_mm, new.height_mm)
    return print_layout(width, height, border_mm=new.border_mm, wrap_mm=new.wrap_mm, edge=new.edge,
                        scan_size=(scan.width, scan.height))


def proposal_words(found: Proposal, plan: PlannedPrint, last_print: EarlierRecipe | None, day_form: str) -> Content:
    """The ppi; what is grave; last time, what it would be printed from now and how, edition; the rest."""
    said: list[Content] = []
    if found.fit is not None:
        sign = ("✓ ", "$success") if found.fit.enough else ("! ", "bold $warning")
        turned = ", turned" if found.fit.turned else ""
        cut = f", {found.fit.cropped:.0%} cropped" if found.fit.cropped else ""
        size = values.shown_size(found.line.width_mm, found.line.height_mm)
        said.append(line(sign, f"{found.fit.ppi:.0f} ppi at {size}{turned}{cut}"))
    lines_drawn = _lines_drawn(layout_of(found, found.line, plan))
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
    if plan.recipe:
        same = f" as on {day(last_print.date, day_form)}" if last_print else ""
        said.append(line(("Print file ", "bold"), f"{describe(plan.recipe)}{same}"))
    elif plan.problem:
        said.append(line(("! ", "bold $warning"), f"No print file can be made like this: {plan.problem}"))
    if found.edition is not None:
        state = found.edition
        said.append(line(("Edition ", "bold"), f"{counted(state.numbers_left, 'number')} of "
                         f"{state.edition.size_limit} left, {numbers_to_issue(found)}"))
    said += caution_words([caution for caution in found.cautions if not caution.grave])
    if found.printing is not None:
        said.append(line((f"{found.line.scan_name}  {found.printing.scan.sha256[:12]}…", "$quiet")))
    return lines(said)


def _lines_drawn(layout: PrintLayout | None) -> str:
    """What the lines on the picture mean; nothing where there are none."""
    if layout is None:
        return ""
    drawn = ["─ folds, ┄ edge of the wrap"] if layout.wrapped else ["┄ cut, with bleed outside it"] \
        if layout.bleed else []
    drawn += ["corner marks and fold marks" if layout.wrapped else "corner marks"] if layout.marks else []
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
