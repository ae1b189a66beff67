"""What each column of a CSV file means: by its heading, or as mapped by a person. Pure."""

import csv
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.records.pieces import folded
from catalogue.spreadsheets import cell_text
from catalogue.untrusted import LIST_BYTES, read_regular

# Our column (in a heading also with blanks for "_"), then further headings it is known by, folded. A trailing "cm",
# "mm" or "in" of a heading is its unit.
ORDERS: dict[str, tuple[str, ...]] = {
    "number": ("invoice number", "invoice no", "invoice", "order number", "order no", "order", "job number", "job"),
    "date": ("order date", "invoice date", "ordered", "placed"),
    "artist": ("artist name", "creator"),
    "piece": ("title", "piece title", "work", "artwork"),
    "buyer": ("customer", "client", "sold to", "buyer s note"),
    "width": ("print width",),
    "height": ("print height",),
    "size": ("print size", "format"),
    "medium": ("material", "paper", "substrate"),
    "border": ("white border",),
    "wrap": ("canvas wrap", "wrap depth"),
    "edge": ("edge type", "wrap edge"),
    "quantity": ("qty", "copies", "count", "number of prints"),
    "numbers": ("edition numbers", "edition number", "edition nos", "print numbers"),
    "price": ("amount", "line price", "total"),   # of the whole line
    "unit_price": ("price each", "price per print", "single price"),
    "currency": (),
    "status": ("state",),
    "notes": ("note", "remarks", "comment", "comments"),
    "file": ("master file name", "master file", "file name", "filename", "scan", "scan file", "master", "printed from"),
    "sha256": ("digest", "checksum", "sha 256"),
    "profile": ("printer profile", "icc profile"),
    "settings": ("print notes", "print settings", "intent"),
    "order_notes": (),
    "edition": (),              # as the editions are labelled
    "replacing": ("printed anew",),
    "lost": ("destroyed",),
    "handed_over": (),          # as ledger.handovers writes it
    "year": ("year of work",),
}
EDITIONS: dict[str, tuple[str, ...]] = {
    "artist": ORDERS["artist"],
    "piece": ORDERS["piece"],
    "limit": ("size limit", "edition size", "edition", "n", "numbered", "edition of"),
    "proofs": ("artist s proofs", "artists proofs", "ap", "aps"),
    "scope": (),
    "width": ORDERS["width"],
    "height": ORDERS["height"],
    "size": ORDERS["size"],
    "medium": ORDERS["medium"],
    "opened": ("open", "launched", "date"),
    "closed": ("close",),
    "notes": ORDERS["notes"],
}
ARTISTS: dict[str, tuple[str, ...]] = {
    "artist": ("artist name", "name", "creator"),
    "contact": ("address", "email", "e mail", "telephone", "phone"),
    "terms": ("agreement", "conditions"),
    "notes": ORDERS["notes"],
}
BUYERS: dict[str, tuple[str, ...]] = {
    "buyer": ("customer", "client", "buyer name"),
    "contact": ARTISTS["contact"],
    "notes": ORDERS["notes"],
    "spellings": ("also written",),     # parted by |
}
PIECES: dict[str, tuple[str, ...]] = {
    "artist": ORDERS["artist"],
    "piece": ORDERS["piece"],
    "year": ("year of work", "date"),
    "series": (),
    "inventory": ("inventory number", "inventory no", "inv no"),
    "medium": ("technique", "materials"),
    "width": ("original width",),
    "height": ("original height",),
    "size": ("original size", "original"),
    "relief": ("relief depth",),
    "notes": ORDERS["notes"],
}
KINDS = {"orders": ORDERS, "editions": EDITIONS, "artists": ARTISTS, "pieces": PIECES, "buyers": BUYERS}
UNITS = ("mm", "cm", "in")


@dataclass(frozen=True, slots=True)
class Row:
    """One data row. ``values`` by our column names, stripped; ``number`` counts lines as an editor shows them."""

    number: int
    values: Mapping[str, str]

    def get(self, name: str) -> str:
        return self.values.get(name, "")


@dataclass(frozen=True, slots=True)
class Table:
    """A CSV file read: its rows, the unit of each length column, what was matched and what was not used."""

    rows: tuple[Row, ...]
    units: Mapping[str, str]
    matched: Mapping[str, str]
    unused: tuple[str, ...]
    encoding: str


