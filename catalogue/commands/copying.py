"""``catalogue copy``: bring a store up to date with what the primary stores hold."""

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import ask
from catalogue.commands.session import Session, bar, interruptible, json_option
from catalogue.progress import data_size

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer

_OUTCOMES = {"finished": "up to date", "incomplete": "not all could be copied", "cancelled": "stopped",
             "full": "the disk is full", "failed": "the store went away"}


@click.command("copy")
@click.option("--to", "target", metavar="STORE", required=True, help="The store to bring up to date.")
@click.option("--from", "source", metavar="STORE", help="Take scans of this store; else of all primary ones.")
@click.option("--masters", is_flag=True, help="Masters alone, not tiles and print files.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@json_option
@click.pass_obj
@click.pass_context
def command(context: click.Context, session: Session, target: str, source: str | None, masters: bool,
            yes: bool) -> None:
    """Copy to a store what it lacks; every copy is verified. Nothing there is overwritten or removed.

    Exit 1 when something could not be copied. Ctrl-C stops; run it again to carry on.
    """
    from catalogue.fixity.copies import copy_to, not_copyable, plan
    from catalogue.records import stores
    from catalogue.records.paths import shown

    db = session.existing()
    store = stores.by_name(db, target)
    wanted = plan(db, store, stores.by_name(db, source) if source else None, masters_only=masters)
    if not yes and wanted:
        size = data_size(sum(w.size for w in wanted))
        ask(f"Copy {len(wanted)} scans ({size}) into {store.root}?", otherwise="Nothing was copied.")
    with interruptible("What was copied is verified and stays; run it again for the rest.") as cancelled, \
            bar() as report:
        done = copy_to(db, session.home, store, wanted, report=report, cancelled=cancelled)
    if done.outcome != "cancelled":
        session.stopped = ""
    lacking = not_copyable(db, store, stores.by_name(db, source) if source else None, masters_only=masters)
    told = {one.path for one in done.not_copied}
    done = replace(done, not_copied=(*done.not_copied, *(one for one in lacking if one.path not in told)))

    def text(out: "Printer") -> None:
        outcome = _OUTCOMES["incomplete" if done.outcome == "finished" and done.not_copied else done.outcome]
        out.print(f"{done.store}: {outcome}; {done.copied} copied and verified "
                  f"({data_size(done.bytes)})")
        if done.adopted:
            out.print(f"  {done.adopted} lay there already and are now on record")
        if done.renamed:
            out.print(f"  {done.renamed} stand under a name with digits of their digest: another file has their own")
        for one in done.not_copied:
            out.print(f"  not copied: {shown(one.path)}: {one.reason}")

    session.emit(done, text)
    if done.not_copied or done.outcome != "finished":
        context.exit(1)
