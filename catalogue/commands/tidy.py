"""``catalogue tidy``: rename files by the shop's rule, shown first, and undoable."""

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import Printer, yes_or_no
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.operations.wording import counted
from catalogue.records import stores
from catalogue.records.paths import display_path

if TYPE_CHECKING:
    from catalogue.intake.moving import Tidied
    from catalogue.intake.tidy import Tidying

KEPT = "What was renamed stays renamed; run it again for the rest, or undo it."


@click.command("tidy", cls=SessionCommand)
@click.argument("store_name", metavar="[STORE]", required=False)
@click.option("--level", type=click.Choice(["portable", "place", "rule"]), default="rule", show_default=True,
              help="portable: only names that some systems refuse; place: folders too; rule: the whole path.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--undo", "undo_file", type=click.Path(path_type=Path), metavar="FILE", help="Undo an earlier tidying.")
def command(session: Session, store_name: str | None, level: str, yes: bool, undo_file: Path | None) -> int:
    """Rename the files in STORE that break the naming rule.

    The plan is shown first, and carried out if you agree. Nothing is overwritten or deleted, every file is checked
    first, and an undo file is written. Sidecars move too.
    """
    from catalogue.intake.moving import cut_short
    from catalogue.intake.tidy import Level, plan_tidying
    from catalogue.operations.tidying import apply_tidying, summarize, undo_tidying

    db, home = session.existing(), session.home
    if undo_file:
        with watched(KEPT) as watch:
            undone = undo_tidying(db, home, undo_file, **watch)
        session.emit(undone, summarize(undone))
        return int(bool(undone.skipped))
    if not store_name:
        raise click.UsageError("Name a store, or use --undo FILE.")
    store = stores.by_name(db, store_name)
    plan = plan_tidying(db, home.settings, store, Level(level))
    unfinished = cut_short(home, store)
    if not session.as_json:
        _show_plan(Printer(), plan)
    result: Tidied | None = None
    interactive = sys.stdin.isatty() and not session.as_json
    asked = f"Rename {counted(len(plan.moves), 'file')} in {plan.store}?"
    if unfinished and not plan.moves:
        asked = f"An earlier tidying of {plan.store} was interrupted. Complete it?"
    if (plan.moves or unfinished) and (yes or (interactive and yes_or_no(asked, otherwise="Nothing was renamed."))):
        with watched(KEPT) as watch:
            result = apply_tidying(db, home, plan, **watch)
    session.emit({"plan": plan, "done": result},
                 summarize(result) if result else ["Nothing was changed."])
    return int(bool(plan.remarks or (plan.moves and not result) or (result and result.skipped)))


def _show_plan(out: Printer, plan: "Tidying") -> None:
    for move in plan.moves:
        out.lines((display_path(move.source), f"  → {display_path(move.target)}", f"  {move.why}"))
    out.lines(f"{kind}: {display_path(path)}: {detail}" for kind, path, detail in plan.remarks)
    out.print(f"{plan.store}: {len(plan.moves)} to rename, {plan.in_order} in order, {len(plan.remarks)} remarks.")
