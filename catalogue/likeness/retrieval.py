"""The index on disk that finds, for a new picture, the few scans worth fitting.

A folder holds immutable segments and one ``manifest.json`` that names them; a segment is written whole, then the
manifest is switched in one rename, so a build cut off at any point leaves the former index in force. Each segment
has a binary inverted file of features of 256 bits (faiss, memory-mapped), their positions, sizes and angles, and for
each scan its key, pHash and colour thumbnail. Small segments are merged into larger ones as they pile up.
"""

import json
import os
import shutil
import uuid
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import faiss
import numpy as np
import numpy.typing as npt

from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import THUMB, VERSION, Bytes, Features, bits
from catalogue.progress import Cancelled, never

MANIFEST = "manifest.json"


@dataclass(frozen=True, slots=True)
class Entry:
    """One scan to index: ``key`` is its SHA-256 in hex, ``phash`` its 64-bit hash as stored (orientation 1)."""

    key: str
    phash: int
    features: Features


@dataclass(frozen=True, slots=True)
class Candidate:
    """One scan worth fitting. ``votes``: agreeing features; ``bits``: pHash distance; ``thumb``: colour distance."""

    key: str
    votes: float
    bits: int
    thumb: float


@dataclass(frozen=True)
class Segment:
    """One immutable part of the index, its arrays memory-mapped."""

    name: str
    keys: npt.NDArray[np.bytes_]
    starts: npt.NDArray[np.int64]      # first row of each scan, and the end
    spots: npt.NDArray[np.uint16]      # rows × 4: x, y, log size, angle
    phashes: npt.NDArray[np.uint64]
    thumbs: Bytes
    lists: Any  # faiss.IndexBinaryFlat or IndexBinaryIVF


