"""Validate any bag by RFC 8493: complete, and every checksum correct."""

import hashlib
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from unicodedata import normalize
from urllib.parse import urlsplit

from catalogue.fixity.bag_names import unescaped, unsafe
from catalogue.progress import Cancelled, Progress, Report, Stopped, ignore_progress, never_cancelled
from catalogue.reading.digests import hash_open_file
from catalogue.untrusted import LIST_BYTES, open_regular, read_regular

_VERSIONS = {"0.97", "1.0"}
_MANIFEST = re.compile(r"(tag)?manifest-([a-z0-9]+)\.txt")
_LINE = re.compile(r"([0-9a-fA-F]+)[ \t]+\*?([^ \t].*)")


@dataclass(frozen=True, slots=True)
class Problem:
    """Why a bag is not valid; ``path`` within the bag, "" for the bag as a whole."""

    path: str
    text: str


@dataclass(slots=True)
class _Bag:
    folder: Path
    problems: list[Problem] = field(default_factory=list)
    wanted: dict[str, dict[str, str]] = field(default_factory=dict)   # path: algorithm: digest
    payload: dict[str, str] = field(default_factory=dict)             # composed path: path on disk
    sizes: int = 0

    def blame(self, path: str, text: str) -> None:
        self.problems.append(Problem(path, text))


def check_bag(folder: Path, *, report: Report = ignore_progress,
              cancelled: Cancelled = never_cancelled) -> list[Problem]:
    """All problems of a bag; empty if it is valid. Changes nothing and fetches nothing.

    Raises :class:`Stopped` if cancelled.
    """
    bag = _Bag(folder)
    if not folder.is_dir():
        return [Problem("", "there is no such folder")]
    _check_declaration(bag)
    if not (folder / "data").is_dir() or (folder / "data").is_symlink():
        bag.blame("data", "the payload folder is missing")
        return bag.problems
    _walk_payload(bag)
    manifests = _read_manifests(bag)
    _check_info(bag)
    _check_fetch(bag, manifests)
    _check_complete(bag, manifests)
    _check_digests(bag, report, cancelled)
    return bag.problems


def _check_declaration(bag: _Bag) -> None:
    text = _text(bag, "bagit.txt")
    if text is None:
        return
    if text.startswith("\ufeff"):
        bag.blame("bagit.txt", "it begins with a byte-order mark")
    match = re.fullmatch(r"BagIt-Version: ([0-9]+\.[0-9]+)(?:\r\n|\n|\r)Tag-File-Character-Encoding: (\S+)\s*",
                         text.removeprefix("\ufeff"))
    if not match:
        bag.blame("bagit.txt", "it must be two lines: BagIt-Version and Tag-File-Character-Encoding")
    elif match[1] not in _VERSIONS:
        bag.blame("bagit.txt", f"version {match[1]} is not supported")
    elif match[2].upper() != "UTF-8":
        bag.blame("bagit.txt", f"the encoding {match[2]} is not UTF-8")


def _walk_payload(bag: _Bag) -> None:
    for where, folders, files in os.walk(bag.folder / "data", onerror=lambda e: bag.blame(
            str(getattr(e, "filename", "")), "the folder cannot be read")):
        for name in folders + files:
            file = Path(where) / name
            path = file.relative_to(bag.folder).as_posix()
            if file.is_symlink():
                bag.blame(path, "a link cannot be payload")
            elif name in files and not file.is_file():
                bag.blame(path, "only files can be payload")
            elif name in files:
                key = normalize("NFC", path)
                if key in bag.payload:
                    bag.blame(path, "two names differ only in how their accents are composed")
                bag.payload[key] = path
                bag.sizes += file.stat().st_size


def _read_manifests(bag: _Bag) -> dict[str, set[str]]:
    """Payload manifests: algorithm to the composed paths it lists. Tag manifests are checked on the way."""
    listed: dict[str, set[str]] = {}
    names = sorted(entry.name for entry in bag.folder.iterdir())
    payload_manifests = [n for n in names if re.fullmatch(r"manifest-[a-z0-9]+\.txt", n)]
    for name in names:
        match = _MANIFEST.fullmatch(name)
        if not match:
            continue
        algorithm, is_tag = match[2], bool(match[1])
        if algorithm not in hashlib.algorithms_available or algorithm.startswith("shake"):
            bag.blame(name, f"the algorithm {algorithm} is not supported")
            continue
        paths = set()
        for path, digest in _entries(bag, name):
            if path.startswith("data/") == is_tag:
                bag.blame(path, f"it does not belong in {name}")
            elif is_tag and path.startswith("tagmanifest-"):
                bag.blame(path, f"a tag manifest is listed in {name}")
            key = normalize("NFC", path) if not is_tag else path
            if key in paths:
                bag.blame(path, f"it is listed twice in {name}")
            paths.add(key)
            bag.wanted.setdefault(key, {})[algorithm] = digest
        if is_tag:
            for manifest in payload_manifests:
                if manifest not in paths:
                    bag.blame(manifest, f"it is not listed in {name}")
        else:
            listed[algorithm] = paths
    if not listed:
        bag.blame("", "there is no payload manifest")
    return listed


