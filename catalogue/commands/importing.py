"""``catalogue import``: take in orders, editions, artists or pieces from a CSV file."""

from dataclasses import asdict
from pathlib import Path

import click

from catalogue.commands.session import Session, SessionCommand, named_values
from catalogue.commands.watching import watched
from catalogue.operations.importing import import_table, summarize


@click.command("import", cls=SessionCommand)
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--as", "kind", type=click.Choice(["orders", "editions", "artists", "pieces", "buyers"]),
              help="What the file holds; otherwise recognised by its columns.")
@click.option("--map", "pairs", multiple=True, metavar="OURS=THEIRS",
              help="One of our columns and its heading in the file; may be repeated.")
@click.option("--dates", multiple=True, metavar="FORMAT",
              help="How dates are written, such as %d/%m/%Y, where the file itself does not tell; may be repeated.")
@click.option("--map-status", "states", multiple=True, metavar="THEIRS=OURS",
              help="What a state is called in the file, such as delivered=collected; may be repeated.")
@click.option("--status", default="collected", show_default=True, help="State for orders without one.")
@click.option("--make-pieces", is_flag=True, help="Create artists and pieces that are not on record.")
@click.option("--dry-run", is_flag=True, help="Show what would happen to every row; record nothing.")
def command(session: Session, file: Path, kind: str | None, pairs: tuple[str, ...], dates: tuple[str, ...],
            states: tuple[str, ...], status: str, make_pieces: bool, dry_run: bool) -> int:
    """Import orders, editions, artists, pieces or buyers from FILE, a CSV table.

    Rows imported before are recognised, so running it twice records nothing twice. Exit 1 when rows were left out.
    """
    mapping = named_values(pairs, "OURS=THEIRS", "--map")
    words = named_values(states, "THEIRS=OURS", "--map-status")
    db = session.database()
    with watched() as watch:
        chosen, outcome = import_table(db, session.home.settings, file, kind=kind or "", mapping=mapping, dates=dates,
                                       status=status, status_words=words, make_pieces=make_pieces,
                                       dry_run=dry_run, **watch)
    session.emit({"kind": chosen, "counts": outcome.counts, **asdict(outcome)},
                 summarize(outcome))
    return 1 if outcome.left_out else 0
