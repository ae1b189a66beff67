"""Numbered placeholders (``?2``) are bound by name: Python 3.12 and newer warn of sequences, 3.14 refuses them.

Source: Python's documentation of sqlite3, "How to use placeholders to bind values in SQL queries".
"""

import ast
import re
import sqlite3
import sys
import warnings
from pathlib import Path
from typing import Any

import pytest

import catalogue
from catalogue.records import intake, upkeep_lists
from catalogue.records.connection import numbered_parameters
from catalogue.records.database import Database
from tests import recorded

RECORDS = sorted((Path(catalogue.__file__).parent / "records").rglob("*.py"))


def test_values_go_by_name_where_the_placeholders_have_numbers(db: Database) -> None:
    assert db.execute("SELECT ?2, ?1, ?2", ["one", "two"]).fetchone()[:] == ("two", "one", "two")
    assert db.execute("SELECT ?1", ("one",)).fetchone()[0] == "one"
    assert db.execute("SELECT ?, ?", ["one", "two"]).fetchone()[:] == ("one", "two")
    assert db.execute("SELECT :a", {"a": 1}).fetchone()[0] == 1
    db.execute("CREATE TEMP TABLE numbered (a, b)")
    db.conn.executemany("INSERT INTO numbered VALUES (?2, ?1)", [(1, 2), (3, 4)])
    assert [tuple(row) for row in db.execute("SELECT a, b FROM numbered ORDER BY a")] == [(2, 1), (4, 3)]


def test_the_driver_gets_a_mapping() -> None:
    assert numbered_parameters("SELECT ?1, ?2", [5, None]) == {"1": 5, "2": None}
    assert numbered_parameters("SELECT ?, ?", [5, 6]) == [5, 6]
    assert numbered_parameters("SELECT 1", ()) == ()


@pytest.mark.skipif(sys.version_info < (3, 12), reason="the driver warns from Python 3.12 on")
def test_no_query_of_this_kind_warns(db: Database) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error", DeprecationWarning)
        upkeep_lists.findings(db, "", None, 10)
        recorded.runs(db)
        intake.names_in(db, 1, "a")


def _statements(module: Path) -> list[str]:
    """Literals of a module; what is filled into one stands as a blank."""
    tree = ast.parse(module.read_text(encoding="utf-8"))
    inside = {id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) for part in ast.walk(node)
              if part is not node}
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            found.append("".join(part.value if isinstance(part, ast.Constant) and isinstance(part.value, str) else " "
                                 for part in node.values))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in inside:
            found.append(node.value)
    return found


@pytest.mark.parametrize("module", RECORDS, ids=lambda m: m.name)
def test_no_statement_mixes_numbered_and_plain_placeholders(module: Path) -> None:
    """A mapping has no value for a plain ``?``: the driver would refuse such a statement."""
    for sql in _statements(module):
        if re.search(r"\bSELECT\b|\bDELETE FROM\b|\bUPDATE\b|\bINSERT\b", sql) and re.search(r"\?[0-9]", sql):
            assert not re.search(r"\?(?![0-9])", sql), sql


def test_a_mixture_would_be_refused() -> None:
    """The rule above is the driver's."""
    connection: Any = sqlite3.connect(":memory:")
    with pytest.raises(sqlite3.ProgrammingError):
        connection.execute("SELECT ?1, ?", {"1": 1, "2": 2})
    connection.close()
