"""Advice that names a command: the command exists, and so does every option said with it."""

import ast
import re
from pathlib import Path

import click
import pytest

import catalogue
from catalogue.commands import command

PACKAGE = Path(catalogue.__file__).parent
PLACE = "PLACE"  # stands for what an f-string puts in
# what makes "catalogue X" a command to type and not a word of a sentence
ADVICE = re.compile(r"(?:^(?!catalogue rebuilt)|[:`(]\s?|\b(?:Run|run|Say|Try|with|Next|Undo|also|see|and)\s)"
                    r"catalogue ((?:--?[a-z]|[a-z])[^\n`;,)]*)")


def sentences() -> list[tuple[str, str]]:
    """Every text of the package, f-strings with ``PLACE`` for their values, as ``(module, text)``."""
    found = []
    for module in sorted(PACKAGE.rglob("*.py")):
        source = module.read_text(encoding="utf-8")
        if "catalogue " not in source:
            continue    # most advise nothing, and parsing them takes a second in every worker
        tree = ast.parse(source)
        inner = {id(value) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for value in node.values}
        for node in ast.walk(tree):
            if isinstance(node, ast.JoinedStr):
                text = "".join(str(v.value) if isinstance(v, ast.Constant) else PLACE for v in node.values)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inner:
                text = node.value
            else:
                continue
            found.append((str(module.relative_to(PACKAGE)), text))
    for template in sorted(PACKAGE.rglob("*.html")):
        found.append((template.name, template.read_text(encoding="utf-8")))
    return found


def advised(text: str) -> list[list[str]]:
    """Commands that a text tells people to type, as words."""
    return [found[1].split() for found in ADVICE.finditer(text)] if "catalogue " in text else []


@pytest.fixture(scope="module")
def advice() -> list[tuple[str, str]]:
    """Every command that the package advises, as ``(module, line)``; sought by who runs these tests, not by each worker
    that collects them."""
    return sorted({(module, " ".join(words)) for module, text in sentences() for words in advised(text)})


def fault(words: list[str]) -> str:
    """What is wrong with a command line; "" where all of it exists."""
    reached: click.Command = command
    for given in words:
        word = given.rstrip(".:?…").strip("'\"[]")
        if word.startswith("--"):
            name = word.partition("=")[0]
            known = {option for parameter in reached.params for option in parameter.opts + parameter.secondary_opts}
            if name not in known | {"--help", "--json"}:
                return f"{reached.name} has no option {name}"
        elif isinstance(reached, click.Group) and re.fullmatch("[a-z]+", word):
            inner = reached.get_command(click.Context(reached), word)
            if inner is None:
                return f"{reached.name} has no command {word}"
            reached = inner
    return ""


def test_the_search_sees_advice_and_the_check_can_fail(advice: list[tuple[str, str]]) -> None:
    assert len(advice) > 25
    assert advised("Next: catalogue alike --update") == [["alike", "--update"]]
    assert fault(["alike", "--update"]) and fault(["nosuch"]) and fault(["store", "drop"])
    assert not fault(["store", "add", "NAME", "FOLDER."]) and not fault(["findings"])


def test_every_command_that_is_advised_exists(advice: list[tuple[str, str]]) -> None:
    faults = {(module, line): fault(line.split()) for module, line in advice}
    assert {where: said for where, said in faults.items() if said} == {}


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_every_command_named_in_the_documents_exists(document: str) -> None:
    text = (PACKAGE.parent / document).read_text(encoding="utf-8")
    lines = [found[1] for found in re.finditer(r"(?m)(?:^|`)catalogue ((?:--?[a-z]|[a-z])[^\n`]*)", text)]
    assert len(lines) > 5
    faults = {line: fault(line.partition("#")[0].split()) for line in lines}
    assert {line: told for line, told in faults.items() if told} == {}
