"""What every command shares: which catalogue, how to print, how to stop."""

import json
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, is_dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING, Any

import click

from catalogue.progress import Cancelled, Progress, Report, data_size
from catalogue.settings import Home, find_home

if TYPE_CHECKING:
    from rich.console import Console

    from catalogue.records.database import Database


@dataclass
class Session:
    """One call of the command line."""

    folder: Path | None = None
    as_json: bool = False

    @cached_property
    def home(self) -> Home:
        """The catalogue's place and settings, read once; ``folder`` is set by then."""
        return find_home(self.folder)

    def database(self) -> "Database":
        """The catalogue for reading and writing; made if absent. Refused on a seat that only looks."""
        from catalogue.errors import Refused
        from catalogue.records.database import open_database

        if self.home.settings.read_only:
            raise Refused("This catalogue is a copy to look at.", hint="Change it on the seat that keeps it.",
                          path=self.home.folder)
        return open_database(self.home.database)

    def existing(self) -> "Database":
        """The catalogue, which must exist: for commands that only look."""
        from catalogue.records.database import open_database, read_only_database

        home = self.home
        looking = read_only_database(home.database)
        if home.settings.read_only:
            return looking
        looking.close()
        return open_database(home.database)

    def emit(self, data: object, text: "Callable[[Console], None]") -> None:
        """Print ``data`` as JSON, or let ``text`` print for people."""
        if self.as_json:
            click.echo(json.dumps(plain(data), ensure_ascii=False, indent=2))
        else:
            text(console())


def plain(value: object) -> Any:
    """Dataclasses, paths and dates as JSON knows them; bytes left out, undecodable names with a replacement sign."""
    if is_dataclass(value) and not isinstance(value, type):
        return plain(asdict(value))
    if isinstance(value, dict):
        return {str(k): plain(v) for k, v in value.items() if not isinstance(v, bytes)}
    if isinstance(value, list | tuple | set):
        return [plain(v) for v in value]
    if isinstance(value, Path):
        return plain(str(value))
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode() if value.isascii() is False else value
    return value


def console(*, to_errors: bool = False) -> "Console":
    """Where people read. Plain in a pipe and with ``NO_COLOR``; names are printed as they are, never as markup."""
    from rich.console import Console

    return Console(stderr=to_errors, markup=False, highlight=False, emoji=False, soft_wrap=not sys.stdout.isatty())




def json_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command ``--json``."""

    def take(context: click.Context, _: click.Parameter, value: bool) -> None:
        if value:
            context.ensure_object(Session).as_json = True

    return click.option("--json", is_flag=True, expose_value=False, callback=take,
                        help="Print for programs, as JSON.")(command)


@contextmanager
def interruptible() -> Iterator[Cancelled]:
    """A cancel check that Ctrl-C makes true; a second Ctrl-C stops at once."""
    asked = False

    def ask(_: int, __: FrameType | None) -> None:
        nonlocal asked
        if asked:
            raise KeyboardInterrupt
        asked = True
        click.echo("Stopping after the present file; press again to stop at once.", err=True)

    previous = signal.signal(signal.SIGINT, ask)
    try:
        yield lambda: asked
    finally:
        signal.signal(signal.SIGINT, previous)


@contextmanager
def bar() -> Iterator[Report]:
    """A progress bar on standard error: files, bytes, rate and time left; nothing where no one watches."""
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    with Bar(TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TextColumn("{task.fields[size]}"),
             TimeRemainingColumn(compact=True), console=console(to_errors=True), transient=True,
             disable=not sys.stderr.isatty()) as shown:
        task = shown.add_task("", total=None, size="")
        started: dict[str, float] = {}

        def report(progress: Progress) -> None:
            begun = started.setdefault(progress.stage, shown.get_time())
            spent = max(shown.get_time() - begun, 1e-3)
            size = ""
            if progress.bytes_done:
                size = f"{data_size(progress.bytes_done)} at {data_size(progress.bytes_done / spent)}/s"
            shown.update(task, description=progress.stage, completed=progress.done, total=progress.total, size=size)

        yield report
