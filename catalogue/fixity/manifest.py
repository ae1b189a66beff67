"""Checksum manifests that ``sha256sum -c`` reads, escaping included; beside the catalogue and in stores.

A store gets one only after consent was given once. Apart from the store's marker it is the only file written there
without asking again.
"""

import hashlib
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from catalogue import __version__
from catalogue.errors import CatalogueError, Refused
from catalogue.fixity import log
from catalogue.fixity.log import Head
from catalogue.indexing.locating import locate_store, opened_store
from catalogue.records import events, findings, fixity, stores
from catalogue.records.database import Database, now, transaction
from catalogue.records.paths import escape_path, native_path, unsafe_escaped_path
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.atomic import write_atomically
from catalogue.storage.folders import Entry, read_small
from catalogue.storage.medium import writing
from catalogue.untrusted import LIST_BYTES, read_regular, unsafe_path

NAME = "scan-store.sha256"
UNUSABLE = "unusable manifest"  # the kind of finding
# GNU coreutils: a line whose name needs escaping starts with a backslash
_LINE = re.compile(rb"(\\?)([0-9a-fA-F]{64}) [ *](.+)", re.DOTALL)
_ESCAPES = {b"\\": b"\\\\", b"\n": b"\\n", b"\r": b"\\r"}
_PLAIN = {b"\\": b"\\", b"n": b"\n", b"r": b"\r"}


@dataclass(frozen=True, slots=True)
class Written:
    """A manifest that was written: where, and for how many files."""

    store: str
    path: Path
    files: int


@dataclass(frozen=True, slots=True)
class Manifest:
    """A manifest as read. ``digests`` maps kept paths to SHA-256; ``faults`` are lines that cannot be parsed.

    ``store``, ``kind`` and ``head`` come from its comments, empty or None if it has none. ``unreadable`` says why
    nothing of it could be read, "" if it could.
    """

    digests: dict[str, str]
    faults: tuple[str, ...]
    store: str = ""
    kind: str = ""
    head: Head | None = None
    unreadable: str = ""


def line(sha256: str, name: bytes) -> bytes:
    """One line as ``sha256sum`` writes it, ended by a newline."""
    escaped = re.sub(rb"[\\\n\r]", lambda m: _ESCAPES[m[0]], name)
    return (b"\\" if escaped != name else b"") + sha256.encode() + b"  " + escaped + b"\n"


def parsed(text: bytes) -> tuple[str, bytes] | None:
    """``(sha256, name)`` of one line without its newline; None if it is no manifest line."""
    match = _LINE.fullmatch(text)
    if not match:
        return None
    name = match[3]
    if match[1]:
        if re.search(rb"\\(?![\\nr])", re.sub(rb"\\\\", b"", name)):
            return None
        name = re.sub(rb"\\([\\nr])", lambda m: _PLAIN[m[1]], name)
    return match[2].decode().lower(), name


def text_of(rows: Iterable[tuple[str, str, int]], comments: Iterable[str] = ()) -> bytes:
    """A whole manifest: ``(kept path, sha256, size)`` rows, and comments, which ``sha256sum -c`` passes over."""
    head = b"".join(b"# " + re.sub(r"\s+", " ", comment).encode("utf-8", "surrogateescape") + b"\n"
                    for comment in comments)
    return head + b"".join(line(sha256, os.fsencode(native_path(path))) for path, sha256, _ in rows
                           if not unsafe_escaped_path(path))


def read(path: Path) -> Manifest:
    """A manifest of ours, or any that ``sha256sum`` wrote. Raises :class:`CatalogueError` when it cannot be read."""
    try:
        data = read_regular(path, LIST_BYTES)
    except OSError as error:
        raise CatalogueError(f"The manifest cannot be read: {error.strerror}.", path=path) from error
    digests: dict[str, str] = {}
    faults: list[str] = []
    facts: dict[str, str] = {}
    for number, text in enumerate(data.split(b"\n"), 1):
        if text.startswith(b"#"):
            key, _, value = text[1:].decode("utf-8", "replace").strip().partition(": ")
            facts[key] = value
        elif text:
            entry = parsed(text)
            plain = os.fsdecode(entry[1]).removeprefix("./") if entry else ""
            reason = unsafe_path(plain) if entry else "not a checksum and a name"
            name = "" if reason else escape_path(plain)
            if not entry or reason or name in digests:
                faults.append(f"line {number}: {reason or 'listed twice'}")
            else:
                digests[name] = entry[0]
    return Manifest(digests, tuple(faults), facts.get("store", ""), facts.get("kind", ""),
                    _head(facts.get("event log", "")))


