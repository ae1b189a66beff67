"""Printing for the command line: lines, tables, JSON and questions, with names made harmless for a terminal.

A :class:`Printer` prints lines. Whatever is in a line, a file's name, a title, a buyer, it stays one line and harmless:
see ``untrusted.visible``. What consists of several lines is printed line by line.
"""

import os
import sys
from collections.abc import Iterable, Sequence
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from catalogue.errors import CatalogueError
from catalogue.records.paths import escape_path
from catalogue.untrusted import visible, visible_json

if TYPE_CHECKING:
    from rich.console import Console


UNBROKEN = frozenset({"Date", "Order", "State", "Since"})   # columns that give room last in a narrow terminal
PIPE_WIDTH = 10_000     # characters: no row of a table is broken where a program reads


class Declined(CatalogueError):
    """A person said no, or could not be asked; the message says what was not done."""


class Interrupted(CatalogueError):
    """Ctrl-C; the message says what was done and what was not."""


class Printer:
    """Where people read: standard output or standard error, plain in a pipe and with ``NO_COLOR``."""

    def __init__(self, *, to_errors: bool = False) -> None:
        self._to_errors = to_errors

    def print(self, text: object = "", *, bold: bool = False) -> None:
        """One line, left to the terminal to wrap: a command in it can be copied in one piece."""
        line = visible(str(text))
        # click takes the code for bold out again where no terminal reads; a dumb one knows no codes at all
        styled = bold and os.environ.get("TERM", "dumb") not in ("dumb", "unknown")
        click.echo(click.style(line, bold=True) if styled else line, err=self._to_errors)

    def lines(self, texts: Iterable[object]) -> None:
        """Several lines; a line break within one of them is shown, not obeyed."""
        for text in texts:
            self.print(text)

    def field(self, name: str, text: str) -> None:
        """A name and what a person wrote to it, as many lines as it has, each of them indented; nothing for nothing."""
        if lines := text.splitlines():
            self.lines([f"  {name}: {lines[0]}", *(f"    {line}" for line in lines[1:])])

    def table(self, headings: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
        """Columns under headings."""
        from rich.table import Column, Table
        from rich.text import Text

        table = Table(*(Column(heading, overflow="fold", no_wrap=heading in UNBROKEN) for heading in headings),
                      box=None, pad_edge=False)
        for row in rows:
            table.add_row(*(Text(visible(str(value))) for value in row))
        console(to_errors=self._to_errors).print(table)


def console(*, to_errors: bool = False) -> "Console":
    """Rich's console, for tables and bars alone: it takes longer to load than many a command to run.

    No markup, no highlighting, no emoji codes.
    """
    from rich.console import Console

    terminal = (sys.stderr if to_errors else sys.stdout).isatty()
    return Console(stderr=to_errors, markup=False, highlight=False, emoji=False, soft_wrap=not terminal,
                   width=None if terminal else PIPE_WIDTH)


def undo_hint(event: int | None) -> list[str]:
    """The line that says how to undo a recorded change; "" if nothing was recorded."""
    return [f"Undo: catalogue undo {event}"] if event else []


def note(text: str) -> None:
    """One line on standard error."""
    click.echo(visible(text), err=True)


def print_json(data: object) -> None:
    """Data as JSON on standard output; controls and bidi controls as ``\\\\uXXXX``."""
    import json  # few want it

    click.echo(visible_json(json.dumps(plain(data), ensure_ascii=False, indent=2)))


def plain(value: object) -> Any:
    """Dataclasses, paths and dates as JSON knows them, bytes left out.

    Undecodable bytes of names stand as ``//xx``, as the catalogue itself keeps them: JSON has no way to hold them.
    """
    if is_dataclass(value) and not isinstance(value, type):
        # not asdict: it makes a Counter of the pairs of a Counter
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)
                if not isinstance(getattr(value, field.name), bytes)}
    if isinstance(value, dict):
        return {plain(str(k)): plain(v) for k, v in value.items() if not isinstance(v, bytes)}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(v) for v in value]
    if isinstance(value, Path):
        return plain(str(value))
    if isinstance(value, date | datetime):
        return value.isoformat()
    if isinstance(value, float):
        return value if isfinite(value) else None  # JSON knows neither NaN nor infinity
    if isinstance(value, str):
        return escape_path(value).encode("utf-8", "replace").decode()
    return value


def yes_or_no(question: str, *, otherwise: str, default: bool = False,
              unasked: str = "Use --yes when there is nobody to ask.") -> bool:
    """A question with two answers; ``unasked`` says how to answer it where nobody can be asked.

    Raises :class:`Declined`, saying ``otherwise`` (what was not done), on Ctrl-C and where nobody can answer.
    """
    try:
        return click.confirm(visible(question), default=default, err=True)
    except click.Abort:
        note("")
        raise Declined(otherwise, hint="" if sys.stdin.isatty() else unasked) from None


def ask(question: str, *, otherwise: str, default: bool = False) -> None:
    """Put a question; go on when the answer is yes. Raises :class:`Declined` when it is not, as :func:`yes_or_no`."""
    if not yes_or_no(question, otherwise=otherwise, default=default):
        raise Declined(otherwise)


def answer(question: str, *, default: str = "", otherwise: str) -> str:
    """A line typed by a person, ``default`` for an empty one. Raises :class:`Declined` as :func:`ask`."""
    try:
        typed = str(click.prompt(visible(question), default=visible(default) or None, err=True))
    except click.Abort:
        note("")
        raise Declined(otherwise) from None
    return default if typed == visible(default) else typed
