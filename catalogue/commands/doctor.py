"""``catalogue doctor``: versions, codecs, terminal, room, soundness; text that can be pasted into a report."""

import os
import platform
import shutil
import sys
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

import click
from rich.console import Console

from catalogue import __version__
from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand
from catalogue.errors import CatalogueError, Damaged
from catalogue.indexing.locating import is_in_place, on_one_disk
from catalogue.operations.upkeep import rebuild_search_indexes
from catalogue.operations.wording import counted
from catalogue.progress import data_size
from catalogue.records import pieces, stores
from catalogue.records.database import read_only_database, refuse_where_lost
from catalogue.records.health import examine, sqlite_version
from catalogue.storage.folders import missing_calls
from catalogue.storage.mounts import SHARES

LIBRARIES = ("textual", "rich", "click", "pillow", "tifffile", "imagecodecs", "numpy",
             "opencv-python-headless", "faiss-cpu", "sqlite-utils", "xxhash", "defusedxml", "rapidfuzz",
             "platformdirs", "textual-image")
OPTIONAL = ("distributed",)
# Compressions a master may use, as imagecodecs names them.
CODECS = ("LZW", "DEFLATE", "ZSTD", "PACKBITS", "JPEG8", "JPEG2K", "LZMA", "WEBP")
FEATURES = ("littlecms2", "webp", "jpg", "jpg_2000", "zlib", "libtiff")
ROOM_LEAST = 2_000_000_000  # bytes free below which a store or the catalogue's disk is a finding


@dataclass(frozen=True, slots=True)
class Part:
    """One part of the examination: facts as lines, troubles as findings."""

    name: str
    facts: dict[str, str] = field(default_factory=dict)
    troubles: list[str] = field(default_factory=list)


@click.command("doctor", cls=SessionCommand)
@click.option("--rebuild-search", is_flag=True, help="Rebuild the search indexes of the catalogue first.")
def command(session: Session, rebuild_search: bool) -> int:
    """Check program, machine, catalogue and stores.

    Names of artists, pieces, stores and people are left out, so that the text can be pasted into a report. Exit 1 when
    there are findings.
    """
    if rebuild_search:
        rebuild_search_indexes(session.database())
    program = Part("Program", {
        "master-scan-catalogue": __version__, "Python": platform.python_version(), "SQLite": sqlite_version(),
        "system": f"{platform.system()} {platform.release()} {platform.machine()}",
        "processors": str(os.cpu_count() or "unknown"), "file names": sys.getfilesystemencoding()})
    parts = [program, _guards(), _libraries(), _codecs(), _terminal(), _catalogue(session), *_stores(session)]

    def text(out: Printer) -> None:
        for part in parts:
            out.print(part.name)
            out.lines(f"  {name}: {value}" for name, value in part.facts.items())
            out.lines(f"  ! {trouble}" for trouble in part.troubles)
        count = sum(len(part.troubles) for part in parts)
        out.print("No problems found." if not count else f"{counted(count, 'finding')}, marked with !")

    session.emit(parts, text)
    return int(any(part.troubles for part in parts))


def _guards() -> Part:
    """Whether the system has the calls that keep links and disconnected disks from redirecting a write."""
    lacking = missing_calls()
    part = Part("Safeguards", {"files reached from open folders": "no" if lacking else "yes"})
    if lacking:
        part.troubles.append(f"this system lacks {', '.join(lacking)}: a link swapped in, or a disk unplugged,"
                             " could redirect a write or a removal, so nothing is written to a store here")
    return part


def _libraries() -> Part:
    from importlib.metadata import PackageNotFoundError, version

    part = Part("Libraries")
    for name in (*LIBRARIES, *OPTIONAL):
        try:
            part.facts[name] = version(name)
        except PackageNotFoundError:
            part.facts[name] = "not installed" + (" (optional)" if name in OPTIONAL else "")
            if name in LIBRARIES:
                part.troubles.append(f"{name} is missing: install the program again")
    return part


def _codecs() -> Part:
    import imagecodecs
    from PIL import features

    part = Part("Codecs")
    for name in CODECS:
        there = bool(getattr(getattr(imagecodecs, name, None), "available", False))
        part.facts[name] = "yes" if there else "no"
        if not there:
            part.troubles.append(f"masters compressed with {name} cannot be decoded: install imagecodecs again")
    for name in FEATURES:
        there = bool(features.check(name))
        part.facts[f"Pillow {name}"] = str(features.version(name) or "yes") if there else "no"
        if not there and name in ("littlecms2", "webp", "jpg"):
            part.troubles.append(f"Pillow lacks {name}: previews cannot be made; install pillow again")
    return part


