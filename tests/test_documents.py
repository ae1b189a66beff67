"""README.md and DEVELOPERS.md name only what there is: modules, functions, scripts with their options, headings."""

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
# `room/module.function`, `room/module.Class.method`, `room/module.py`, `room/`; in catalogue/ unless it says so
NAMED = re.compile(r"(?P<path>[a-z_]+(?:/[a-z_0-9]+)*/?)(?:\.(?P<name>[A-Za-z_.]+))?")


def text_of(document: str) -> str:
    return (ROOT / document).read_text(encoding="utf-8")


def quoted(text: str) -> list[str]:
    """What stands between backticks on one line."""
    return re.findall(r"`([^`\n]+)`", text)


def defined(module: Path) -> set[str]:
    """Names that a module defines or imports, with those of its classes as ``Class.name``."""
    names = set()
    for node in ast.parse(module.read_text(encoding="utf-8")).body:
        names |= _names(node)
        if isinstance(node, ast.ClassDef):
            names |= {f"{node.name}.{inner}" for statement in node.body for inner in _names(statement)}
    return names


def _names(node: ast.stmt) -> set[str]:
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
        return {node.name}
    if isinstance(node, ast.ImportFrom | ast.Import):
        return {alias.asname or alias.name for alias in node.names}
    targets = node.targets if isinstance(node, ast.Assign) else [node.target] if isinstance(node, ast.AnnAssign) else []
    return {target.id for target in targets if isinstance(target, ast.Name)}


def missing(words: str) -> str:
    """What is not there of a path or dotted name in the tree; "" where all of it is, or the words are neither."""
    match = NAMED.fullmatch(words)
    if match is None or "/" not in words:
        return ""
    path, name = match["path"], match["name"]
    base = next((root / path for root in (ROOT, ROOT / "catalogue") if (root / path.partition("/")[0]).exists()), None)
    if base is None:
        return ""   # a path of a catalogue's folder, or no path
    if name is None:
        return "" if base.exists() or base.with_suffix(".py").exists() else f"there is no {path}"
    whole = base.with_name(f"{base.name}.{name}")
    if whole.exists():
        return ""
    module = base.with_suffix(".py")
    if not module.exists():
        return f"there is no {path}.py"
    return "" if name in defined(module) else f"{path}.py has no {name}"


def script_faults(line: str) -> str:
    """What is wrong with a line that runs a script; "" where it exists and its source has every option."""
    match = re.match(r"(?:[A-Z]+=\S+ )*python3? (?:-m )?(scripts[/.][a-z_]+)(?:\.py)?(.*)", line)
    if match is None:
        return ""
    script = ROOT / f"{match[1].replace('.', '/')}.py"
    if not script.exists():
        return f"there is no {script.name}"
    source = script.read_text(encoding="utf-8")
    absent = [option for option in re.findall(r"--[a-z][a-z-]*", match[2].partition("#")[0])
              if f'"{option}"' not in source and f'"--{option.removeprefix("--no-")}", action=' not in source]
    return f"{script.name} has no {', '.join(absent)}" if absent else ""


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_module_and_function_that_is_named_exists(document: str) -> None:
    named = quoted(text_of(document))
    assert [told for words in named if (told := missing(words) or unknown(words))] == []


def unknown(words: str) -> str:
    """What is not there of ``module.name``, or of a name with an underscore; "" where it is there, or neither."""
    if match := re.fullmatch(r"([a-z_]+)\.([A-Za-z_]{3,})", words):
        modules = list((ROOT / "catalogue").rglob(f"{match[1]}.py"))
        if not modules or match[2] in ("py", "sql", "toml", "csv") or f"CREATE TABLE {match[1]} (" in sources():
            return ""   # a file, or a column of a table
        return "" if any(match[2] in defined(module) for module in modules) else f"no {match[1]}.py has {match[2]}"
    if re.fullmatch(r"[A-Za-z]*_[A-Za-z_]+", words):
        return "" if re.search(rf"\b{words}\b", sources()) else f"{words} is nowhere"
    return ""


@cache
def sources() -> str:
    """All that the program and its tests are made of, as one text; this module left out."""
    files = [path for place in ("catalogue", "tests", "scripts") for path in (ROOT / place).rglob("*.*")
             if path.suffix in (".py", ".sql", ".toml") and path != Path(__file__)]
    return "\n".join(path.read_text(encoding="utf-8") for path in files)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_script_and_option_that_is_named_exists(document: str) -> None:
    text = text_of(document)
    lines = [*quoted(text), *re.findall(r"(?m)^python3? .*$", text)]
    assert sum(line.startswith("python") for line in lines) >= 2
    assert [told for line in lines if (told := script_faults(line))] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_link_within_a_document_leads_to_a_heading(document: str) -> None:
    """Anchors as GitHub makes them: lower case, spaces as hyphens, other signs left out."""
    text = text_of(document)
    anchors = {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-")
               for heading in re.findall(r"(?m)^#+ (.*)$", text)}
    assert set(re.findall(r"\]\(#([^)]*)\)", text)) - anchors == set()


def test_the_checks_can_fail() -> None:
    assert missing("ledger/repeat.nosuch") and missing("ledger/nosuch.record") and missing("tests/nosuch/")
    assert missing("screens/dialogs/repeat.RepeatDialog.nosuch")
    assert not missing("ledger/repeat.record") and not missing("scripts/check.py") and not missing("screens/pages/")
    assert not missing("screens/dialogs/repeat.RepeatDialog.action_record") and not missing("previews/")
    assert unknown("statements.nosuch") and unknown("no_such_name") and not unknown("statements.make_triggers")
    assert script_faults("python scripts/nosuch.py") and script_faults("python3 scripts/check.py --nosuch")
    assert not script_faults("python3 scripts/demo.py --no-screens   # told")