def _entries(bag: _Bag, name: str) -> Iterator[tuple[str, str]]:
    text = _text(bag, name)
    if text is None:
        return
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text.removeprefix("\ufeff")), 1):
        if not line.strip():
            continue
        match = _LINE.fullmatch(line)
        if not match:
            bag.blame(name, f"line {number} is not a checksum and a path")
            continue
        path = unescaped(match[2]).removeprefix("./")
        reason = unsafe(path)
        if reason:
            bag.blame(path, f"the path in {name} is refused: {reason}")
        else:
            yield path, match[1].lower()


def _check_info(bag: _Bag) -> None:
    if not os.path.lexists(bag.folder / "bag-info.txt"):
        return
    text = _text(bag, "bag-info.txt")
    oxums = []
    for number, line in enumerate(re.split(r"\r\n|\n|\r", text or ""), 1):
        if not line.strip() or (line[0].isspace() and number > 1):
            continue
        label, colon, value = line.partition(":")
        if not colon:
            bag.blame("bag-info.txt", f"line {number} has no label")
        elif label.strip().lower() == "payload-oxum":
            oxums.append(value.strip())
    for oxum in oxums:
        match = re.fullmatch(r"([0-9]+)\.([0-9]+)", oxum)
        if not match:
            bag.blame("bag-info.txt", f"Payload-Oxum is malformed: {oxum}")
        elif (int(match[1]), int(match[2])) != (bag.sizes, len(bag.payload)):
            bag.blame("bag-info.txt", f"Payload-Oxum says {oxum}, there are {bag.sizes}.{len(bag.payload)}")
    if len(oxums) > 1:
        bag.blame("bag-info.txt", "Payload-Oxum is given more than once")


def _check_fetch(bag: _Bag, manifests: dict[str, set[str]]) -> None:
    if not os.path.lexists(bag.folder / "fetch.txt"):
        return
    for number, line in enumerate(re.split(r"\r\n|\n|\r", _text(bag, "fetch.txt") or ""), 1):
        if not line.strip():
            continue
        parts = line.strip().split(None, 2)
        url = urlsplit(parts[0])
        if len(parts) != 3 or not re.fullmatch(r"[0-9]+|-", parts[1]):
            bag.blame("fetch.txt", f"line {number} is not a URL, a length and a path")
            continue
        if not (url.scheme and url.netloc) and url.scheme != "file":
            bag.blame("fetch.txt", f"line {number} has no complete URL")
        path = unescaped(parts[2])
        if unsafe(path):
            bag.blame(path, f"the path in fetch.txt is refused: {unsafe(path)}")
        elif any(normalize("NFC", path) not in paths for paths in manifests.values()):
            bag.blame(path, "fetch.txt names it, a payload manifest does not")


def _check_complete(bag: _Bag, manifests: dict[str, set[str]]) -> None:
    for algorithm, paths in manifests.items():
        for key, path in bag.payload.items():
            if key not in paths:
                bag.blame(path, f"it is not listed in manifest-{algorithm}.txt")
        for key in sorted(paths - bag.payload.keys()):
            bag.blame(key, "it is listed but missing")


def _check_digests(bag: _Bag, report: Report, cancelled: Cancelled) -> None:
    for number, (key, digests) in enumerate(bag.wanted.items()):
        path = bag.payload.get(key) if key.startswith("data/") else key
        if path is None:
            continue  # already said to be missing
        file = bag.folder / path
        if not os.path.lexists(file):
            bag.blame(path, "it is listed but missing")
            continue
        report(Progress("Checking the bag", number, len(bag.wanted), note=path))
        try:
            computed = _digests(file, list(digests), cancelled)
        except OSError as error:
            bag.blame(path, f"it cannot be read: {error.strerror}")
            continue
        for algorithm, digest in digests.items():
            if computed[algorithm] != digest:
                bag.blame(path, f"its {algorithm} checksum is wrong")


def _digests(path: Path, algorithms: list[str], cancelled: Cancelled) -> dict[str, str]:
    hashes = {name: hashlib.new(name) for name in algorithms}

    def after_block(_: int) -> None:
        if cancelled():
            raise Stopped

    with open_regular(path) as file:
        hash_open_file(file.fileno(), hashes.values(), after_block)
    return {name: digest.hexdigest() for name, digest in hashes.items()}


def _text(bag: _Bag, name: str) -> str | None:
    try:
        return read_regular(bag.folder / name, LIST_BYTES).decode("utf-8")
    except OSError as error:
        bag.blame(name, f"it cannot be read: {error.strerror}")
    except UnicodeDecodeError:
        bag.blame(name, "it is not UTF-8")
    return None
