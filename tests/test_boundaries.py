"""Boundaries between the rooms: who may import whom, where SQL lives, what a start costs."""

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import catalogue
from catalogue.records import orders, pieces
from catalogue.records.database import open_database, transaction
from catalogue.settings import Home

PACKAGE = Path(catalogue.__file__).parent
HEAVY = ("textual", "cv2", "numpy", "tifffile", "imagecodecs", "PIL", "faiss", "imagehash", "sqlite_utils",
         "sqlite3", "jinja2", "rapidfuzz", "asyncio", "multiprocessing", "importlib.metadata", "rich.table",
         "rich.progress")
MODULES = sorted(PACKAGE.rglob("*.py"))


def test_layers_hold() -> None:
    """The contracts in pyproject.toml, by import-linter."""
    checked = subprocess.run([sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()"],
                             cwd=PACKAGE.parent, capture_output=True, text=True, check=False)
    assert checked.returncode == 0, checked.stdout + checked.stderr


@cache
def tree_of(module: Path) -> ast.Module:
    return ast.parse(module.read_text(encoding="utf-8"))


@pytest.fixture(scope="module", autouse=True)
def trees_forgotten() -> Iterator[None]:
    """Each module is parsed once for all of these tests; nobody looks through a million nodes for garbage later."""
    yield
    tree_of.cache_clear()


def _strings(module: Path) -> list[str]:
    tree = tree_of(module)
    docs = {id(node.body[0].value) for node in ast.walk(tree)
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef)
            and node.body and isinstance(node.body[0], ast.Expr)}
    return [node.value for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs]


# They say nothing of what a value is.
NAMELESS = {"found", "one", "kept", "told", "here", "had", "said", "what", "alone", "apart", "called", "settle"}


def bound_names(tree: ast.AST) -> set[str]:
    """Names that a module gives to values, parameters, fields, functions and types."""
    names = set()
    for node in ast.walk(tree):
        match node:
            case ast.Name(id=name, ctx=ast.Store()) | ast.arg(arg=name):
                names.add(name)
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name) | ast.ExceptHandler(name=str(name)):
                names.add(name)
            case ast.alias(name=name, asname=other):
                names.add(other or name)
    return names


def test_a_name_says_what_it_names() -> None:
    assert {m: names for m in MODULES if (names := bound_names(tree_of(m)) & NAMELESS)} == {}


def test_every_way_to_bind_a_name_is_seen() -> None:
    code = ("import x as a\nclass b:\n    c: int\ndef d(e, *f, **g):\n    for h in (i := j):\n        pass\n"
            "try:\n    pass\nexcept k as l:\n    pass\nwith m as n:\n    o, p = q\n[r for s in t]\n")
    assert bound_names(ast.parse(code)) == set("abcdefghilnops")


def test_every_function_of_the_records_says_what_it_gives() -> None:
    modules = [m for m in MODULES if m.relative_to(PACKAGE).parts[0] == "records"]
    assert [(m.name, node.name) for m in modules for node in tree_of(m).body if isinstance(node, ast.FunctionDef)
            and not node.name.startswith("_") and not ast.get_docstring(node)] == []


SQL = re.compile(r"\bSELECT\b.*\bFROM\b|\bINSERT\s+(OR \w+\s+)?INTO\b|\bUPDATE\s+\w+\s+SET\b|\bDELETE\s+FROM\b|"
                 r"\bCREATE\s+(TEMP\s+)?(TABLE|INDEX|VIRTUAL)\b|\bPRAGMA\b", re.DOTALL)


def test_only_the_records_speak_sql() -> None:
    modules = [m for m in MODULES if "records" not in m.relative_to(PACKAGE).parts]
    assert [(m, text) for m in modules for text in _strings(m) if SQL.search(text)] == []


def test_the_sql_pattern_sees_sql() -> None:
    """The check above can fail: it finds SQL where SQL is meant to be."""
    assert any(SQL.search(text) for text in _strings(PACKAGE / "records" / "files.py"))


def test_help_loads_nothing_heavy() -> None:
    """What keeps the start quick, by name; the time itself is for the benchmarks."""
    code = ("import sys\nfrom catalogue.commands import main\nsys.argv = ['catalogue', '--help']\n"
            "try:\n main()\nexcept SystemExit: pass\n"
            f"print([m for m in {HEAVY!r} if m in sys.modules])")
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip().endswith("[]"), shown.stdout
    assert "Commands:" in shown.stdout


