"""The help of every command: each option is explained, values have one name, and lists of commands are cut nowhere."""

from collections.abc import Iterator

import click
import pytest

from catalogue.commands import command as program
from catalogue.commands.session import Integer

VAGUE = ("INTEGER", "FLOAT", "PATH", "FILENAME", "9223372036854775807")  # names and limits of click's own types


def commands(group: click.Command, words: str = "catalogue",
             parent: click.Context | None = None) -> Iterator[tuple[str, click.Context]]:
    """Every command and group with its words, as on a terminal of 80 columns."""
    context = click.Context(group, info_name=words.rpartition(" ")[2], parent=parent, terminal_width=80)
    yield words, context
    if isinstance(group, click.Group):
        for name in group.list_commands(context):
            inner = group.get_command(context, name)
            assert inner is not None
            yield from commands(inner, f"{words} {name}", context)


ALL = dict(commands(program))


@pytest.mark.parametrize("words", ALL)
def test_every_option_is_explained(words: str) -> None:
    context = ALL[words]
    options = [p for p in context.command.get_params(context) if isinstance(p, click.Option)]
    assert [option.opts[0] for option in options if not (option.help or "").endswith(".")] == []
    shown = context.get_help()
    assert [name for name in VAGUE if name in shown] == []


@pytest.mark.parametrize("words", [words for words, context in ALL.items() if isinstance(context.command, click.Group)])
def test_no_list_of_commands_is_cut_at_80_columns(words: str) -> None:
    listed = ALL[words].get_help().partition("Commands:")[2]
    assert listed and "..." not in listed


def test_the_help_is_that_of_all_commands() -> None:
    assert {"catalogue", "catalogue order repeat", "catalogue export bag"} <= ALL.keys() and len(ALL) > 60


def test_a_number_that_the_catalogue_cannot_hold_is_refused() -> None:
    """SQLite's integers have 64 bits (https://sqlite.org/datatype3.html)."""
    assert Integer().convert(str(2**63 - 1), None, None) == 2**63 - 1
    for text in (str(2**63), str(-2**63 - 1), "seven"):
        with pytest.raises(click.BadParameter):
            Integer().convert(text, None, None)
