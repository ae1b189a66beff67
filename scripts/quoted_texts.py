"""Count the texts of the program that its tests quote: string literals in ``tests/`` of which three words in a row
stand in a row in a string literal of ``catalogue/``. A placeholder of an f-string ends a row of words; docstrings, SQL,
texts without a space and what an ``assert`` says when it fails are left out.

    python scripts/quoted_texts.py            how many there are, a line for each file
    python scripts/quoted_texts.py --list     each of them, with its place
    python scripts/quoted_texts.py --words 4  only where four words are the same
"""

import argparse
import ast
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SQL = re.compile(r"\s*(SELECT|INSERT|UPDATE|DELETE|WITH|CREATE|PRAGMA|DROP|ALTER)\b")
PLACEHOLDER = re.compile(r"\0|\{[^{}]*\}")
WORD = re.compile(r"[^\W\d]+(?:['’-][^\W\d]+)*")


def literals(source: str) -> Iterator[tuple[int, str]]:
    """Line and text of each string literal, an f-string as one with a NUL for each of its placeholders."""
    tree = ast.parse(source)
    left_out: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            left_out.add(id(node.value))
        elif isinstance(node, ast.Assert) and node.msg is not None:
            left_out.update(id(part) for part in ast.walk(node.msg))
        elif isinstance(node, ast.JoinedStr):
            left_out.update(id(part) for part in node.values)
            if id(node) not in left_out:
                parts = (part.value if isinstance(part, ast.Constant) else "\0" for part in node.values)
                yield node.lineno, "".join(map(str, parts))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in left_out:
            yield node.lineno, node.value


def rows_of_words(text: str, length: int) -> set[tuple[str, ...]]:
    """Each ``length`` words that follow one another within one part of a text, none for SQL and names."""
    if SQL.match(text) or not re.search(r"\s", text):
        return set()
    parts = [WORD.findall(part) for part in PLACEHOLDER.split(text)]
    return {tuple(words[at:at + length]) for words in parts for at in range(len(words) - length + 1)}


def quotes(length: int) -> Iterator[tuple[str, int, str]]:
    """File, line and text of each literal in the tests that quotes the program."""
    said = {row for path in sorted((ROOT / "catalogue").rglob("*.py"))
            for _, text in literals(path.read_text("utf-8")) for row in rows_of_words(text, length)}
    for path in sorted((ROOT / "tests").rglob("*.py")):
        for line, text in literals(path.read_text("utf-8")):
            if not said.isdisjoint(rows_of_words(text, length)):
                yield str(path.relative_to(ROOT)), line, text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--list", action="store_true", help="print each quote with its place")
    parser.add_argument("--words", type=int, default=3, help="so many words in a row make a quote")
    options = parser.parse_args()
    quoted = sorted(quotes(options.words))
    if options.list:
        for path, line, text in quoted:
            print(f"{path}:{line}: {text!r}")
    for path, number in Counter(path for path, _, _ in quoted).most_common():
        print(f"{number:5} {path}")
    print(f"{len(quoted):5} in all, {len({text for _, _, text in quoted})} different")


if __name__ == "__main__":
    main()
