"""What every command shares: which catalogue, how to print, how its parameters are read."""

import os
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from catalogue.commands.printing import Printer, note, print_json
from catalogue.dates import read_day
from catalogue.errors import ReadOnly
from catalogue.settings import Home, find_home

if TYPE_CHECKING:
    from catalogue.records.database import Database

@dataclass
class Session:
    """One invocation of the command line."""

    folder: Path | None = None
    as_json: bool = False
    stopped: str = ""   # after Ctrl-C: the message for the end; the exit code is then 2
    _open: "list[Database]" = field(default_factory=list)

    @cached_property
    def home(self) -> Home:
        """The catalogue's place and settings, read once; ``folder`` is set by then."""
        return find_home(self.folder)

    def database(self) -> "Database":
        """The catalogue for reading and writing; made if absent. Refused on a workstation that only looks."""
        from catalogue.records.database import open_database

        self._refuse_to_write_on_a_read_only_seat()
        self._tell_of_upgrade()
        return self._kept(open_database(self.home.database))

    def looking(self) -> "Database":
        """The catalogue, which must exist, to read alone: works where it cannot be written."""
        from catalogue.records.database import open_for_reading

        self._tell_of_upgrade()
        return self._kept(open_for_reading(self.home.database))

    def existing(self) -> "Database":
        """The catalogue, which must exist, for reading and writing. Refused on a workstation that only looks."""
        from catalogue.records.database import open_database, read_only_database

        self._refuse_to_write_on_a_read_only_seat()
        self._tell_of_upgrade()
        read_only_database(self.home.database).close()
        return self._kept(open_database(self.home.database))

    def _tell_of_upgrade(self) -> None:
        from catalogue.records.database import UPGRADING, needs_upgrade

        if needs_upgrade(self.home.database):
            note(UPGRADING)

    def close(self) -> None:
        """Close every opened catalogue, which merges its write-ahead log into the file and removes it."""
        while self._open:
            self._open.pop().close()

    def _kept(self, db: "Database") -> "Database":
        self._open.append(db)
        return db

    def _refuse_to_write_on_a_read_only_seat(self) -> None:
        """Raises Refused before a command does anything: many write into stores before they write the catalogue."""
        if self.home.settings.read_only:
            raise ReadOnly(self.home.folder)

    def day(self, text: str | None) -> str:
        """A date as typed in the shop's form, in ISO form; "" for none. Raises ValueError."""
        return read_day(text, self.home.settings.dates) if text else ""

    def emit(self, data: object, text: Iterable[object] | Callable[[Printer], None], trouble: str = "") -> None:
        """Print ``data`` as JSON, or for people the lines of ``text``, or what it prints.

        ``trouble`` is among the lines, and goes to standard error beside the JSON.
        """
        if self.as_json:
            print_json(data)
            if trouble:
                note(trouble)
        elif callable(text):
            text(Printer())
        else:
            Printer().lines(text)


def json_option() -> click.Option:
    """The option ``--json``, which the session notes."""

    def take(context: click.Context, _: click.Parameter, value: bool) -> None:
        if value:
            context.ensure_object(Session).as_json = True

    return click.Option(["--json"], is_flag=True, expose_value=False, callback=take,
                        help="Print for programs, as JSON.")


class SessionCommand(click.Command):
    """A command with ``--json``, whose function takes the session first and returns the exit code, None for 0."""

    def __init__(self, name: str | None, **settings: Any) -> None:
        super().__init__(name, **settings)
        if self.callback:
            self.params.append(json_option())

    def invoke(self, ctx: click.Context) -> None:
        """Raises click's Exit for a different code from 0."""
        session = ctx.ensure_object(Session)
        try:
            code = ctx.invoke(self.callback, session, **ctx.params) if self.callback else None
        finally:
            session.close()
        if code:
            ctx.exit(code)


class SessionGroup(click.Group, SessionCommand):
    """A group of such commands."""

    command_class = SessionCommand


def named_values(texts: Iterable[str], form: str, option: str) -> dict[str, str]:
    """What several ``name=value`` of an option say. Raises BadParameter for one that is not of that ``form``."""
    values = {}
    for text in texts:
        name, sign, value = text.partition("=")
        if not sign or not name.strip():
            raise click.BadParameter(f"{text!r} is not {form}.", param_hint=option)
        values[name.strip()] = value.strip()
    return values


def need_terminal() -> None:
    """Raises UsageError if the screens cannot be drawn: without a terminal at both ends, or on a dumb one."""
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise click.UsageError("The screens need a terminal. Use a command instead; list them with: catalogue --help")
    if os.environ.get("TERM", "") in ("dumb", "unknown"):
        raise click.UsageError(f"The screens cannot be drawn on this terminal (TERM is {os.environ['TERM']}). Use a "
                               "command instead; list them with: catalogue --help")


class Text(click.ParamType[str]):
    """Text typed by a person: bytes that are not UTF-8 are refused, not passed on."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The value itself. Raises BadParameter."""
        try:
            str(value).encode()
        except UnicodeEncodeError:
            self.fail(f"{value!r} is not UTF-8 text.", param, ctx)
        return value


class Integer(click.types.IntParamType):
    """A whole number that SQLite's integers can hold, which have 64 bits."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The number. Raises BadParameter."""
        number = super().convert(value, param, ctx)
        if not -2**63 <= number < 2**63:
            self.fail(f"{number} is too large.", param, ctx)
        return number


# What the help calls the value of an option that does not say it itself, by the option's name.
VALUE_NAMES = {
    "artist": "NAME", "bed": "NAME", "border": "MM", "buyer": "NAME", "closed": "DATE", "currency": "CODE",
    "date": "DATE", "from": "DATE", "holder": "NAME", "into": "NAME", "kind": "KIND", "month": "MONTH",
    "name": "NAME", "new": "TITLE", "number": "NUMBER", "numbers": "NUMBERS", "opened": "DATE", "per-print": "AMOUNT",
    "percent": "PERCENT", "piece": "PIECE", "price": "AMOUNT", "replacing": "NUMBERS", "scan": "SCAN", "since": "DATE",
    "size": "SIZE", "status": "STATE", "store": "STORE", "title": "TITLE", "to": "DATE", "unit-price": "AMOUNT",
    "wrap": "MM", "year": "YEAR",
}


def prepare_parameters(command: click.Command) -> None:
    """Make a command and its subcommands refuse what the catalogue cannot hold, and name values consistently in the
    help.

    Text that is not UTF-8 and numbers beyond 64 bits are refused.
    """
    for parameter in command.params:
        if parameter.type is click.INT:
            parameter.type = Integer()
        if isinstance(parameter, click.Option) and parameter.metavar is None and not parameter.is_flag:
            parameter.metavar = _value_name(parameter)
        if parameter.type is click.STRING:
            parameter.type = Text()
    for inner in command.commands.values() if isinstance(command, click.Group) else ():
        prepare_parameters(inner)


def _value_name(option: click.Option) -> str | None:
    """What the help calls an option's value; None if click's own name, or its list of choices, says it."""
    if isinstance(option.type, click.Path):
        return "FILE" if option.type.file_okay else "FOLDER"
    if isinstance(option.type, Integer | click.IntRange | click.FloatRange):
        return "NUMBER"
    return VALUE_NAMES.get(option.opts[0].removeprefix("--")) if option.type is click.STRING else None
