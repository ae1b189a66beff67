"""``catalogue demo``: the demo archive in a catalogue of its own."""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click
from platformdirs import user_data_path

from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand, need_terminal
from catalogue.commands.watching import watched
from catalogue.errors import CatalogueError, NotFound, Refused
from catalogue.operations.auditing import audit_stores
from catalogue.operations.importing import import_table
from catalogue.operations.stores import add_store
from catalogue.records import findings, pieces
from catalogue.records.database import Database, open_database
from catalogue.settings import Home, read_settings
from catalogue.untrusted import shell_word

if TYPE_CHECKING:
    from catalogue.indexing.service import StoreSummary

CHECKOUT = Path(__file__).resolve().parents[2]
SIGN = ".catalogue-demo"
STORES = (("main disk", "main-disk", "primary"), ("copy disk", "copy-disk", "copy"))


@click.command("demo", cls=SessionCommand)
@click.option("--archive", type=click.Path(path_type=Path), metavar="FOLDER",
              help="Folder of the demo archive; otherwise one is painted in this checkout, once.")
@click.option("--screens/--no-screens", default=True, help="Open the screens, or print a summary and exit.")
def command(session: Session, archive: Path | None, screens: bool) -> None:
    """Index the demo archive into a fresh catalogue and open it.

    The archive is copied beside that catalogue first, so you can change and break it freely. After the first index a
    few of its files are damaged, as happens over the years, and all are checked.
    """
    if screens and not session.as_json:
        need_terminal()

    if archive is not None and not (archive / "main-disk").is_dir():
        raise NotFound("There is no demo archive here.", path=archive,
                       hint="Give a folder that contains main-disk, or leave --archive out.")
    folder = _fresh(session.folder)
    home = Home(folder, read_settings(folder / "settings.toml"))
    disks = folder / "disks"
    shutil.copytree(archive or painted_archive(), disks)
    db, summaries = fill_catalogue(home, disks)
    data = {"catalogue": folder, "stores": summaries, "counts": pieces.counts(db), "findings": findings.by_kind(db)}
    db.close()
    if screens and not session.as_json:
        from catalogue.screens.app import open_screens

        open_screens(home)
        session.emit(data, lambda out: _print_call(out, folder))
        return
    session.emit(data, lambda out: _print(out, data))


def painted_archive() -> Path:
    """The demo archive that the checkout's painter makes, painted first if this version of the painter has not made
    it yet."""
    painter, archive = CHECKOUT / "scripts" / "paint_archive.py", CHECKOUT / ".demo" / "archive"
    if not painter.is_file():
        raise NotFound("There is no demo archive here.", hint="Run from a checkout, or name it with --archive.",
                       path=CHECKOUT)
    painting = subprocess.run([sys.executable, painter, archive, "--unless-painted"], stdout=subprocess.DEVNULL,
                              check=False)
    if painting.returncode:
        raise CatalogueError("The demo archive could not be painted.", hint="See the messages above.", path=archive)
    return archive


def _fresh(asked: Path | None) -> Path:
    """An empty demo folder. Only a folder that an earlier demo made is ever cleared."""
    folder = (asked or user_data_path("master-scan-catalogue-demo", appauthor=False)).expanduser().absolute()
    if folder.exists() and any(folder.iterdir()):
        if not (folder / SIGN).exists():
            raise Refused("This folder holds something other than a demo.", hint="Name an empty one with --catalogue.",
                          path=folder)
        shutil.rmtree(folder)
    folder.mkdir(parents=True, exist_ok=True)
    (folder / SIGN).write_text("Made by the demo; the next demo clears this folder.\n", encoding="utf-8")
    (folder / "settings.toml").write_text("# The demo's two disks are folders of one.\ncopies_on_one_disk = true\n",
                                          encoding="utf-8")
    return folder


def fill_catalogue(home: Home, disks: Path) -> "tuple[Database, list[StoreSummary]]":
    """Two stores of an archive below ``disks`` in a new catalogue: indexed, ordered from, compared, damaged, audited.

    Returns the open catalogue, and what the first index run did.
    """
    from catalogue.operations.comparing import compare_scans
    from catalogue.operations.indexing import index_stores

    db = open_database(home.database)
    names = [name for name, _, _ in STORES]
    for name, folder, kind in STORES:
        add_store(db, home, name, disks / folder, kind, consent=True)
    with watched() as watch:
        indexed = index_stores(db, home, names, **watch)
        for kind in ("editions", "orders"):
            import_table(db, home.settings, disks / f"{kind}.csv", kind=kind)
        compare_scans(db, home, **watch)
        if not watch["cancelled"]():
            damage_disks(disks)
            index_stores(db, home, names, **watch)
            audit_stores(db, home, **watch)
    return db, list(indexed.stores)


def damage_disks(disks: Path) -> None:
    """Apply what happened to the demo's disks since they were indexed.

    The files in ``since/files`` replace the content of those with the same name, whose times are kept, and those listed
    in ``since/removed.txt`` are removed.
    """
    since = disks / "since"
    for changed in filter(Path.is_file, (since / "files").rglob("*")):
        target = disks / changed.relative_to(since / "files")
        times = target.stat()
        shutil.copyfile(changed, target)
        os.utime(target, ns=(times.st_atime_ns, times.st_mtime_ns))
    removed = since / "removed.txt"
    for name in removed.read_text(encoding="utf-8").splitlines() if removed.exists() else ():
        (disks / name).unlink()


def _print(out: Printer, data: dict[str, object]) -> None:
    counts, kinds = data["counts"], data["findings"]
    assert isinstance(counts, dict) and isinstance(kinds, dict)
    out.print(f"{counts['artist']} artists, {counts['piece']} pieces, {counts['scan']} scans in {counts['file']} files "
              f"on {counts['store']} stores; {counts['orders']} orders with {counts['order_line']} lines.")
    out.print("Findings: " + (", ".join(f"{count} × {kind}" for kind, count in kinds.items()) or "none") + ".")
    _print_call(out, Path(str(data["catalogue"])), "find", "harbour")


def _print_call(out: Printer, folder: Path, *words: str) -> None:
    """A line to paste into a shell, in one piece however long the folder's name is."""
    call = " ".join(map(shell_word, [*program_words(), "--catalogue", str(folder), *words]))
    out.print(f"To look around: {call}")


def program_words() -> list[str]:
    """How a shell calls this program from any folder: by name only if that name leads here."""
    script = Path(sys.executable).with_name("catalogue")
    on_path = shutil.which("catalogue")
    if on_path is not None and script.exists() and Path(on_path).samefile(script):
        return ["catalogue"]
    return [str(script)] if script.exists() else [sys.executable, "-m", "catalogue"]