@pytest.mark.parametrize(("words", "needless"), [
    (["find", "harbour"], ("records.pieces", "records.orders")),
    (["show", "harbour"], ("records.search", "records.effective", "records.events", "storage.atomic")),
    (["order", "list"], ("records.search", "records.pieces", "records.effective", "storage.atomic", "progress"))],
    ids=["find", "show", "order list"])
def test_a_command_that_reads_loads_nothing_heavy(home: Home, words: list[str], needless: tuple[str, ...]) -> None:
    """Find, show and order list answer at once: no picture library, no Textual, no Rich, none of what writes, and none
    of what other commands need."""
    db = open_database(home.database)
    with transaction(db):
        piece = pieces.piece_called(db, pieces.artist_called(db, "Ada Quill").id, "Harbour", "2020")
        orders.add_line(db, orders.save(db, "7", "2021-01-01", buyer="Ann Field", status="printed"),
                        orders.NewLine(piece, 300, 200, 1, "cotton rag"))
    db.close()
    code = ("import sys\nfrom catalogue.commands import main\n"
            f"sys.argv = ['catalogue', '--catalogue', {str(home.folder)!r}, *{words!r}]\n"
            "try:\n main()\nexcept SystemExit as end: print('exit', end.code)\n"
            f"heavy = [*{HEAVY!r}, 'rich', *{['catalogue.' + name for name in needless]}, 'catalogue.records.backup',"
            " 'catalogue.records.journal']\n"
            "print([m for m in heavy if m in sys.modules and m != 'sqlite3'])")
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "Harbour" in shown.stdout
    assert shown.stdout.endswith("exit 0\n[]\n"), shown.stdout + shown.stderr


def test_commands_import_no_picture_library_before_they_are_called() -> None:
    """A command is imported when it is called, so its imports stand at the top; only those are within functions that
    bring the picture libraries, processes or Textual, which help, completion and a mistyped option need not wait for,
    or what one way of calling the command needs.
    """
    code = ("import pkgutil, sys, importlib\nimport catalogue.commands as room\n"
            "for m in pkgutil.iter_modules(room.__path__): importlib.import_module(f'catalogue.commands.{m.name}')\n"
            f"print([m for m in {HEAVY!r} if m in sys.modules and m != 'sqlite3'])")
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "[]", shown.stdout


def test_every_command_in_the_table_loads_and_explains_itself() -> None:
    from importlib import import_module

    import click

    from catalogue.commands import COMMANDS

    for name, (module, text) in COMMANDS.items():
        loaded = import_module(f"catalogue.commands.{module}").command
        assert isinstance(loaded, click.Command), name
        assert text.endswith("."), name
        assert loaded.help, name


