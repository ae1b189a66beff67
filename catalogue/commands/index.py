"""``catalogue index``: read what is new or changed."""

from contextlib import ExitStack

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched


@click.command("index", cls=SessionCommand)
@click.argument("names", nargs=-1, metavar="[STORE]...")
@click.option("--workers", type=click.IntRange(0), default=0, help="Reading processes; 0: one per processor.")
@click.option("--dask", "address", metavar="ADDRESS",
              help="Read on the Dask cluster with this scheduler, such as tcp://nas:8786.")
@click.option("--again", is_flag=True, help="Read every file again, changed or not.")
def command(session: Session, names: tuple[str, ...], workers: int, address: str | None, again: bool) -> int:
    """Read what is new or changed in the named stores, or in all.

    Exit 1 when there are findings. Ctrl-C stops after the files in progress; the next run continues.
    """
    from catalogue.indexing.workers import Executors, processes
    from catalogue.operations.indexing import index_stores, summarize

    db = session.database()
    with ExitStack() as stack:
        executors: Executors = processes
        if address:
            from catalogue.indexing.cluster import connected

            cluster = stack.enter_context(connected(address))
            executors, workers = cluster.executors, workers or cluster.workers
        watch = stack.enter_context(watched())
        result = index_stores(db, session.home, names, workers=workers, again=again, executors=executors, **watch)
    more = any(summary.findings for summary in result.stores) or any(result.lacking.values())
    session.emit(result.stores, [*summarize(result), *["See them all: catalogue findings"] * more], result.trouble)
    return int(not result.clean)