class Index:
    """The index in ``folder``; opening reads a few small files only."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.segments: list[Segment] = [_open(folder / name) for name in _named(folder)]

    def __len__(self) -> int:
        return sum(len(s.keys) for s in self.segments)

    def keys(self) -> set[str]:
        """Every scan in the index."""
        return {k.hex() for s in self.segments for k in s.keys.tolist()}

    def add(self, entries: Sequence[Entry], cancelled: Cancelled = never) -> None:
        """Add scans; they are found from the return of this call on, and by every later opening."""
        held = self.keys()
        fresh = [e for e in entries if e.key not in held]
        if not fresh:
            return
        parts = [_gathered(fresh)]
        names = [s.name for s in self.segments]
        small = [s for s in self.segments if len(s.keys) <= limits.SEGMENT_SMALL]
        crowded = (
            sum(len(s.keys) for s in small) + len(fresh) > limits.SEGMENT_SMALL or len(small) >= limits.SEGMENTS_SMALL
        )
        absorbed = small if crowded else []
        larger = [s for s in self.segments if s not in small]
        if absorbed and len(larger) >= limits.SEGMENTS_LARGE:
            absorbed = list(self.segments)
        parts += [_read(s) for s in absorbed]
        if cancelled():
            return
        name = _write(self.folder, parts)
        gone = {s.name for s in absorbed}
        _switch(self.folder, [n for n in names if n not in gone] + [name])
        self.segments = [s for s in self.segments if s.name not in gone] + [_open(self.folder / name)]
        for old in gone:
            shutil.rmtree(self.folder / old, ignore_errors=True)

    def candidates(self, features: Features, phashes: Sequence[int], most: int = 20) -> list[Candidate]:
        """The likeliest scans for a picture with these features and pHashes (its 8 orientations), best first."""
        found: dict[str, Candidate] = {}
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            for part in pool.map(lambda segment: _search(segment, features, phashes, most), self.segments):
                found |= {candidate.key: candidate for candidate in part}
        by_votes = sorted(found.values(), key=lambda c: -c.votes)[:most]
        near = [c for c in sorted(found.values(), key=lambda c: c.bits)[: most // 2] if c.bits <= limits.HASH_BITS]
        # a root of squares runs higher than the mean that THUMB_APART is for
        coloured = sorted(found.values(), key=lambda c: c.thumb)[: most // 2]
        alike = [c for c in coloured if c.thumb <= limits.THUMB_APART * 1.25]
        return list({c.key: c for c in [*by_votes, *near, *alike]}.values())


def rebuild(folder: Path, entries: Iterable[Entry], cancelled: Cancelled = never, batch: int = 20_000) -> Index:
    """A fresh index from the catalogue, beside the old one until it is whole; then the old one goes."""
    names: list[str] = []
    waiting: list[Entry] = []
    folder.mkdir(parents=True, exist_ok=True)
    for entry in entries:
        if cancelled():
            return Index(folder)
        waiting.append(entry)
        if len(waiting) == batch:
            names.append(_write(folder, [_gathered(waiting)]))
            waiting = []
    if waiting:
        names.append(_write(folder, [_gathered(waiting)]))
    old = _named(folder)
    _switch(folder, names)
    for name in set(old) - set(names):
        shutil.rmtree(folder / name, ignore_errors=True)
    return Index(folder)


def sweep(folder: Path) -> None:
    """Remove what cut-off builds left behind. Only for the one writer."""
    kept = set(_named(folder))
    if folder.is_dir():
        for entry in folder.iterdir():
            if entry.is_dir() and entry.name.startswith(("segment-", "making-")) and entry.name not in kept:
                shutil.rmtree(entry, ignore_errors=True)


# --- parts in memory -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Part:
    keys: npt.NDArray[np.bytes_]
    counts: npt.NDArray[np.int64]
    spots: npt.NDArray[np.uint16]
    codes: Bytes
    phashes: npt.NDArray[np.uint64]
    thumbs: Bytes


def _gathered(entries: Sequence[Entry]) -> _Part:
    chosen = [_indexed(e.features) for e in entries]
    return _Part(
        np.array([bytes.fromhex(e.key) for e in entries], "V32"),
        np.array([len(rows) for rows in chosen], np.int64),
        np.concatenate([_coded(e.features.spots[rows]) for e, rows in zip(entries, chosen, strict=True)]),
        np.concatenate([bits(e.features.sift[rows]) for e, rows in zip(entries, chosen, strict=True)]),
        np.array([e.phash for e in entries], np.uint64),
        np.stack([e.features.thumb for e in entries]).reshape(len(entries), -1),
    )


def _indexed(features: Features) -> npt.NDArray[np.intp]:
    """Every so many-th feature: they are kept in order of scale, so each scale gives its share."""
    count = min(limits.INDEXED, len(features.sift))
    return np.linspace(0, len(features.sift) - 1, count).round().astype(np.intp) if count else np.zeros(0, np.intp)


def _coded(s: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16]:
    """x, y in 64ths of a pixel, size as log2 in 2048ths, angle in hundredths of a degree."""
    coded = np.stack(
        [
            np.clip(s[:, 0], 0, 1023) * 64,
            np.clip(s[:, 1], 0, 1023) * 64,
            np.log2(np.maximum(s[:, 2], 1)) * 2048,
            s[:, 3] * 100,
        ],
        axis=1,
    )
    return np.asarray(coded.round(), np.uint16)


# --- parts on disk -------------------------------------------------------------------------------------


def _named(folder: Path) -> list[str]:
    try:
        told = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return []
    return list(told["segments"]) if told.get("version") == VERSION else []


def _switch(folder: Path, names: list[str]) -> None:
    made = folder / f"{MANIFEST}.{uuid.uuid4().hex}"
    with made.open("w", encoding="utf-8") as out:
        json.dump({"version": VERSION, "segments": names}, out)
        out.flush()
        os.fsync(out.fileno())
    made.replace(folder / MANIFEST)


def _write(folder: Path, parts: Sequence[_Part]) -> str:
    folder.mkdir(parents=True, exist_ok=True)
    label = uuid.uuid4().hex
    making, name = folder / f"making-{label}", f"segment-{label}"
    making.mkdir()
    codes = np.concatenate([p.codes for p in parts])
    arrays = {
        "keys": np.concatenate([p.keys for p in parts]),
        "starts": np.concatenate([[0], np.cumsum(np.concatenate([p.counts for p in parts]))]).astype(np.int64),
        "spots": np.concatenate([p.spots for p in parts]),
        "phashes": np.concatenate([p.phashes for p in parts]),
        "thumbs": np.concatenate([p.thumbs for p in parts]),
    }
    for stem, array in arrays.items():
        np.save(making / f"{stem}.npy", array)
    faiss.write_index_binary(_lists(codes), str(making / "lists.faiss"))
    for path in making.iterdir():
        with path.open("rb") as done:
            os.fsync(done.fileno())
    making.replace(folder / name)
    return name


def _lists(codes: Bytes) -> Any:
    """Few descriptors are searched one by one; many go into an inverted file of about 1,500 a list."""
    if len(codes) < limits.FLAT_ROWS:
        flat = faiss.IndexBinaryFlat(256)
        if len(codes):
            flat.add(codes)
        return flat
    count = int(np.clip(len(codes) // 1500, 16, 8192))
    lists = faiss.IndexBinaryIVF(faiss.IndexBinaryFlat(256), 256, count)
    lists.own_fields = False
    lists.cp.niter, lists.cp.max_points_per_centroid, lists.cp.seed = 6, 64, 7
    sample = np.random.default_rng(7).choice(len(codes), min(len(codes), count * 64), replace=False)
    lists.train(codes[np.sort(sample)])
    lists.add(codes)
    return lists


def _open(folder: Path) -> Segment:
    def mapped(stem: str) -> Any:
        return np.load(folder / f"{stem}.npy", mmap_mode="r")

    lists = faiss.read_index_binary(str(folder / "lists.faiss"), faiss.IO_FLAG_MMAP)
    if hasattr(lists, "nprobe"):
        lists.nprobe = limits.PROBES
    return Segment(
        folder.name, mapped("keys"), mapped("starts"), mapped("spots"), mapped("phashes"), mapped("thumbs"), lists,
    )


def _read(segment: Segment) -> _Part:
    return _Part(
        np.array(segment.keys), np.diff(segment.starts), np.array(segment.spots), _codes(segment),
        np.array(segment.phashes), np.array(segment.thumbs),
    )


def _codes(segment: Segment) -> Bytes:
    """All descriptors of a segment in row order, taken back out of its lists."""
    lists, rows = segment.lists, int(segment.starts[-1])
    if not isinstance(lists, faiss.IndexBinaryIVF):
        return np.array(faiss.vector_to_array(lists.xb).reshape(rows, 32), np.uint8)
    codes = np.empty((rows, 32), np.uint8)
    for number in range(lists.nlist):
        size = lists.invlists.list_size(number)
        if size:
            ids = np.array(faiss.rev_swig_ptr(lists.invlists.get_ids(number), size))
            codes[ids] = faiss.rev_swig_ptr(lists.invlists.get_codes(number), size * 32).reshape(size, 32)
    return codes


# --- search --------------------------------------------------------------------------------------------


def _search(segment: Segment, features: Features, phashes: Sequence[int], most: int) -> list[Candidate]:
    faiss.omp_set_num_threads(1)  # counts for this thread only: segments are searched side by side instead
    votes = _votes(segment, features)
    apart = np.full(len(segment.keys), 64, np.int64)
    stored = np.asarray(segment.phashes)
    for value in phashes:
        apart = np.minimum(apart, np.bitwise_count(stored ^ np.uint64(value)))
    thumbs = _thumb_distances(segment, features)
    chosen = (
        set(_largest(votes, most)) | set(_largest(-apart.astype(float), most // 2)) | set(_largest(-thumbs, most // 2))
    )
    return [
        Candidate(bytes(segment.keys[i]).hex(), float(votes[i]), int(apart[i]), float(thumbs[i]))
        for i in sorted(chosen)
    ]


def _largest(values: npt.NDArray[np.floating], count: int) -> list[int]:
    if len(values) <= count:
        return list(range(len(values)))
    return [int(i) for i in np.argpartition(values, -count)[-count:]]


def _thumb_distances(segment: Segment, features: Features) -> npt.NDArray[np.float64]:
    """Root of the mean square over cells and channels, best of four quarter turns."""
    stored = np.asarray(segment.thumbs).astype(np.float32)
    own = features.thumb.reshape(THUMB, THUMB, 3).astype(np.float32)
    turned = np.stack([np.rot90(own, k).reshape(-1) for k in range(4)], axis=1)
    square = (stored**2).sum(axis=1)[:, None] + (turned**2).sum(axis=0) - 2 * stored @ turned
    return np.asarray(np.sqrt(np.maximum(square.min(axis=1), 0) / len(turned)), np.float64)


def _votes(segment: Segment, features: Features) -> npt.NDArray[np.float64]:
    """For each scan, the weight of features that agree on a turn (30° bins) and a scale (half octaves)."""
    scans = len(segment.keys)
    votes = np.zeros(scans)
    if not len(features.sift) or not segment.starts[-1]:
        return votes
    near = min(limits.NEAREST + 1, int(segment.starts[-1]))
    distance, row = segment.lists.search(bits(features.sift), near)
    good = (row >= 0) & (distance <= limits.BITS_APART)
    query, _ = np.nonzero(good)
    rows, weight = row[good], _weights(distance)[good]
    scan = np.searchsorted(segment.starts, rows, side="right") - 1
    own, theirs = features.spots[query], np.asarray(segment.spots)[rows]
    turn = (theirs[:, 3] / 100.0 - own[:, 3]) % 360.0
    octave = theirs[:, 2] / 2048.0 - np.log2(np.maximum(own[:, 2], 1))
    turns, octaves = 12, 14
    # each vote falls in the two nearest bins of either quantity, so that none is split at a bin's edge
    for dt in (0, 1):
        for do in (0, 1):
            t = (np.floor(turn / 30.0 - 0.5).astype(int) + dt) % turns
            o = np.clip(np.floor(octave * 2.0 - 0.5).astype(int) + do + octaves // 2, 0, octaves - 1)
            key = (scan * turns + t) * octaves + o
            # one query feature counts once for a scan and bin
            _, first = np.unique(key * (len(features.sift) + 1) + query, return_index=True)
            place, total = _summed(key[first], weight[first])
            np.maximum.at(votes, place // (turns * octaves), total)
    return votes


def _weights(distance: npt.NDArray[np.int32]) -> npt.NDArray[np.float64]:
    """A neighbour counts by how much nearer it is than the last one looked up: a feature that every picture has
    (a straight edge, a leaf) says little."""
    return np.asarray(np.maximum(0.0, 1.0 - distance / np.maximum(distance[:, -1:], 1)) ** 2, np.float64)


def _summed(
    keys: npt.NDArray[np.int64], weights: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    place, where = np.unique(keys, return_inverse=True)
    return np.asarray(place, np.int64), np.asarray(np.bincount(where, weights, len(place)), np.float64)