def test_no_module_imports_itself_in_a_circle() -> None:
    """Imports within functions count; those for types alone do not."""
    modules = {".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(".__init__"): path
               for path in PACKAGE.rglob("*.py")}
    graph: dict[str, set[str]] = {}
    for name, path in modules.items():
        tree = tree_of(path)
        guarded = [node for node in ast.walk(tree)
                   if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"]
        for_types = {inner for node in guarded for inner in ast.walk(node)}
        froms = [node for node in ast.walk(tree) if isinstance(node, ast.ImportFrom) and node not in for_types]
        named = {whole if (whole := f"{node.module}.{alias.name}") in modules else str(node.module)
                 for node in froms for alias in node.names}
        graph[name] = (named & modules.keys()) - {name}
    TopologicalSorter(graph).prepare()     # raises CycleError, which names the circle


def test_an_operation_loads_no_user_interface() -> None:
    """No operation loads rich or Textual, whatever it imports on its way."""
    code = ("import pkgutil, sys, importlib\nimport catalogue.operations as room\n"
            "names = [m.name for m in pkgutil.iter_modules(room.__path__)]\n"
            "for name in names: importlib.import_module(f'catalogue.operations.{name}')\n"
            "print(len(names) > 5, [m for m in sys.modules if m.partition('.')[0] in ('rich', 'textual')"
            " or m.startswith(('catalogue.commands', 'catalogue.screens'))])")
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout.strip() == "True []", shown.stdout


def imported(module: Path) -> list[tuple[str, str]]:
    """Each ``(module, name)`` that a file imports anywhere; the name is "" for a whole module."""
    found = []
    for node in ast.walk(tree_of(module)):
        if isinstance(node, ast.ImportFrom):
            found += [(node.module or "", alias.name) for alias in node.names]
        elif isinstance(node, ast.Import):
            found += [(alias.name, "") for alias in node.names]
    return found


def test_an_operation_imports_no_user_interface() -> None:
    modules = [m for m in MODULES if "operations" in m.relative_to(PACKAGE).parts]
    assert [(m, name) for m in modules for name, _ in imported(m)
            if name.partition(".")[0] in ("click", "rich", "textual")] == []


SERVICES = ("intake", "sheets", "ledger", "likeness", "fixity", "indexing")
# What commands and screens may ask the services themselves: it reads, words, or works on plain values. Whatever
# writes, to the catalogue or to a disk, is an operation.
READ_ONLY = {
    "fixity.advice": {"next_step", "damage_of"},
    "fixity.backup": {"generations"},
    "fixity.bag_check": {"check_bag"},
    "fixity.levels": {"levels"},
    "fixity.restore": {"find_file"},
    "fixity.set_aside": {"set_aside_files"},
    "indexing.cluster": {"connected"},
    "indexing.crawl": {"crawl"},
    "fixity.copies": {"all_on_one_disk"},
    "indexing.locating": {"has_lost_marker", "is_in_place", "is_same_disk", "locate_store", "marked_elsewhere",
                          "on_one_disk", "read_marker"},
    "indexing.workers": {"processes"},
    "intake.subprocess_reading": {"read_in_subprocess"},
    "intake.capture": {"parse_notes"},
    "intake.moving": {"cut_short"},
    "intake.proposals": {"with_answers", "apart_from_stores"},
    "intake.removing": {"copies_required"},
    "intake.sidecars": {"description_of", "files_to_describe"},
    "intake.tidy": {"plan_tidying"},
    "ledger.artist_terms": {"in_words"},
    "ledger.buyers": {"find_buyer"},
    "ledger.editions": {"label", "state"},
    "ledger.order_filter": {"read_filter"},
    "ledger.periods": {"between", "month", "quarter", "take_period", "year"},
    "ledger.prices": {"stated_prices"},
    "ledger.print_recipe": {"earlier_recipe", "planned_print"},
    "ledger.repeat": {"propose"},
    "ledger.rescans": {"advice", "captures"},
    "ledger.values": {"margin_mm", "measured_size", "shown_prints", "shown_size", "size_mm", "print_size_mm"},
    "ledger.whereabouts": {"place_in_words", "whereabouts"},
    "likeness.finding": {"find_picture"},
    "likeness.service": {"groups"},
    "likeness.tiling": {"tiling"},
    "sheets.job": {"job_sheet"},
    "sheets.layout": {"print_layout", "recipe_layout"},
}


def used_of_services(module: Path) -> set[str]:
    """Functions of services that a file imports, or reaches through a module it imports, as ``room.module.name``."""
    tree = tree_of(module)
    found, whole = set(), {}
    for node in ast.walk(tree):
        if not isinstance(node, ast.ImportFrom) or not (node.module or "").startswith("catalogue."):
            continue
        source = (node.module or "").removeprefix("catalogue.")
        if source.partition(".")[0] not in SERVICES:
            continue
        for alias in node.names:
            if (PACKAGE / source.replace(".", "/") / f"{alias.name}.py").exists():
                whole[alias.asname or alias.name] = f"{source}.{alias.name}"
            else:
                found.add(f"{source}.{alias.name}")
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id in whole:
            found.add(f"{whole[node.value.id]}.{node.attr}")
    return {name for name in found if name.rpartition(".")[2][:1].islower()}  # types and constants write nothing


INTERFACES = [m for m in MODULES if m.relative_to(PACKAGE).parts[0] in ("commands", "screens")]


def test_commands_and_screens_write_through_operations_alone() -> None:
    allowed = {f"{source}.{name}" for source, names in READ_ONLY.items() for name in names}
    assert {m: used for m in INTERFACES if (used := used_of_services(m) - allowed)} == {}
    assert [(m, name) for m in INTERFACES for _, name in imported(m) if name.endswith("transaction")] == []


def test_every_reading_function_of_the_list_is_used() -> None:
    """What nobody imports is taken off the list, so that it stays short and true."""
    used = set().union(*(used_of_services(module) for module in INTERFACES))
    assert {f"{source}.{name}" for source, names in READ_ONLY.items() for name in names} - used == set()
