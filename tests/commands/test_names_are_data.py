"""Whatever files, people and tables are called, no terminal obeys it: every command, over an archive of hostile names.

Which characters: C0, DEL and C1 of ECMA-48; embeddings, overrides, isolates and marks of UAX 9; UAX 14's separators.
"""

import ast
import hashlib
import json
import re
import sys
from collections.abc import Callable, Iterator
from io import StringIO
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st

import catalogue.commands
from catalogue.commands import COMMANDS, main
from catalogue.commands import command as program
from catalogue.commands.printing import plain
from catalogue.commands.watching import bar
from catalogue.progress import Progress
from catalogue.untrusted import visible, visible_json

HOSTILE = "\x1b[31m\x07\u202eexe\x9b2J\u2066\x7f\u2028\n\r\t"
HARMFUL = re.compile("[\0-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")

# every command that there is, with words that make it print names; {…} are places of the archive below
CALLS: dict[str, list[list[str]]] = {
    "": [["nosuch" + HOSTILE], ["--nosuch" + HOSTILE], []],
    "store add": [["store", "add", "other" + HOSTILE, "{other}", "--marker"],
                  ["store", "add", HOSTILE, "{none}"], ["store", "add", "main" + HOSTILE, "{more}", "--marker"]],
    "store list": [["store", "list"]],
    "store move": [["store", "move", "other" + HOSTILE, "{other}"], ["store", "move", HOSTILE, "{none}"]],
    "store retire": [["store", "retire", "other" + HOSTILE], ["store", "retire", "other" + HOSTILE, "--yes"]],
    "index": [["index", "--again", "--workers", "1"], ["index", "nosuch" + HOSTILE]],
    "findings": [["findings"], ["findings", "--kind", HOSTILE], ["findings", "--store", HOSTILE]],
    "find": [["find", "quill"], ["find", "harbour"], ["find", "buyer"], ["find", HOSTILE],
             ["find", "--picture", "{master}"], ["find", "--picture", "{none}"]],
    "show": [["show", "1"], ["show", HOSTILE], ["show", "quill"]],
    "alike": [["alike"], ["alike", "--unreviewed", "--as-is"]],
    "alike confirm": [["alike", "confirm", "1"]],
    "alike reject": [["alike", "reject", "1"]],
    "alike reopen": [["alike", "reopen", "1"]],
    "alike tiles": [["alike", "tiles", "1"]],
    "alike merge": [["alike", "merge", "1", "99"]],
    "alike split": [["alike", "split", "1", HOSTILE, "--title", HOSTILE], ["alike", "split", "1", "{digest}", "--title",
                                                                         "New" + HOSTILE]],
    "alike undo": [["alike", "undo", "1"]],
    "alike changes": [["alike", "changes"]],
    "order add": [["order", "add", "1", "--size", "20x30", "--medium", "rag" + HOSTILE, "--buyer", "Buyer" + HOSTILE,
                   "--notes", HOSTILE, "--number", "N" + HOSTILE, "--yes"], ["order", "add", "1", "--size", HOSTILE],
                  ["order", "add", "1", "--size", "20x30"]],
    "order list": [["order", "list"], ["order", "list", HOSTILE], ["order", "list", "--sort", "buyer"],
                   ["order", "list", "--artist", HOSTILE], ["order", "list", "--buyer", HOSTILE],
                   ["order", "list", "--month", HOSTILE], ["order", "list", "--medium", HOSTILE]],
    "order change": [["order", "change", "N" + HOSTILE, "--notes", HOSTILE, "--buyer", "Bay" + HOSTILE],
                     ["order", "change", HOSTILE, "--notes", HOSTILE], ["order", "change", "N" + HOSTILE,
                                                                        "--unit-price", HOSTILE]],
    "buyer list": [["buyer", "list"]],
    "buyer show": [["buyer", "show", "Bay"], ["buyer", "show", HOSTILE]],
    "buyer set": [["buyer", "set", "Bay", "--name", "Bays" + HOSTILE, "--contact", HOSTILE, "--notes", HOSTILE],
                  ["buyer", "set", HOSTILE, "--notes", HOSTILE]],
    "buyer merge": [["buyer", "merge", "Bay", "--into", HOSTILE], ["buyer", "merge", "Bay", "--into", "Bay"]],
    "order show": [["order", "show", "N" + HOSTILE], ["order", "show", HOSTILE]],
    "order repeat": [["order", "repeat", "N" + HOSTILE, "--dry-run"], ["order", "repeat", "1", "--yes"],
                     ["order", "repeat", "1"]],
    "order handover": [["order", "handover", "N" + HOSTILE, "--notes", HOSTILE], ["order", "handover", HOSTILE],
                       ["order", "handover", "N" + HOSTILE, "--numbers", HOSTILE]],
    "order status": [["order", "status", "N" + HOSTILE, "approved"], ["order", "status", HOSTILE, "approved"]],
    "order correct": [["order", "correct", "N" + HOSTILE, "--line", "1", "--notes", HOSTILE],
                      ["order", "correct", HOSTILE, "--notes", HOSTILE]],
    "order sheet": [["order", "sheet", "N" + HOSTILE, "--text"], ["order", "sheet", "N" + HOSTILE]],
    "print": [["print", "N" + HOSTILE, "--to", "{more}"], ["print", HOSTILE, "--to", "{more}"],
              ["print", "N" + HOSTILE, "--to", "{main}"], ["print", "N" + HOSTILE, "--to", "{none}" + HOSTILE],
              ["print", "N" + HOSTILE, "--crop", HOSTILE, "--to", "{more}"],
              ["print", "N" + HOSTILE, "--profile", "{master}", "--to", "{more}"]],
    "edition set": [["edition", "set", "1", "--limit", "5", "--notes", HOSTILE, "--medium", "rag" + HOSTILE],
                    ["edition", "set", "1", "--limit", "5", "--opened", HOSTILE]],
    "edition list": [["edition", "list"], ["edition", "list", HOSTILE]],
    "edition show": [["edition", "show", "1"]],
    "edition close": [["edition", "close", "1", "--date", HOSTILE], ["edition", "close", "1"]],
    "edition move": [["edition", "move", "1", "1", "--to", "consigned", "--holder", HOSTILE, "--notes", HOSTILE],
                     ["edition", "move", "1", HOSTILE, "--to", "shop"],
                     ["edition", "move", "1", "1", "--to", "shop", "--date", HOSTILE]],
    "edition where": [["edition", "where"], ["edition", "where", "1"]],
    "edition destroy": [["edition", "destroy", "1", HOSTILE, "--reason", HOSTILE],
                        ["edition", "destroy", "1", "1", "--reason", HOSTILE]],
    "edition certificates": [["edition", "certificates", "1"]],
    "artist list": [["artist", "list"]],
    "artist show": [["artist", "show", "quill"], ["artist", "show", HOSTILE]],
    "artist set": [["artist", "set", "quill", "--contact", HOSTILE, "--terms", HOSTILE, "--notes", HOSTILE]],
    "piece set": [["piece", "set", "1", "--notes", HOSTILE, "--series", HOSTILE, "--year", HOSTILE,
                   "--inventory", HOSTILE],
                  ["piece", "set", "1", "--size", HOSTILE]],
    "piece confirm": [["piece", "confirm", "1"], ["piece", "confirm", "--artist", HOSTILE]],
    "piece merge": [["piece", "merge", "1", "--into", HOSTILE], ["piece", "merge", "1", "--into", "1"]],
    "piece split": [["piece", "split", "1", "--scan", HOSTILE, "--title", HOSTILE],
                    ["piece", "split", "1", "--scan", "{digest}", "--title", "Newer" + HOSTILE]],
    "artist terms": [["artist", "terms", "quill", "--percent", "40"], ["artist", "terms", "quill"],
                     ["artist", "terms", "quill", "--per-print", HOSTILE, "--since", "start"],
                     ["artist", "terms", "quill", "--nothing", "--since", HOSTILE]],
    "statement": [["statement", "quill", "--from", "2020-01-01", "--to", "2099-12-31"],
                  ["statement", HOSTILE, "--month", "2025-11"], ["statement", "quill", "--month", HOSTILE],
                  ["statement", "quill", "--month", "2025-11", "--to-file", "{none}" + HOSTILE + ".html"]],
    "artist rename": [["artist", "rename", "quill", "Quill" + HOSTILE], ["artist", "rename", HOSTILE, HOSTILE]],
    "artist also": [["artist", "also", "quill", "Quill" + HOSTILE], ["artist", "also", HOSTILE, HOSTILE]],
    "artist merge": [["artist", "merge", "quill", "--into", HOSTILE], ["artist", "merge", "quill", "--into", "quill"]],
    "scan list": [["scan", "list"]],
    "scan set": [["scan", "set", "{digest}", "--role", "master"], ["scan", "set", HOSTILE, "--role", "tile"],
                 ["scan", "set", "{digest}", "--new", "Newest" + HOSTILE], ["scan", "set", "{digest}"]],
    "refile": [["refile"], ["refile", "--yes"], ["refile", "--undo"]],
    "history": [["history"]],
    "undo": [["undo"], ["undo", "99999"]],
    "rescan": [["rescan"], ["rescan", "--size", HOSTILE], ["rescan", "--size", "90x90", "--bed", HOSTILE],
               ["rescan", "1", "--note", f"light={HOSTILE}"]],
    "import": [["import", "{table}", "--make-pieces", "--dates", "%d.%m.%Y"], ["import", "{table}", "--map", HOSTILE]],
    "intake": [["intake", "{key}", "--into", "main" + HOSTILE, "--dry-run"],
               ["intake", "{key}", "--into", "main" + HOSTILE, "--yes"],
               ["intake", "{none}", "--into", "main" + HOSTILE]],
    "recipe": [["recipe", HOSTILE], ["recipe", HOSTILE, "--record", "--yes"]],
    "doubles": [["doubles"], ["doubles", HOSTILE, "--print-files"],
                ["doubles", "main" + HOSTILE, "--free", "--yes"], ["doubles", "--undo", "{table}"]],
    "tidy": [["tidy", "main" + HOSTILE], ["tidy", "--undo", "{table}"]],
    "audit": [["audit"], ["audit", HOSTILE], ["audit", "--time", HOSTILE], ["audit", "--log"]],
    "restore": [["restore", HOSTILE], ["restore", "{master}", "--yes"], ["restore", "{master}"]],
    "copy": [["copy", "--to", HOSTILE], ["copy", "--to", "copy" + HOSTILE],
             ["copy", "--to", "copy" + HOSTILE, "--yes"]],
    "levels": [["levels", "--all"], ["levels", "--answer", HOSTILE, HOSTILE]],
    "backup": [["backup", "--also", "{more}"], ["backup", "--list"]],
    "recover": [["recover", "--yes"], ["recover"]],
    "export manifest": [["export", "manifest"], ["export", "manifest", "--into-store"],
                        ["export", "manifest", "--into-store", "--yes"]],
    "export bag": [["export", "bag", "{bag}"], ["export", "bag", "{bag}", "--check"],
                   ["export", "bag", "{main}", "--check"],
                   ["export", "bag", "{more}/x", "--artist", HOSTILE]],
    "export csv": [["export", "csv", "orders", "{more}/orders.csv"], ["export", "csv", "orders", "{table}"]],
    "export holdings": [["export", "holdings", "quill"], ["export", "holdings", HOSTILE]],
    "sidecar": [["sidecar", "1"], ["sidecar", "1", "--yes", "--rights", HOSTILE],
                ["sidecar", "1", "--yes", "--into-copy", "{more}/described"]],
    "doctor": [["doctor"]],
    "completion": [["completion", "bash"], ["completion", HOSTILE]],
    "demo": [["demo", "--archive", "{none}", "--no-screens"]],
}


