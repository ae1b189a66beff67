"""Every command that writes is among those that ``scripts/faults.py`` lets fail; a new one fails here until it is."""

import importlib
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import click
import pytest

from catalogue.commands import command as program

SCRIPTS = Path(__file__).parents[2] / "scripts"


@pytest.fixture
def works(monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    monkeypatch.syspath_prepend(str(SCRIPTS))
    return importlib.import_module("faults_works")


def leaves(group: click.Group, above: str = "") -> Iterator[str]:
    """Every command that can be called, by its words."""
    context = click.Context(group)
    if group.invoke_without_command:
        yield above
    for name in group.list_commands(context):
        found, words = group.get_command(context, name), f"{above} {name}".strip()
        if isinstance(found, click.Group):
            yield from leaves(found, words)
        else:
            yield words


def unstruck(commands: list[str], works: ModuleType) -> list[str]:
    called = {works.command_of(work.call, commands) for work in works.WORKS}
    return [name for name in commands if name not in called and name not in works.ONLY_READ]


def test_every_command_that_writes_is_struck(works: ModuleType) -> None:
    assert isinstance(program, click.Group)
    commands = list(leaves(program))
    assert unstruck(commands, works) == [], "add it to WORKS in scripts/faults_works.py, or say why it only reads"
    assert [name for name in works.ONLY_READ if name not in commands] == []
    called = {works.command_of(work.call, commands) for work in works.WORKS}
    assert called.isdisjoint(works.ONLY_READ) and "" not in called


def test_a_new_command_would_be_seen(works: ModuleType) -> None:
    """The check above can fail."""
    assert unstruck(["tidy", "order add", "order burn", "find"], works) == ["order burn"]


def test_what_an_option_makes_of_a_command_is_struck_too(works: ModuleType) -> None:
    assert isinstance(program, click.Group)
    commands = list(leaves(program))
    called = {f"{works.command_of(work.call, commands)} {word}" for work in works.WORKS for word in work.call}
    assert [way for way in works.MORE_WAYS if way not in called] == []


def test_works_have_names_of_their_own(works: ModuleType) -> None:
    names = [work.name for work in works.WORKS]
    assert len(names) == len(set(names))
