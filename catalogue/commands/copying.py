"""``catalogue copy``: bring a store up to date with what the primary stores hold."""

import click

from catalogue.commands.printing import ask
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import bar, watched
from catalogue.operations.copying import complete, copy_to_store, plan_copy, summarize
from catalogue.operations.wording import counted
from catalogue.progress import data_size


@click.command("copy", cls=SessionCommand)
@click.option("--to", "target", metavar="STORE", required=True, help="The store to bring up to date.")
@click.option("--from", "source", metavar="STORE", help="Copy from this store; otherwise from all primary stores.")
@click.option("--masters", is_flag=True, help="Masters only, not tiles and print files.")
@click.option("--update-sidecars", is_flag=True, help="Also replace older sidecars there with newer ones; the old ones"
              " are kept beside them.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def command(session: Session, target: str, source: str | None, masters: bool, update_sidecars: bool, yes: bool) -> int:
    """Copy to a store what it lacks, sidecars too; every copy is verified. Nothing there is overwritten or removed.

    With --update-sidecars, sidecars there that differ and are older are replaced; each is kept beside the newer one,
    with .former and its time added to its name. One that is not plainly older is left and named.

    Exit 1 when something could not be copied. Ctrl-C stops; run it again to continue.
    """
    db = session.existing()
    with bar() as report:
        plan = plan_copy(db, target, source or "", masters_only=masters, update_sidecars=update_sidecars,
                         report=report)
    if not yes and (plan.wanted or plan.sidecars or plan.older):
        scans = f"{counted(len(plan.wanted), 'scan')} ({data_size(plan.bytes)})" if plan.wanted else ""
        sidecars = f"the sidecars of {counted(plan.sidecars, 'picture')}" if plan.sidecars else ""
        question = f"Copy {' and '.join(filter(None, (scans, sidecars)))} into {plan.target.root}"
        if plan.older:
            older = f"{counted(plan.older, 'older sidecar')} (kept beside the newer)"
            question = (f"{question}, and replace {older} there" if scans or sidecars else
                        f"Replace {older} in {plan.target.root}")
        ask(f"{question}?", otherwise="Nothing was copied.")
    with watched("What was copied is verified and kept; run it again for the rest.") as watch:
        summary = copy_to_store(db, session.home, plan, **watch)
    if summary.outcome != "cancelled":
        session.stopped = ""
    session.emit(summary, summarize(summary))
    return int(not complete(summary))
