"""``catalogue doubles``: byte-identical files within a store, listed, and freed where enough copies stay."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from catalogue.commands.printing import Printer, ask
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.operations.wording import counted
from catalogue.progress import data_size
from catalogue.records.paths import display_path
from catalogue.untrusted import shell_word

if TYPE_CHECKING:
    from catalogue.operations.doubles import StoreDoubles

KEPT = "What was removed can be brought back; run it again for the rest."


@click.command("doubles", cls=SessionCommand)
@click.argument("store", required=False)
@click.option("--free", is_flag=True, help="Remove all but one of each group in STORE, where that is safe.")
@click.option("--yes", is_flag=True, help="Do not ask.")
@click.option("--undo", "undo_file", type=click.Path(path_type=Path), metavar="FILE",
              help="Copy back what an earlier --free removed.")
@click.option("--print-files", is_flag=True, help="Instead of doubles, the print files in STORE that can be made"
              " again; each is made from its master to prove it. With --free they are removed.")
def command(session: Session, store: str | None, free: bool, yes: bool, undo_file: Path | None,
            print_files: bool) -> int:
    """List byte-identical files within a store.

    With --free all but one of each group are removed, after you agree. A file goes only if the one that is kept, and as
    many copies in different places as the shop wants, hold the same bytes, read and compared at that moment. Exit 1
    when there are doubles.
    """
    if print_files:
        if undo_file:
            return _make_again(session, undo_file)
        if not store:
            raise click.UsageError("--print-files takes the name of a store.")
        return _print_files(session, store, free, yes)
    from catalogue.operations import doubles
    db = session.database() if free or undo_file else session.looking()
    if undo_file:
        with watched(KEPT) as watch:
            brought_back = doubles.bring_back_doubles(db, session.home, undo_file, **watch)
        session.emit(brought_back, doubles.summarize_brought_back(brought_back))
        return int(bool(brought_back.skipped))
    listed = doubles.list_doubles(db, store or "")
    if not free:
        session.emit(listed, lambda out: _print(out, listed))
        return int(any(in_store.groups for in_store in listed))
    if not store:
        raise click.UsageError("Name the store to free doubles in.")
    count, size = doubles.total(listed[0].groups)
    if count and not yes:
        if not session.as_json:
            _print(Printer(), listed, freeing=True)
        ask(f"Remove {counted(count, 'double')} ({data_size(size)}) from {listed[0].store.root}?",
            otherwise="Nothing was removed.")
    with watched(KEPT) as watch:
        freed = doubles.free_doubles(db, session.home, listed[0].store, listed[0].groups, **watch)
    session.emit(freed, doubles.summarize(freed))
    return int(bool(freed.skipped))


def _print_files(session: Session, store: str, free: bool, yes: bool) -> int:
    from catalogue.operations import print_file_proofs

    if not free or not yes:
        with watched("Nothing was changed.") as watch:
            proofs = print_file_proofs.prove_print_files(session.looking(), session.home, store, **watch)
        again = [proof for proof in proofs if proof.proven]
        if not free:
            session.emit(proofs, print_file_proofs.summarize(proofs))
            return int(bool(again))
        if not session.as_json:
            Printer().lines(print_file_proofs.summarize(proofs))
        if again:
            ask(f"Remove {counted(len(again), 'print file')} ({data_size(sum(proof.size for proof in again))}) from"
                f" {store}? Each is made and compared again just before it is removed.",
                otherwise="Nothing was removed.")
    db = session.database()
    with watched("What was removed can be made again; run it again for the rest.") as watch:
        freed = print_file_proofs.free_print_files(db, session.home, store, **watch)
    session.emit(freed, print_file_proofs.summarize_freed(freed))
    return int(bool(freed.skipped))


def _make_again(session: Session, undo_file: Path) -> int:
    from catalogue.operations.print_file_proofs import bring_back_print_files, summarize_made_again

    with watched("What was made again stays; run it again for the rest.") as watch:
        made = bring_back_print_files(session.database(), session.home, undo_file, **watch)
    session.emit(made, summarize_made_again(made))
    return int(bool(made.skipped))


def _print(out: Printer, listed: "list[StoreDoubles]", *, freeing: bool = False) -> None:
    from catalogue.operations import doubles

    for in_store in listed:
        count, size = doubles.total(in_store.groups)
        for group in in_store.groups:
            out.print(f"{in_store.store.name}: {data_size(group.size)} each")
            out.print(f"  keep    {display_path(group.keep.path)}")
            out.lines(f"  double  {display_path(file.path)}" for file in group.others)
        out.print(f"{in_store.store.name}: {counted(count, 'double')}, {data_size(size)} could be freed."
                  + (f" To do it: catalogue doubles {shell_word(in_store.store.name)} --free"
                     if count and not freeing else ""))
        if in_store.set_aside:
            out.print(f"{in_store.store.name}: {doubles.summarize_set_aside(in_store.set_aside)}")
            out.lines(f"  kept    {display_path(file.path)}" for file in in_store.set_aside)
