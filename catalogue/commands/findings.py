"""``catalogue findings``: what is wrong, with which file, and what to do next."""

from difflib import get_close_matches
from itertools import groupby

import click

from catalogue.commands.printing import Printer, plain
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import bar
from catalogue.fixity.advice import next_step
from catalogue.fixity.copies import ALL_ON_ONE_DISK, ANOTHER_DISK, all_on_one_disk
from catalogue.operations.findings import accept_finding, summarize
from catalogue.progress import Progress
from catalogue.records import findings, stores
from catalogue.records.paths import display_path


@click.command("findings", cls=SessionCommand)
@click.option("--kind", help="Only findings of this kind.")
@click.option("--store", "store_name", help="Only findings in this store.")
@click.option("--accept", "accepted", type=int, metavar="NUMBER",
              help="Close the finding with this number (#) as correct. Damage cannot be accepted.")
@click.option("--why", default="", help="With --accept: the reason, kept in the log.")
def command(session: Session, kind: str | None, store_name: str | None, accepted: int | None, why: str) -> int:
    """List open findings, file by file. Exit 1 when there are any."""
    if accepted is not None:
        if not why.strip():
            raise click.UsageError("Give the reason with --why; it is kept in the log.")
        result = accept_finding(session.database(), session.home, accepted, why.strip())
        session.emit(result, summarize(result))
        return 0
    db = session.looking()
    if kind is not None and kind not in (known := findings.known_kinds(db)):
        near = get_close_matches(kind.casefold(), known, 3)
        raise click.BadParameter(
            f"There is no kind of finding called {kind!r}. " +
            (f"Did you mean {' or '.join(repr(n) for n in near)}?" if near else f"Kinds: {', '.join(known)}."),
            param_hint="--kind")
    store_id = stores.by_name(db, store_name).id if store_name else None
    rows = findings.list_open(db, kind=kind, store_id=store_id)
    one_disk = all_on_one_disk(db, session.home.settings)
    names = {store.id: store.name for store in stores.listed(db)}
    steps = []
    with bar() as report:  # every one asks where its copies are: a fifth of a millisecond each
        for number, row in enumerate(rows):
            report(Progress("Findings", number, len(rows)))
            steps.append((row, next_step(db, row, session.home.settings.dates)))

    def text(out: Printer) -> None:
        ordered = sorted(steps, key=lambda s: (s[0].kind, s[1].text, s[0].path))
        for (kind_, advice), group in groupby(ordered, key=lambda s: (s[0].kind, s[1].text)):
            alike = list(group)
            commands = {step.command for _, step in alike}
            out.print(f"{kind_}: {advice}", bold=True)
            for row, step in alike:
                path = f"{names.get(row.store_id or 0, '')}:{display_path(row.path)}".strip(":")
                if path:  # none: it concerns the whole archive
                    out.print(f"  {path}  #{row.id}".rstrip())
                out.print(f"    {row.detail}")
                if row.kind == "edited":
                    out.print(f"    to accept it: catalogue findings --accept {row.id} --why REASON")
                if step.command and len(commands) > 1:
                    out.print(f"    {step.command}")
            if len(commands) == 1 and (shared := commands.pop()):
                out.print(f"  {shared}")
        if one_disk:
            out.print(f"{ALL_ON_ONE_DISK}. {ANOTHER_DISK}")
        out.print(f"{len(rows)} open." if rows else "No open findings in what has been checked.")

    session.emit([{**plain(row), "next": step.text, "command": step.command} for row, step in steps], text)
    return int(bool(rows))