def read_if_there(path: Path) -> Manifest | None:
    """A manifest that others may have written to; None if there is none.

    One that cannot be read, such as a link (never followed), has no entries and gives the reason in ``unreadable``.
    """
    if not os.path.lexists(path):
        return None
    try:
        return read(path)
    except CatalogueError as error:
        return Manifest({}, (), unreadable=error.message)


def of_store(root: Path) -> Manifest | None:
    """The manifest at a store's root, as :func:`read_if_there`."""
    return read_if_there(root / NAME)


def note_unreadable(db: Database, store: Store, listed: Manifest | None) -> str:
    """Record as a finding that a store's manifest cannot be read, or close that; returns words for it, "" if it can.

    Within a transaction.
    """
    if listed is None or not listed.unreadable:
        if listed is None or not listed.faults:
            findings.resolve(db, "not so any more", store_id=store.id, path=NAME, kinds=(UNUSABLE,))
        return ""
    findings.record(db, UNUSABLE, listed.unreadable, store_id=store.id, path=NAME,
                    hint="Check it, and who can write to this disk. Then write it again: catalogue export manifest"
                    " --into-store.")
    return f"The checksum manifest of {store.name} was skipped. {listed.unreadable}"


def _head(text: str) -> Head | None:
    match = re.fullmatch(r"([0-9]+) events, chain ([0-9a-f]{64})", text)
    return Head(int(match[1]), "", match[2]) if match else None


def export(db: Database, home: Home, store: Store) -> Written:
    """Write a store's manifest into the catalogue's folder."""
    safe = re.sub(r"[^\w .-]", "_", store.name).strip(". ") or "store"
    target = home.folder / "manifests" / f"{safe if safe == store.name else f'{safe}-{store.id}'}.sha256"
    return _write(db, store, target)[0]


def export_into(db: Database, store: Store, *, consent: bool) -> Written:
    """Write a store's manifest at its root.

    Raises Refused: no consent was given, now or before; the store is offline; or another file has the manifest's name.
    """
    if not consent and not fixity.consented(db, store.id):
        raise Refused(f"Nothing is written into the store {store.name!r} without consent.",
                      hint="Run catalogue export manifest --into-store.", path=store.root)
    with opened_store(db, store) as root:
        target = root.entry(NAME)
        with writing(target.path):
            taken = target.exists()
        if taken and not (read_small(target, LIST_BYTES) or b"").startswith(b"# checksums"):
            raise Refused("Another file has the manifest's name.", hint="Move it elsewhere.", path=target.path)
        written, sha256 = _write(db, store, target)
    with transaction(db):
        fixity.manifest_written(db, store.id, sha256)
    return written


def _write(db: Database, store: Store, target: Path | Entry) -> tuple[Written, str]:
    """Write a store's manifest; also gives its SHA-256."""
    rows = list(fixity.manifest_rows(db, store.id))
    last = log.head(db)
    path = target.path if isinstance(target, Entry) else target
    text = text_of(rows, [
        "checksums of a scan store; check with: sha256sum -c " + path.name, f"store: {store.name}",
        f"kind: {store.kind}", f"written: {now()} by master-scan-catalogue {__version__}", f"files: {len(rows)}",
        f"event log: {last.id} events, chain {last.chain}"])
    write_atomically(target, text)
    with transaction(db):
        events.append(db, "message digest calculation", "success", store=store.name, path=str(path),
                      detail=f"manifest of {len(rows)} files written")
    return Written(store.name, path, len(rows)), hashlib.sha256(text).hexdigest()


def refresh(db: Database, home: Home) -> list[Written]:
    """Write every store's manifest beside the catalogue, and into those online stores that allow it."""
    written = []
    for store in stores.listed(db):
        written.append(export(db, home, store))
        if fixity.consented(db, store.id) and locate_store(db, store) is not None:
            written.append(export_into(db, store, consent=False))
    return written


def in_stores(db: Database) -> Iterator[tuple[Store, Manifest | None]]:
    """Online stores, each with the manifest at its root."""
    for store in stores.listed(db):
        root = locate_store(db, store)
        if root is not None:
            yield store, of_store(root)


def heads(db: Database) -> Iterator[Head]:
    """Heads of the event log found in the manifests of online stores; none from an unreadable manifest."""
    for _, listed in in_stores(db):
        if listed is not None and listed.head is not None:
            yield listed.head