def leaves(group: click.Group, before: tuple[str, ...] = ()) -> Iterator[str]:
    context = click.Context(group)
    for name in group.list_commands(context):
        inner = group.get_command(context, name)
        assert inner is not None
        if isinstance(inner, click.Group):
            if inner.invoke_without_command:
                yield " ".join((*before, name))
            yield from leaves(inner, (*before, name))
        else:
            yield " ".join((*before, name))


def test_the_table_has_every_command() -> None:
    assert {*leaves(program), ""} == set(CALLS)  # type: ignore[arg-type]
    assert {name.partition(" ")[0] for name in CALLS if name} == set(COMMANDS)


def master(place: Path, seed: int, **said: str) -> Path:
    place.parent.mkdir(parents=True, exist_ok=True)
    tags = [(315, "s", 0, said.get("artist", ""), True)] if said.get("artist") else []
    tifffile.imwrite(place, np.random.default_rng(seed).integers(0, 255, (60, 80, 3), dtype=np.uint8),
                     photometric="rgb", metadata=None, extratags=tags, resolution=(100, 100), resolutionunit=2)
    return place


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Callable[..., tuple[int, str, str]]]:
    """The command line over stores, names, metadata and a catalogue folder that are all called something hostile."""
    base = tmp_path_factory.mktemp("archive") / ("base" + HOSTILE)
    name = HOSTILE.replace("\n", "")  # a folder's own line break is tried with the file below
    places = {key: base / key for key in ("main", "copy", "other", "more", "key", "bag", "none")}
    for key in ("main", "copy", "other", "more", "key"):
        places[key].mkdir(parents=True)
    places["master"] = master(places["main"] / f"Ada Quill{name}" / f"Harbour{name}" / f"master{HOSTILE}.tif", 1)
    master(places["main"] / f"Ada Quill{name}" / f"Harbour{name}" / f"tile {HOSTILE}.tif", 2)
    master(places["main"] / "Bo Ek" / "Dunes" / "master.tif", 3, artist="Bo" + HOSTILE.replace("\u202e", "").encode(
        "ascii", "ignore").decode())
    (places["main"] / f"broken{HOSTILE}.tif").write_bytes(b"II*\0" + b"\xff" * 40)
    (places["main"] / f"link{HOSTILE}.tif").symlink_to("nowhere")
    master(places["key"] / f"Ada Quill - Pier{HOSTILE}.tif", 4)
    places["table"] = base / f"orders{HOSTILE}.csv"
    places["table"].write_text(f'number,date,buyer,artist,piece,size,medium,notes,odd"{HOSTILE}"\n'
                               f'7,1.2.2020,"Buyer {HOSTILE}","Cy {HOSTILE}","Reeds {HOSTILE}",20x30,"rag'
                               f' {HOSTILE}",x,y\n'
                               f'8,"{HOSTILE}",b,c,d,20x30,rag,x,y\n', encoding="utf-8", newline="")
    digest = hashlib.sha256(places["master"].read_bytes()).hexdigest()[:20]
    patch = pytest.MonkeyPatch()

    def call(words: list[str]) -> int:
        filled = [w.format(**places, digest=digest) if w.startswith("{") else w for w in words]
        patch.setattr(sys, "argv", ["catalogue", "--catalogue", str(base / ("home" + HOSTILE)), *filled])
        with pytest.raises(SystemExit) as ended:
            main()
        return int(ended.value.code or 0)

    patch.setenv("NO_COLOR", "1")
    patch.setattr(sys, "stdin", open("/dev/null"))  # noqa: SIM115 - closed with the process
    for words in (["store", "add", "main" + HOSTILE, "{main}", "--marker"],
                  ["store", "add", "copy" + HOSTILE, "{copy}", "--kind", "copy", "--marker"],
                  ["index", "--workers", "1"],
                  ["order", "add", "1", "--size", "20x30", "--medium", "rag" + HOSTILE, "--number", "N" + HOSTILE,
                   "--buyer", "Buyer" + HOSTILE, "--notes", HOSTILE, "--yes"],
                  ["edition", "set", "2", "--limit", "5", "--medium", "rag" + HOSTILE]):
        assert call(words) in (0, 1), words
    yield call
    patch.undo()


