"""Import: orders, editions, artists, buyers or pieces from a CSV file."""

from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path

from catalogue.ledger.columns import KINDS, kind_of
from catalogue.ledger.importing import Outcome, import_orders
from catalogue.ledger.importing_editions import import_editions
from catalogue.ledger.importing_names import import_artists, import_buyers, import_pieces
from catalogue.operations.wording import number
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records.database import Database
from catalogue.settings import Settings

SAID_EACH_TIME = 3   # rows with the same fault that each say it; more of them say it together
# As a rebuilt catalogue takes them in: orders name pieces, and their numbers count in editions.
ORDER = ("artists", "pieces", "editions", "orders", "buyers")


def import_table(db: Database, settings: Settings, path: Path, *, kind: str = "",
                 mapping: Mapping[str, str] | None = None, dates: Sequence[str] = (), status: str = "collected",
                 status_words: Mapping[str, str] | None = None,
                 make_pieces: bool = False, own: bool = False, dry_run: bool = False,
                 report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> tuple[str, Outcome]:
    """Import a CSV file of the ``kind`` said, or told by its headings; returns the kind with the outcome.

    Raises as :func:`catalogue.ledger.importing.import_orders`, whose arguments these are.
    """
    chosen = kind or kind_of(path, mapping or {})
    if chosen not in KINDS:
        raise ValueError(f"{chosen!r} is not a kind of table")
    if chosen in ("artists", "buyers"):
        take = import_artists if chosen == "artists" else import_buyers
        return chosen, take(db, path, mapping=mapping, dry_run=dry_run, report=report, cancelled=cancelled)
    if chosen == "pieces":
        return chosen, import_pieces(db, path, mapping=mapping, make_pieces=make_pieces, dry_run=dry_run,
                                     report=report, cancelled=cancelled)
    if chosen == "editions":
        return chosen, import_editions(db, settings, path, mapping=mapping, dates=dates, make_pieces=make_pieces,
                                       dry_run=dry_run, report=report, cancelled=cancelled)
    return chosen, import_orders(db, settings, path, mapping=mapping, dates=dates, status=status,
                                 status_words=status_words, make_pieces=make_pieces, own=own, dry_run=dry_run,
                                 report=report, cancelled=cancelled)


def summarize(outcome: Outcome) -> list[str]:
    """Every row that needs attention, and how many rows had which fate."""
    lines = []
    often = {detail: count for detail, count in Counter(fate.detail for fate in outcome.fates).most_common()
             if detail and count > SAID_EACH_TIME}
    for fate in outcome.fates:
        if outcome.dry_run or not fate.fate.taken or fate.remarks:
            lines.append(f"row {fate.row}: {fate.fate}: {fate.text}")
            lines += [f"    {remark}" for remark in (fate.detail, *fate.remarks) if remark and remark not in often]
    lines += [f"{number(count)} × {detail}" for detail, count in often.items()]
    lines += outcome.notes
    if outcome.unused:
        lines.append(f"Columns not used: {', '.join(outcome.unused)}.")
    if outcome.encoding != "UTF-8":
        lines.append(f"The file is not UTF-8; it was read as {outcome.encoding}.")
    fates = ", ".join(f"{number(count)} {fate}" for fate, count in outcome.counts.items()) or "no rows"
    return [*lines, f"{'Would be' if outcome.dry_run else 'Done'}: {fates}."]