def read_table(path: Path, ours: Mapping[str, Sequence[str]], mapping: Mapping[str, str]) -> Table:
    """Read a CSV file; ``mapping`` says for some of our columns which heading they have in the file.

    UTF-8 is tried first, then Windows-1252. The separator is a comma, semicolon or tab.

    Raises CatalogueError: not readable, no heading row, or the mapping names a column that is not there.
    """
    try:
        data = read_regular(path, LIST_BYTES, follow=True)
    except OSError as error:
        raise CatalogueError(f"The file cannot be read: {error.strerror or error}.", path=path) from error
    text, encoding = _decoded(data, path)
    csv.field_size_limit(LIST_BYTES)  # a long cell is its row's affair, not the file's
    head, _, _ = text.partition("\n")
    separator = max(",;\t", key=head.count)
    try:
        lines = csv.reader(StringIO(text, newline=""), delimiter=separator, strict=True)
        headings = [h.strip() for h in next(lines, [])]
        chosen, units = _chosen(headings, ours, mapping, path)
        rows = []
        for cells in lines:
            values = {name: _plain(cells[i]) for name, i in chosen.items() if i < len(cells)}
            if any(values.values()):
                rows.append(Row(lines.line_num, values))
    except csv.Error as error:
        raise CatalogueError(f"The file is not CSV: {error}.", path=path) from error
    unused = tuple(h for i, h in enumerate(headings) if h and i not in chosen.values())
    return Table(tuple(rows), units, {name: headings[i] for name, i in chosen.items()}, unused, encoding)


def kind_of(path: Path, mapping: Mapping[str, str]) -> str:
    """Which of ``KINDS`` the headings belong to; orders if nothing suggests another.

    Raises CatalogueError as :func:`read_table`.
    """
    matched = {kind: set(read_table(path, ours, {k: v for k, v in mapping.items() if k in ours}).matched)
             for kind, ours in KINDS.items()}
    kind = _kind_matched(matched)
    fitting = [name for name, ours in KINDS.items() if set(mapping) <= set(ours)]
    return kind if kind in fitting or not fitting else fitting[0]


def _kind_matched(matched: Mapping[str, set[str]]) -> str:
    """The kind that the columns matched for each kind speak for; orders where none does."""
    if "buyer" in matched["buyers"] and not {"date", "piece", "number", "quantity"} & matched["orders"]:
        return "buyers"
    if {"number", "buyer", "quantity", "numbers", "price"} & matched["orders"]:
        return "orders"
    if "limit" in matched["editions"]:
        return "editions"
    if "piece" in matched["pieces"]:
        return "orders" if {"date", "medium"} <= matched["orders"] else "pieces"
    return "artists" if "artist" in matched["artists"] else "orders"


def _plain(cell: str) -> str:
    """A cell's text without the apostrophe that keeps a spreadsheet from executing it as a formula."""
    return cell_text(cell.strip()).strip()


def _decoded(data: bytes, path: Path) -> tuple[str, str]:
    if b"\0" in data[:4096]:
        raise CatalogueError("The file is not a CSV file.", hint="Save it as CSV, UTF-8.", path=path)
    try:
        return data.decode("utf-8-sig"), "UTF-8"
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace"), "Windows-1252"


def _chosen(headings: list[str], ours: Mapping[str, Sequence[str]], mapping: Mapping[str, str],
            path: Path) -> tuple[dict[str, int], dict[str, str]]:
    if not any(headings):
        raise CatalogueError("The file has no heading row.", hint="The first row names the columns.", path=path)
    unknown = sorted(set(mapping) - set(ours))
    if unknown:
        raise CatalogueError(f"There is no column {unknown[0]!r} to map.", hint=f"Ours are: {', '.join(ours)}.")
    plain: dict[str, int] = {}
    units: dict[int, str] = {}
    for i, heading in enumerate(headings):
        words = folded(heading).split() if heading else []
        if len(words) > 1 and words[-1] in UNITS:
            units[i] = words.pop()
        plain.setdefault(" ".join(words), i)
    chosen: dict[str, int] = {}
    for name, theirs in mapping.items():
        if theirs not in headings:
            raise CatalogueError(f"The file has no column {theirs!r}.", hint=f"It has: {', '.join(headings)}.",
                                 path=path)
        chosen[name] = headings.index(theirs)
    for name, also in ours.items():
        index = next((plain[key] for key in (name.replace("_", " "), *also)
                      if key in plain and plain[key] not in chosen.values()), None)
        if name not in chosen and index is not None:
            chosen[name] = index
    return chosen, {name: units[i] for name, i in chosen.items() if i in units}


def digest(row: Row) -> str:
    """SHA-256 of a row's content, independent of the order of its columns."""
    text = "\x1f".join(f"{name}={value}" for name, value in sorted(row.values.items()) if value)
    return hashlib.sha256(text.encode()).hexdigest()
