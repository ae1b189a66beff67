"""``catalogue audit``: are the bytes still what they were?"""

import re
from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, bar, interruptible, json_option
from catalogue.progress import data_size

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer
    from catalogue.fixity.audit import StoreAudit
    from catalogue.fixity.log import LogCheck
    from catalogue.records.database import Database

_UNITS = {"": 1, "K": 10**3, "M": 10**6, "G": 10**9, "T": 10**12}
MOST_SHOWN = 50
_SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}


def duration(text: str) -> float:
    """``90m``, ``2h``, ``1h30m`` as seconds."""
    part = r"([0-9]+(?:\.[0-9]+)?)\s*([smhd])\s*"
    if not re.fullmatch(f"(?:{part})+", text.strip().lower()):
        raise click.BadParameter(f"{text!r} is no time; write 90m, 2h or 1h30m.")
    return sum(float(number) * _SECONDS[unit] for number, unit in re.findall(part, text.lower()))


def size(text: str) -> int:
    """``500G``, ``1.5TB``, ``20 MB`` as bytes, decimal units."""
    found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*([KMGT]?)B?", text.strip().upper())
    if not found:
        raise click.BadParameter(f"{text!r} is no size; write 500G or 20MB.")
    return int(float(found[1]) * _UNITS[found[2]])


def share(text: str) -> float:
    """``5%`` as a share of 1."""
    found = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*%", text.strip())
    if not found or not 0 < float(found[1]) <= 100:
        raise click.BadParameter(f"{text!r} is no share; write 5%.")
    return float(found[1]) / 100


@click.command("audit")
@click.argument("names", nargs=-1, metavar="[STORE]...")
@click.option("--time", "seconds", type=duration, metavar="TIME",
              help="Stop after so long, as 90m or 2h; the next audit goes on.")
@click.option("--bytes", "most", type=size, metavar="SIZE", help="Read no more than this, as 500G.")
@click.option("--sample", "part", type=share, metavar="PERCENT", help="Check a random share of the files, as 5%.")
@click.option("--log", "log_only", is_flag=True,
              help="Check the event log itself, and what was stated (orders, editions, …) against it.")
@json_option
@click.pass_obj
@click.pass_context
def command(context: click.Context, session: Session, names: tuple[str, ...], seconds: float | None, most: int | None,
            part: float | None, log_only: bool) -> None:
    """Read files of the named stores, or of all, and compare their bytes with what is on record.

    The file whose last check lies longest back comes first. Exit 1 when anything is found. Ctrl-C stops after the
    files under way; the next audit carries on. Nothing in a store is written to.
    """
    if log_only:
        _check_log(context, session)
        return
    from catalogue.errors import NotFound
    from catalogue.fixity.audit import Budget, audit
    from catalogue.fixity.backup import back_up_if_due
    from catalogue.fixity.copies import NO_OFF_SITE, SINGLE
    from catalogue.records import stores

    db = session.existing()
    chosen = [stores.by_name(db, name) for name in names] or stores.listed(db)
    if not chosen:
        raise NotFound("There is no store yet.", hint="Add one: catalogue store add NAME FOLDER.")
    with interruptible("What was checked is on record; the next audit carries on.") as cancelled, bar() as report:
        done = audit(db, session.home, chosen, budget=Budget(seconds, most, part), report=report,
                     cancelled=cancelled)
        back_up_if_due(db, session.home, report=report)
    copies = {kind: detail for kind in (SINGLE, NO_OFF_SITE) if (detail := _copies(db, kind))}

    def text(out: "Printer") -> None:
        for one in done:
            _print(out, one)
        for kind, detail in copies.items():
            out.print(f"{kind}: {detail}")
        if copies or any(one.findings for one in done):
            out.print("What to do about them: catalogue findings")

    session.emit({"stores": done, "copies": copies}, text)
    if copies or any(one.findings for one in done):
        context.exit(1)


def _copies(db: "Database", kind: str) -> str:
    """What is open of one kind, in a line."""
    from catalogue.records import findings

    count = findings.by_kind(db).get(kind, 0)
    first = findings.open_ones(db, kind=kind, limit=1)
    return "" if not first else first[0].detail if first[0].scan_id is None else f"{count} masters"


_OUTCOMES = {"finished": "all that was due is checked", "budget": "the budget is spent", "cancelled": "stopped",
             "failed": "the store went away", "offline": "offline, nothing checked"}


def _print(out: "Printer", one: "StoreAudit") -> None:
    rate = f" at {data_size(one.bytes / one.seconds)}/s" if one.seconds > 0 and one.bytes else ""
    out.print(f"{one.store}: {_OUTCOMES[one.outcome]}; {one.checked} files checked ({data_size(one.bytes)}{rate}), "
              f"{one.intact} intact, {one.left} left")
    if one.carried_on:
        out.print(f"  took up an audit that was stopped: {one.carried_on} files were checked then")
    for kind, count in sorted(one.findings.items()):
        out.print(f"  {count} × {kind}")


def _check_log(context: click.Context, session: Session) -> None:
    from catalogue.fixity.log import review
    from catalogue.fixity.manifest import heads

    db = session.existing()
    checked = review(db, session.home, tuple(heads(db)))

    def text(out: "Printer") -> None:
        _print_log(out, checked)

    session.emit(checked, text)
    if not checked.sound:
        context.exit(1)


def _print_log(out: "Printer", checked: "LogCheck") -> None:
    out.print(f"{checked.events} events, last at {checked.head.at or 'no time'}")
    out.print("The chain holds: no event was altered or removed." if checked.unbroken else "The event log was tampered"
              " with, or part of it is lost:")
    for event in checked.broken[:20]:
        out.print(f"  event {event.id} of {event.at} does not follow from the one before")
    if checked.lost:
        out.print(f"  {checked.lost}")
    if checked.backwards:
        out.print(f"{checked.backwards} × the clock was set back between two events")
    if checked.differences:
        out.print(f"{len(checked.differences)} rows are not what the log says of them:")
    for words in checked.differences[:MOST_SHOWN]:
        out.print(f"  {words}")
    if len(checked.differences) > MOST_SHOWN:
        out.print(f"  and {len(checked.differences) - MOST_SHOWN} more; all of them with --json")
    if checked.journal:
        out.print("The journal of statements beside the catalogue does not agree with the log:")
    for words in checked.journal[:MOST_SHOWN]:
        out.print(f"  {words}")
    if checked.unbroken and not checked.differences:
        out.print("Orders, editions and everything else that was stated are as the log says.")
