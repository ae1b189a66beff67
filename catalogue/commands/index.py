"""``catalogue index``: read what is new or changed."""

from contextlib import ExitStack
from typing import TYPE_CHECKING

import click

from catalogue.commands.session import Session, bar, interruptible, json_option
from catalogue.progress import data_size

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer


@click.command("index")
@click.argument("names", nargs=-1, metavar="[STORE]...")
@click.option("--workers", type=click.IntRange(0), default=0, help="Processes that read; 0: one a processor.")
@click.option("--dask", "address", metavar="ADDRESS",
              help="Read through the Dask cluster whose scheduler answers there, such as tcp://nas:8786.")
@click.option("--again", is_flag=True, help="Read every file anew, changed or not.")
@json_option
@click.pass_obj
@click.pass_context
def command(context: click.Context, session: Session, names: tuple[str, ...], workers: int, address: str | None,
            again: bool) -> None:
    """Read what is new or changed in the named stores, or in all.

    Exit 1 when a run has findings. Ctrl-C stops after the files under way; the next run carries on.
    """
    from catalogue.errors import NotFound
    from catalogue.fixity.upkeep import after_indexing
    from catalogue.indexing.service import index
    from catalogue.indexing.workers import Executors, processes
    from catalogue.records import stores

    db = session.database()
    chosen = [stores.by_name(db, name) for name in names] or stores.listed(db)
    if not chosen:
        raise NotFound("There is no store yet.", hint="Add one: catalogue store add NAME FOLDER.")
    with ExitStack() as stack:
        executors: Executors = processes
        if address:
            from catalogue.indexing.cluster import connected

            cluster = stack.enter_context(connected(address))
            executors, workers = cluster.executors, workers or cluster.workers
        cancelled, report = stack.enter_context(interruptible()), stack.enter_context(bar())
        summaries = index(db, session.home, chosen, workers=workers, again=again, report=report, cancelled=cancelled,
                          executors=executors)
        lacking = {} if cancelled() else after_indexing(db, session.home, report=report)

    def text(out: "Printer") -> None:
        for one in summaries:
            out.print(f"{one.store}: {one.outcome}; {one.seen} files seen, {one.read} read ({data_size(one.bytes)}), "
                      f"{one.unchanged} unchanged, {one.gone} gone; {one.seconds:.1f} s")
            for kind, count in sorted(one.findings.items()):
                out.print(f"  {count} × {kind}")
        for kind, count in lacking.items():
            if count:
                out.print(f"{count} masters: {kind}")
        if any(one.findings for one in summaries) or any(lacking.values()):
            out.print("See them all: catalogue findings")

    session.emit(summaries, text)
    if any(one.findings or one.outcome != "finished" for one in summaries):
        context.exit(1)
