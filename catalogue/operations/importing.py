"""Import: orders, editions, artists or pieces from a CSV file. The service does the whole of it."""

from catalogue.ledger.importing import Outcome
from catalogue.ledger.table_import import import_table
from catalogue.operations.wording import number

__all__ = ["Outcome", "import_table", "summarize"]


def summarize(done: Outcome) -> list[str]:
    """Every row that needs a look, and how many rows met which fate."""
    lines = []
    for fate in done.fates:
        if done.dry_run or not fate.fate.taken or fate.remarks:
            lines.append(f"row {fate.row}: {fate.fate}: {fate.text}")
            lines += [f"    {remark}" for remark in filter(None, (fate.detail, *fate.remarks))]
    if done.unused:
        lines.append(f"Columns not used: {', '.join(done.unused)}.")
    if done.encoding != "UTF-8":
        lines.append(f"The file is not UTF-8; it was read as {done.encoding}.")
    fates = ", ".join(f"{number(count)} {fate}" for fate, count in done.counts.items()) or "no rows"
    return [*lines, f"{'Would be' if done.dry_run else 'Done'}: {fates}."]
