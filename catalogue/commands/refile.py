"""``catalogue refile``: guesses made anew after the place rules changed."""

from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, interruptible, json_option

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer
    from catalogue.indexing.refiling import Refiled

LISTED = 40


@click.command("refile")
@click.option("--yes", is_flag=True, help="Do it; without, it is only shown.")
@click.option("--undo", "take_back", is_flag=True, help="Put the guesses from before the last refiling back.")
@json_option
@click.pass_obj
def command(session: Session, yes: bool, take_back: bool) -> None:
    """File scans anew by the place rules of the settings: what would move is shown, and done with --yes.

    Only what was guessed is guessed anew; what a person stated of a scan or piece stays.
    """
    from catalogue.commands.session import bar
    from catalogue.indexing import refiling

    db = session.database()
    if take_back:
        count = refiling.undo(db)
        session.emit({"scans": count}, lambda out: out.print(f"The guesses of {count} scans are as they were before."))
        return
    with interruptible() as cancelled, bar() as report:
        done = refiling.refile(db, session.home, apply=yes, report=report, cancelled=cancelled)
    session.emit({"looked": done.looked, "applied": bool(done.id), "moves": done.moves},
                 lambda out: _print(out, done))


def _print(out: "Printer", done: "Refiled") -> None:
    counts = done.counts
    for (before, after), count in list(counts.items())[:LISTED]:
        out.print(f"{count:>5}  {before or 'not filed'} → {after or 'not filed'}")
    if len(counts) > LISTED:
        out.print(f"       and {len(counts) - LISTED} more; --json has all.")
    roles = sum(m.role_before != m.role_after for m in done.moves)
    moved = sum(counts.values())
    if not done.moves:
        out.print(f"{done.looked} scans looked at; all are filed as the rules say.")
    elif done.id:
        out.print(f"{moved} scans filed anew, {roles} given another role. Undo: catalogue refile --undo")
    else:
        out.print(f"{moved} scans would be filed anew, {roles} given another role. To do it: catalogue refile --yes")