def _terminal() -> Part:
    """What the screens will find; the terminal is not probed, because some answer with garbage."""
    size = shutil.get_terminal_size()
    encoding = (sys.stdout.encoding or "unknown").lower()
    part = Part("Terminal", {
        "terminal": "yes" if sys.stdout.isatty() else "no, a pipe or a file", "TERM": os.environ.get("TERM", "not set"),
        "COLORTERM": os.environ.get("COLORTERM", "not set"), "program": os.environ.get("TERM_PROGRAM", "not set"),
        "size": f"{size.columns}×{size.lines}", "encoding": encoding,
        "colours": Console().color_system or "none",
        "inside": ", ".join(name for name, key in (("tmux", "TMUX"), ("screen", "STY"), ("ssh", "SSH_CONNECTION"))
                            if os.environ.get(key)) or "nothing",
        "NO_COLOR": "set" if os.environ.get("NO_COLOR") else "not set"})
    if "utf" not in encoding:
        part.troubles.append(f"the encoding is {encoding}: names will be garbled; set LANG to one ending in UTF-8")
    if sys.stdout.isatty() and os.environ.get("TERM", "dumb") == "dumb":
        part.troubles.append("TERM is dumb: the screens will not open")
    return part


def _catalogue(session: Session) -> Part:
    home = session.home
    part = Part("Catalogue", {"folder": _veiled(home.folder)})
    if not home.database.exists():
        part.facts["state"] = "none yet"
        try:
            refuse_where_lost(home.database)
        except Damaged as error:
            part.facts["state"] = "gone"
            part.troubles.append(f"{error.message} {error.hint}")
        return part
    _room(part, home.folder)
    kind = filesystem(home.folder)
    part.facts["file system"] = kind or "unknown"
    if kind in SHARES:
        part.troubles.append("the catalogue is on a network share, where file locks are unreliable: move it to a disk"
                             " in this computer and set CATALOGUE_HOME")
    health = examine(home.database)
    part.facts.update({"schema": f"{health.schema} of {health.newest_schema}", "size": data_size(health.bytes),
                       "journal": health.journal})
    part.troubles.extend(health.troubles)
    if health.schema == health.newest_schema:
        with closing(read_only_database(home.database)) as db:
            part.facts.update({name.replace("_", " "): f"{count:,}" for name, count in pieces.counts(db).items()})
    backups = sorted(home.backups.glob("*")) if home.backups.is_dir() else []
    part.facts["backups"] = str(len(backups))
    if not backups:
        part.troubles.append("the catalogue has no backup: catalogue backup")
    return part


def _stores(session: Session) -> list[Part]:
    if not session.home.database.exists():
        return []
    try:
        with closing(read_only_database(session.home.database)) as db:
            held = [(store, stores.holding(db, store.id)) for store in stores.listed(db)]
            shared = on_one_disk(db)
            in_place = {store.id for store, _ in held if is_in_place(db, store, Path(store.root))}
    except CatalogueError:
        return []  # the catalogue's own part has said why
    numbers = {store.name: number for number, (store, _) in enumerate(held, 1)}
    parts = []
    for number, (store, holding) in enumerate(held, 1):
        root = Path(store.root)
        part = Part(f"Store {number} ({store.kind})", {"files": f"{holding.files:,}", "held": data_size(holding.bytes)})
        if store.id in in_place:
            part.facts["file system"] = filesystem(root) or "unknown"
            part.facts["writable"] = "yes" if os.access(root, os.W_OK) else "no"
            _room(part, root)
        else:
            part.facts["state"] = "offline"
        for where in ("disk", "server"):
            together = sorted(numbers[second if first == store.name else first] for first, second, server in shared
                              if store.name in (first, second) and bool(server) == (where == "server"))
            if together:
                names = ", ".join(f"store {number}" for number in together)
                part.facts[f"on one {where} with"] = f"{names}: they would fail together"
        parts.append(part)
    return parts


def _room(part: Part, folder: Path) -> None:
    usage = shutil.disk_usage(folder)
    part.facts["free"] = f"{data_size(usage.free)} of {data_size(usage.total)}"
    if usage.free < ROOM_LEAST:
        part.troubles.append(f"only {data_size(usage.free)} free")


def filesystem(folder: Path, mounts: Path = Path("/proc/mounts")) -> str:
    """The type of the file system that holds a folder, "" if the system does not say."""
    try:
        lines = mounts.read_text(encoding="utf-8", errors="surrogateescape").splitlines()
    except OSError:
        return ""
    best, kind = -1, ""
    for line in lines:
        fields = line.split()
        if len(fields) < 3:
            continue
        point = Path(fields[1].encode("latin-1", "replace").decode("unicode_escape"))  # spaces stand as \040
        if folder.absolute().is_relative_to(point) and len(point.parts) > best:
            best, kind = len(point.parts), fields[2]
    return kind


def _veiled(path: Path) -> str:
    """A path without the user's name in it."""
    try:
        return str(Path("~") / path.relative_to(Path.home()))
    except (ValueError, RuntimeError):
        return str(path)
