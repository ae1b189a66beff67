"""Orders and proposals in words, for the terminal."""

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING

from catalogue.commands.printing import Printer, undo_hint
from catalogue.dates import shown_day
from catalogue.ledger.values import shown_prints, shown_size
from catalogue.money import show_amount
from catalogue.operations.wording import counted, number, numbers_to_issue, summarize_sums
from catalogue.records.numbers import numbered
from catalogue.records.orders import Line, NewLine, Order

if TYPE_CHECKING:
    from catalogue.ledger.proposal import Proposal
    from catalogue.operations.orders import OrdersChanged
    from catalogue.records.handovers import Handover
    from catalogue.records.order_list import OrderSums


def print_details(line: NewLine) -> str:
    """Medium, border, wrap and edge in a few words."""
    return ", ".join(filter(None, (
        line.medium, f"{line.border_mm:g} mm border" if line.border_mm else "",
        f"{line.wrap_mm:g} mm wrap" if line.wrap_mm else "", line.edge)))


def print_lines(out: Printer, lines: Sequence[Line], dates: str) -> None:
    """Order lines under a heading for each order; of a line that is in another state than its order, that too."""
    if not lines:
        out.print("No orders match.")
    for (order, placed, status, buyer), its in groupby(lines, lambda line: (line.number, line.placed, line.order_status,
                                                                            line.buyer)):
        out.print("  ".join(filter(None, (shown_day(placed, dates), order, status, buyer))))
        for line in its:
            facts = (f"{line.artist}: {line.title}", prints_of(line), print_details(line),
                     numbered(line.numbers), price_of(line, line.currency),
                     line.state if line.state != status else "")
            out.print(f"    {', '.join(filter(None, facts))}")


def print_list(out: Printer, lines: Sequence[Line], sums: "OrderSums", dates: str, *, grouped: bool) -> None:
    """Order lines, and the sums of all that fit below them."""
    if grouped or not lines:
        print_lines(out, lines, dates)
    else:
        out.table(["Date", "Order", "State", "Buyer", "Artist", "Piece", "Prints", "Size", "Medium", "Price"], (
            (shown_day(line.placed, dates), line.number, line.state, line.buyer, line.artist, line.title,
             line.quantity, shown_size(line.width_mm, line.height_mm), line.medium,
             show_amount(line.price, line.currency)) for line in lines))
    print_sums(out, sums, shown=len(lines))


def print_sums(out: Printer, sums: "OrderSums", *, shown: int) -> None:
    """What all lines that fit amount to, and how many of them are not shown."""
    out.lines(summarize_sums(sums))
    if shown < sums.lines + sums.cancelled:
        out.print(f"{number(shown)} of {counted(sums.lines + sums.cancelled, 'line')} shown; --limit shows more.")


def print_changed(out: Printer, result: "OrdersChanged") -> None:
    """The new state of the changed orders, and how to undo the change."""
    from catalogue.operations.orders import summarize

    out.lines(f"Order {order.number} is {order.status}." for order in result.orders)
    out.print(" ".join([*summarize(result), *undo_hint(result.event)]))


def print_order(out: Printer, order: Order, lines: Sequence[Line], dates: str,
                handed: Sequence["Handover"] = ()) -> None:
    """One order with all that its lines say, and what of them was ``handed`` over when."""
    out.print(f"Order {order.number}, {shown_day(order.placed, dates)}, {order.status}"
              + (f", {order.buyer}" if order.buyer else ""))
    if order.notes:
        out.print(order.notes)
    for line in lines:
        out.print()
        state = f", {line.state}" if line.cancelled or line.partly or line.status != order.status else ""
        out.print(f"line {line.id}{state}: {line.artist}: {line.title}")
        out.print(f"  {prints_of(line)}, {print_details(line)}".rstrip(", "))
        for name, text in (("numbers", line.numbers), ("price", price_of(line, line.currency)),
                           ("scan", line.scan_name), ("SHA-256", line.scan_sha256), ("profile", line.profile),
                           ("print notes", line.settings), ("notes", line.notes)):
            if text:
                out.print(f"  {name}: {text}")
        for part in handed:
            if part.line_id == line.id:
                out.print(f"  handed over {shown_day(part.day, dates)}: " + ", ".join(filter(None, (
                    counted(part.quantity, "print"), numbered(part.numbers), part.notes))))


def print_proposal(out: Printer, proposal: "Proposal", dates: str, asked: str = "") -> None:
    """Last time, now, the file, the edition, and the cautions: grave ones marked with two signs.

    ``asked``: the numbers that a person has asked for, in words.
    """
    from catalogue.ledger.editions import label

    line, last, printing = proposal.line, proposal.last, proposal.printing
    out.print(f"{proposal.piece.artist}: {proposal.piece.title}")
    if last:
        numbers = f", {numbered(last.numbers)}" if last.numbers else ""
        out.print(f"  last time   {shown_day(last.placed, dates)}, order {last.number}: "
                  + f"{prints_of(last)}, {print_details(last)}".rstrip(", ") + numbers)
        out.print(f"  from        {last.scan_name or 'unknown scan'} {last.scan_sha256[:12]}".rstrip())
        if last.notes:
            out.print(f"  noted       {last.notes}")
    out.print(f"  now         {prints_of(line)}, {print_details(line)}".rstrip(", "))
    if printing:
        place = printing.best.name if printing.best else "no sound copy can be reached"
        same = last is not None and last.scan_sha256 == printing.scan.sha256
        out.print(f"  scan        {line.scan_name} {printing.scan.sha256[:12]}{', the same scan as last time' * same}")
        out.print(f"  file        {place}, last checked "
                  f"{shown_day(printing.last_check, dates) if printing.last_check else 'never'}")
    if proposal.fit:
        out.print(f"  resolution  {proposal.fit.ppi:.0f} ppi at this size, "
                  f"looks sharp from {proposal.fit.sharp_from_mm / 10:.0f} cm away")
    for name, text in (("profile", line.profile), ("settings", line.settings)):
        if text:
            out.print(f"  {name:<12}{text}")
    if proposal.edition:
        state = proposal.edition
        issued = asked or numbers_to_issue(proposal)
        out.print(f"  edition     {label(state.edition)}: {state.numbers_left} left, {issued}")
    if line.price:
        out.print(f"  price       {price_of(line, proposal.currency)}")
    for caution in proposal.cautions:
        out.print(f"  {'!!' if caution.grave else '! '} {caution.text} {caution.hint}".rstrip())


def price_of(line: NewLine, currency: str) -> str:
    """``"10 × 117.00 EUR = 1,170.00 EUR"``; the total alone where the price of one print was never said."""
    total = show_amount(line.price, currency)
    if not line.unit_price or line.quantity == 1:
        return total
    return f"{line.quantity} × {show_amount(line.unit_price, currency)} = {total}"


def prints_of(line: NewLine) -> str:
    """``"2 prints of 50 × 70 cm"``."""
    return shown_prints(line.quantity, line.width_mm, line.height_mm)