@pytest.mark.parametrize("as_json", [False, True], ids=["words", "json"])
@pytest.mark.parametrize("name", CALLS)
def test_no_command_prints_a_control_character(archive: Callable[[list[str]], int], capfdbinary: Any, name: str,
                                               as_json: bool) -> None:
    printed = 0
    for words in CALLS[name]:
        code = archive(["--json", *words] if as_json else words)
        out, err = capfdbinary.readouterr()
        text, told = out.decode("utf-8"), err.decode("utf-8")
        assert "Traceback" not in told
        if as_json and text and words[:1] != ["completion"]:
            read = json.loads(text)
            assert plain(read) == read
        assert not HARMFUL.search(text), (words, text)
        assert not HARMFUL.search(told), (words, told)
        assert code in (0, 1, 2)
        printed += len(text) + len(told)
    assert printed


@given(st.text(max_size=40))
def test_visible_text_is_one_harmless_line(text: str) -> None:
    shown = visible(text)
    assert not HARMFUL.search(shown) and "\n" not in shown
    assert visible(shown) == shown
    if not HARMFUL.search(text) and "\n" not in text and not re.search("[\u206a-\u206f\ufeff\ufff9-\ufffb]", text):
        assert shown == text


@given(st.recursive(st.text(max_size=20), lambda inner: st.lists(inner) | st.dictionaries(st.text(max_size=5), inner)))
def test_json_says_the_same_and_is_harmless(value: Any) -> None:
    text = visible_json(json.dumps(value, ensure_ascii=False, indent=2))
    assert json.loads(text) == value
    assert not HARMFUL.search(text)


