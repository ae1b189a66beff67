"""The texts of the repeat panel about an order before it is recorded."""

from collections.abc import Sequence

from textual.content import Content

from catalogue.ledger import values
from catalogue.ledger.print_recipe import EarlierRecipe, PlannedPrint, planned_print
from catalogue.ledger.proposal import Caution, Proposal
from catalogue.operations.wording import numbers_to_issue
from catalogue.print_files.recipe import describe
from catalogue.records.orders import NewLine
from catalogue.screens.texts.formats import counted, day, line, lines
from catalogue.sheets.layout import PrintLayout, print_layout, recipe_layout


def plan_of(proposal: Proposal, new: NewLine, last_print: EarlierRecipe | None,
            print_ppi: tuple[int, ...]) -> PlannedPrint:
    """The print file that a line like ``new`` would be printed from."""
    scan = proposal.printing.scan if proposal.printing else None
    return planned_print(new, scan, last_print, print_ppi) if scan else PlannedPrint(None)


def layout_of(proposal: Proposal, new: NewLine, plan: PlannedPrint) -> PrintLayout | None:
    """The print as its file will have it, else as its line alone says; None if the scan's shape is not known."""
    scan = proposal.printing.scan if proposal.printing else None
    if scan is None or proposal.fit is None or not scan.width or not scan.height:
        return None
    if plan.recipe:
        return recipe_layout(plan.recipe, scan.width, scan.height)
    across = (scan.width > scan.height) != (new.width_mm > new.height_mm) and scan.width != scan.height
    width, height = (new.height_mm, new.width_mm) if across else (new.width_mm, new.height_mm)
    return print_layout(width, height, border_mm=new.border_mm, wrap_mm=new.wrap_mm, edge=new.edge,
                        scan_size=(scan.width, scan.height))


def proposal_words(proposal: Proposal, plan: PlannedPrint, last_print: EarlierRecipe | None, day_form: str) -> Content:
    """The ppi; what is grave; last time, what it would be printed from now and how, edition; the rest."""
    paragraphs: list[Content] = []
    if proposal.fit is not None:
        sign = ("✓ ", "$success") if proposal.fit.enough else ("! ", "bold $warning")
        turned = ", turned" if proposal.fit.turned else ""
        cut = f", {proposal.fit.cropped:.0%} cropped" if proposal.fit.cropped else ""
        size = values.shown_size(proposal.line.width_mm, proposal.line.height_mm)
        paragraphs.append(line(sign, f"{proposal.fit.ppi:.0f} ppi at {size}{turned}{cut}"))
    lines_drawn = _lines_drawn(layout_of(proposal, proposal.line, plan))
    if lines_drawn:
        paragraphs.append(line((lines_drawn, "$quiet")))
    paragraphs += caution_words([caution for caution in proposal.cautions if caution.grave])
    last = proposal.last
    if last is not None:
        paragraphs.append(line(("Last time ", "bold"), f"{day(last.placed, day_form)}, "
                         f"{values.shown_prints(last.quantity, last.width_mm, last.height_mm)}"
                         + (f" on {last.medium}" if last.medium else "")
                         + (f", for {last.buyer}" if last.buyer else "")))
    if proposal.printing is not None:
        scan = proposal.printing.scan
        if proposal.same_bytes:
            paragraphs.append(line(("✓ ", "$success"), "the same scan as last time, bit for bit"))
        elif proposal.used is not None and scan.id == proposal.used.scan.id:
            paragraphs.append(line(("= ", "bold"), "from last time's scan, not the current master"))
        else:
            paragraphs.append(line(("From ", "bold"), "the current master"))
    if plan.recipe:
        same = f" as on {day(last_print.date, day_form)}" if last_print else ""
        paragraphs.append(line(("Print file ", "bold"), f"{describe(plan.recipe)}{same}"))
    elif plan.problem:
        paragraphs.append(line(("! ", "bold $warning"), f"No print file can be made like this: {plan.problem}"))
    if proposal.edition is not None:
        state = proposal.edition
        paragraphs.append(line(("Edition ", "bold"), f"{counted(state.numbers_left, 'number')} of "
                         f"{state.edition.size_limit} left, {numbers_to_issue(proposal)}"))
    paragraphs += caution_words([caution for caution in proposal.cautions if not caution.grave])
    if proposal.printing is not None:
        paragraphs.append(line((f"{proposal.line.scan_name}  {proposal.printing.scan.sha256[:12]}…", "$quiet")))
    return lines(paragraphs)


def _lines_drawn(layout: PrintLayout | None) -> str:
    """What the lines on the picture mean; nothing if there are none."""
    if layout is None:
        return ""
    drawn = ["─ folds, ┄ edge of the wrap"] if layout.wrapped else ["┄ cut, with bleed outside it"] \
        if layout.bleed else []
    drawn += ["corner marks and fold marks" if layout.wrapped else "corner marks"] if layout.marks else []
    drawn += ["white border"] if layout.bordered else []
    drawn += ["dimmed: cropped"] if layout.cropped and layout.extent != layout.sheet else []
    return "; ".join(drawn)


def caution_words(cautions: Sequence[Caution]) -> list[Content]:
    """What to check before recording, and what to do about it."""
    paragraphs = []
    for caution in cautions:
        paragraphs.append(line(("✗ " if caution.grave else "! ", "bold $error" if caution.grave else "bold $warning"),
                         caution.text))
        if caution.hint:
            paragraphs.append(line((f"  {caution.hint}", "$quiet")))
    return paragraphs
