"""``catalogue audit``: compare files with the digests on record."""

import re

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.fixity.audit import Budget
from catalogue.operations.auditing import audit_stores, check_log, summarize, summarize_log

_UNITS = {"": 1, "K": 10**3, "M": 10**6, "G": 10**9, "T": 10**12}
_SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86400}


def duration(text: str) -> float:
    """``90m``, ``2h``, ``1h30m`` as seconds."""
    part = r"([0-9]+(?:\.[0-9]+)?)\s*([smhd])\s*"
    if not re.fullmatch(f"(?:{part})+", text.strip().lower()):
        raise click.BadParameter(f"{text!r} is not a time; write 90m, 2h or 1h30m.")
    return sum(float(number) * _SECONDS[unit] for number, unit in re.findall(part, text.lower()))


def size(text: str) -> int:
    """``500G``, ``1.5TB``, ``20 MB`` as bytes, decimal units."""
    match = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*([KMGT]?)B?", text.strip().upper())
    if not match:
        raise click.BadParameter(f"{text!r} is not a size; write 500G or 20MB.")
    return int(float(match[1]) * _UNITS[match[2]])


def share(text: str) -> float:
    """``5%`` as a share of 1."""
    match = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*%", text.strip())
    if not match or not 0 < float(match[1]) <= 100:
        raise click.BadParameter(f"{text!r} is not a share; write 5%.")
    return float(match[1]) / 100


@click.command("audit", cls=SessionCommand)
@click.argument("names", nargs=-1, metavar="[STORE]...")
@click.option("--time", "seconds", type=duration, metavar="TIME",
              help="Stop after this long, such as 90m or 2h; the next audit continues.")
@click.option("--bytes", "most", type=size, metavar="SIZE", help="Read no more than this, such as 500G.")
@click.option("--sample", "part", type=share, metavar="PERCENT", help="Check a random share of the files, such as 5%.")
@click.option("--log", "log_only", is_flag=True,
              help="Check the event log itself, and the records (orders, editions, …) against it.")
def command(session: Session, names: tuple[str, ...], seconds: float | None, most: int | None,
            part: float | None, log_only: bool) -> int:
    """Read files of the named stores, or of all, and compare their bytes with what is on record.

    The file checked longest ago comes first. Exit 1 when there are findings. Ctrl-C stops after the files in progress;
    the next audit continues. Nothing in a store is written to.
    """
    if log_only:
        checked = check_log(session.existing(), session.home)
        session.emit(checked, summarize_log(checked))
        return int(not checked.sound or bool(checked.passed_over))
    db = session.existing()
    with watched("What was checked is on record; the next audit continues.") as watch:
        result = audit_stores(db, session.home, names, budget=Budget(seconds, most, part), **watch)
    session.emit({"stores": result.stores, "copies": result.copies, "all on one disk": result.one_disk},
                 [*summarize(result), *["What to do about them: catalogue findings"] * (not result.clean)],
                 result.trouble)
    away = bool(names) and any(store.outcome == "offline" for store in result.stores)  # though asked for by name
    return int(not result.clean or away)