def test_the_bar_takes_a_stores_name_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """Brackets are no markup: a store called ``[/x]`` ended the command."""
    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr(sys, "stderr", watched := Terminal())
    monkeypatch.setenv("TERM", "xterm")
    with bar() as report:
        report(Progress(f"Reading [/x] [red]{HOSTILE}", 1, 2, 5))
    assert "Reading [/x] [red]" in watched.getvalue()
    assert not HARMFUL.search(re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", watched.getvalue()).replace("\r", ""))


@pytest.mark.parametrize("module", sorted(Path(catalogue.commands.__file__).parent.glob("*.py")), ids=lambda p: p.name)
def test_nothing_is_printed_past_the_one_printer(module: Path) -> None:
    """What prints by itself prints names raw. The completion script has none in it; doctor asks rich for colours."""
    allowed = {"printing.py": {"echo", "confirm", "prompt", "Console"}, "completion.py": {"echo"},
               "doctor.py": {"Console"}}.get(module.name, set())
    used = set()
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "click":
            used |= {node.attr} & {"echo", "secho", "confirm", "prompt", "pause"}
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            used |= {node.func.id} & {"print", "Console"}
        elif isinstance(node, ast.Attribute) and ast.unparse(node) in ("sys.stdout.write", "sys.stderr.write"):
            used.add(ast.unparse(node))
    assert used <= allowed


def test_every_harmful_character_is_shown_as_an_escape() -> None:
    for code in (*range(0x300), *range(0x600, 0x630), *range(0x2000, 0x2100), *range(0xD800, 0xE000), 0xFEFF):
        sign = chr(code)
        if HARMFUL.match(sign) or sign == "\n":
            assert visible(sign).startswith("\\") and visible(sign).isascii(), hex(code)
