"""What the style sheets name is there: a widget that gets another name keeps its looks."""

import re
from pathlib import Path

import textual.widgets
from textual import containers, screen
from textual.command import SearchIcon

import catalogue.screens

ROOT = Path(catalogue.screens.__file__).parent
SELECTORS = " ".join(re.findall(r"([^{}]+)\{", re.sub(r"/\*.*?\*/", "", "".join(
    path.read_text() for path in sorted(ROOT.glob("*.tcss"))), flags=re.DOTALL)))
CODE = "\n".join(path.read_text() for path in sorted(ROOT.rglob("*.py")))
TEXTUALS = {*dir(containers), *dir(screen), *textual.widgets.__all__, SearchIcon.__name__, "CommandPalette"}


def test_every_type_that_a_style_sheet_names_is_a_class() -> None:
    ours = set(re.findall(r"^class (\w+)", CODE, re.MULTILINE))
    named = set(re.findall(r"(?<![\w#.:-])([A-Z]\w+)", SELECTORS))
    assert {"RowTable", "PiecePreview"} <= named
    assert named <= ours | TEXTUALS


def test_every_id_and_class_that_a_style_sheet_names_is_given_to_a_widget() -> None:
    strings = set(re.findall(r"[\w-]+", " ".join(re.findall(r'"([^"\n]*)"', CODE))))
    ids = set(re.findall(r"#([\w-]+)", SELECTORS))
    classes = {name for name in re.findall(r"\.([\w-]+)", SELECTORS) if not name.startswith("input--")}
    assert ids and classes
    assert ids | classes <= strings
