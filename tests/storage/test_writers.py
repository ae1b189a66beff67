"""Every module that writes, renames or removes is on a list somebody has reviewed; a new one fails here until it is."""

import ast
from pathlib import Path

import catalogue

PACKAGE = Path(catalogue.__file__).parent

# What writes or removes, and why it may. Whatever acts below a store goes through storage/ (open handles, no links).
REVIEWED = {
    "storage/atomic.py": "the one way by which files are written, named and cleared up",
    "storage/folders.py": "names in open folders",
    "storage/medium.py": "makes folders, flushes",
    "fixity/copying.py": "opens its source for reading; writes through storage",
    "fixity/bags.py": "a new folder outside the stores, through storage",
    "fixity/copies.py": "opens for reading; writes through storage",
    "fixity/restore.py": "the switch of a restore, through storage",
    "intake/removing.py": "the only remover of sources: every guard is there",
    "intake/freeing.py": "removes doubles and print files behind the guards of removing.py",
    "intake/moving.py": "takes a new name back, through storage",
    "intake/renaming.py": "renames within a store, through storage",
    "intake/embedding.py": "writes into its own part file of storage",
    "print_files/tiff_file.py": "writes the part file of a print file, and adds to it to learn why it cannot grow",
    "print_files/spool.py": "an unnamed temporary file beside the part file of a print file",
}
# Modules that write beside the catalogue alone: databases, backups, locks, previews, features, the demo's own folder.
HOME_ONLY = {
    "records/", "likeness/", "indexing/exclusive_lock.py", "indexing/previews.py", "indexing/workers.py",
    "intake/undo_lists.py", "fixity/backup.py",
    "fixity/recovery.py", "fixity/rebuild.py", "fixity/manifest.py", "commands/demo.py", "commands/backup.py",
    "reading/pil.py", "intake/subprocess_reading.py",   # a temporary file that catches what codecs print
}
CALLS = {"write_bytes", "write_text", "unlink", "rmdir", "rmtree", "mkdir", "makedirs", "touch", "symlink_to",
         "hardlink_to", "symlink", "link", "link_to", "rename", "rename_to", "renames", "truncate", "ftruncate",
         "copytree", "copyfile", "copy2", "move", "remove", "removedirs", "pwrite", "mkfifo", "mkstemp", "mkdtemp",
         "TemporaryFile", "NamedTemporaryFile", "chmod", "utime"}
MODULES_OF = {"os", "shutil", "tempfile"}  # remove, move, link, copy2 and the like count only as theirs


def writes(tree: ast.AST) -> list[tuple[int, str]]:
    """Line and name of every call that changes a disk."""
    found = []
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or _is_record(node):
            continue
        function = node.func
        name = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
        of = function.value.id if isinstance(function, ast.Attribute) and isinstance(function.value, ast.Name) else ""
        strings = [a.value for a in [*node.args, *(k.value for k in node.keywords)]
                   if isinstance(a, ast.Constant) and isinstance(a.value, str)]
        general = name in {"remove", "move", "link", "copy2", "symlink", "truncate", "rename", "unlink", "utime"}
        path_like = isinstance(function, ast.Attribute) and of not in MODULES_OF and name in {"rename", "unlink"}
        if name in CALLS and (not general or of in MODULES_OF or path_like):
            found.append((node.lineno, name))
        elif name == "replace" and (of == "os" or (len(node.args) == 1 and not node.keywords and not strings
                                                   and isinstance(function, ast.Attribute))):
            found.append((node.lineno, "replace"))
        elif (name == "open" and any(map(_is_writing_mode, strings))) or (
                name in {"open", "fdopen"} and any(map(_has_writing_flag, node.args))):
            found.append((node.lineno, "open for writing"))
    return found


def _is_writing_mode(text: str) -> bool:
    return bool(set(text) & set("wxa+")) and set(text) <= set("rwxabt+")


def _has_writing_flag(argument: ast.expr) -> bool:
    return any(isinstance(n, ast.Attribute) and n.attr in {"O_WRONLY", "O_RDWR"} for n in ast.walk(argument))


def _is_record(call: ast.Call) -> bool:
    """``pieces.rename(db, …)`` and the like change rows, not files."""
    return bool(call.args) and isinstance(call.args[0], ast.Name) and call.args[0].id == "db"


def test_every_writer_and_remover_is_reviewed() -> None:
    known = tuple(REVIEWED) + tuple(HOME_ONLY)
    strangers = []
    for module in sorted(PACKAGE.rglob("*.py")):
        place = module.relative_to(PACKAGE).as_posix()
        if not any(place == one or (one.endswith("/") and place.startswith(one)) for one in known):
            strangers += [f"{place}:{line}: {name}" for line, name in writes(ast.parse(module.read_text("utf-8")))]
    assert strangers == [], "review it: does it ask where it writes, through catalogue.storage? Then add it to the list"


def test_the_list_names_only_what_is_there() -> None:
    for place in (*REVIEWED, *HOME_ONLY):
        assert (PACKAGE / place).exists(), place


def test_the_scan_sees_a_writer() -> None:
    """The check above can fail."""
    seen = writes(ast.parse("p.write_text('x')\nos.replace(a, b)\np.unlink()\nopen(p, 'wb')\nshutil.rmtree(p)\n"
                            "p.open('x')\nos.open(p, os.O_RDWR | os.O_CREAT)\np.replace(q)\n'a'.replace('b', 'c')\n"
                            "p.open('rb')\nos.rmdir(p)\nd.remove(3)\n"))
    assert [line for line, _ in seen] == [1, 2, 3, 4, 5, 6, 7, 8, 11]


def test_only_storage_writes_below_a_store_by_name() -> None:
    """The reviewed writers outside storage/ use its entries: no ``Path`` of theirs is written to or removed."""
    for place in REVIEWED:
        if place.startswith("storage/"):
            continue
        tree = ast.parse((PACKAGE / place).read_text("utf-8"))
        by_name = [(line, name) for line, name in writes(tree)
                   if name in {"write_text", "write_bytes", "mkdir", "rmtree", "touch", "replace"}]
        assert by_name == [], place
