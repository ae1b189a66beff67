"""The on-disk index that finds, for a new picture, the few scans worth fitting.

A folder holds immutable segments and one ``manifest.json`` that names them. A segment is written completely, then one
rename switches the manifest, so an interrupted build leaves the former index valid. Small segments are merged into
larger ones as they pile up.
"""

import json
import os
import shutil
import uuid
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import faiss
import numpy as np
import numpy.typing as npt

from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import THUMB, VERSION, Bytes, Features, bits
from catalogue.likeness.shards import Shard, ShardData, open_shard, read, write
from catalogue.progress import Cancelled, never_cancelled

MANIFEST = "manifest.json"
Lists = npt.NDArray[np.int64]  # N×PROBES: numbers of lists


@dataclass(frozen=True, slots=True)
class Candidate:
    """One scan worth fitting. ``votes``: agreeing features; ``bits``: pHash distance; ``thumb``: colour distance."""

    key: str
    votes: float
    bits: int
    thumb: float


class Index:
    """The index in ``folder``; opening reads a few small files only."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.segments: list[Shard] = [open_shard(folder / name) for name in _named(folder)]

    def __len__(self) -> int:
        return sum(len(s.keys) for s in self.segments)

    def held(self, keys: Iterable[str]) -> set[str]:
        """Those of these scans that are in the index."""
        asked = {bytes.fromhex(key) for key in keys}
        return {key.hex() for segment in self.segments for key in asked.intersection(segment.keys.tolist())}

    def join(self, parts: Sequence[ShardData], cancelled: Cancelled = never_cancelled) -> None:
        """Add scans gathered before, none of them held already."""
        absorbed = self._absorbed(sum(len(p.keys) for p in parts))
        if cancelled():
            return
        name = write(self.folder, [*parts, *(read(s) for s in absorbed)], self.segments)
        gone = {s.name for s in absorbed}
        _switch(self.folder, [s.name for s in self.segments if s.name not in gone] + [name])
        self.segments = [s for s in self.segments if s.name not in gone] + [open_shard(self.folder / name)]
        for old in gone:
            shutil.rmtree(self.folder / old, ignore_errors=True)

    def _absorbed(self, count: int) -> list[Shard]:
        """The segments to rewrite together with this many new scans: the small ones once they pile up, and on from
        the smallest whatever is no larger than all before it, so that a scan is rewritten a few times at most."""
        bysize = sorted(self.segments, key=lambda s: len(s.keys))
        small = [s for s in bysize if len(s.keys) <= limits.SEGMENT_SMALL]
        total = count + sum(len(s.keys) for s in small)
        if total <= limits.SEGMENT_SMALL and len(small) < limits.SEGMENTS_SMALL:
            return []
        chosen = small
        for segment in bysize[len(small):]:
            if len(segment.keys) > total or total + len(segment.keys) > limits.SEGMENT_MOST:
                break
            chosen.append(segment)
            total += len(segment.keys)
        return chosen

    def candidates(self, features: Features, phashes: Sequence[int], most: int = 20) -> list[Candidate]:
        """The likeliest scans for a picture with these features and pHashes (its 8 orientations), best first."""
        if len(features.sift) > limits.ASKED:  # an even sample, because they are in order of scale
            rows = np.linspace(0, len(features.sift) - 1, limits.ASKED).round().astype(np.intp)
            features = replace(features, spots=features.spots[rows], sift=features.sift[rows])
        candidates: dict[str, Candidate] = {}
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            codes = bits(features.sift)
            nearest = pool.submit(_nearest_lists, self.segments, codes).result()
            for part in pool.map(lambda segment: _search(segment, features, codes, nearest, phashes, most),
                                 self.segments):
                candidates |= {candidate.key: candidate for candidate in part}
        by_votes = sorted(candidates.values(), key=lambda c: -c.votes)[:most]
        near = [c for c in sorted(candidates.values(), key=lambda c: c.bits)[: most // 2] if c.bits <= limits.HASH_BITS]
        # a root of squares runs higher than the mean that THUMB_APART is for
        coloured = sorted(candidates.values(), key=lambda c: c.thumb)[: most // 2]
        alike = [c for c in coloured if c.thumb <= limits.THUMB_APART * 1.25]
        return list({c.key: c for c in [*by_votes, *near, *alike]}.values())


def sweep(folder: Path) -> None:
    """Remove leftovers of interrupted builds. Only for the one writer."""
    named = set(_named(folder))
    if folder.is_dir():
        for entry in folder.iterdir():
            if entry.is_dir() and entry.name.startswith(("segment-", "making-")) and entry.name not in named:
                shutil.rmtree(entry, ignore_errors=True)


def _named(folder: Path) -> list[str]:
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return []
    return list(manifest["segments"]) if manifest.get("version") == VERSION else []


def _switch(folder: Path, names: list[str]) -> None:
    made = folder / f"{MANIFEST}.{uuid.uuid4().hex}"
    with made.open("w", encoding="utf-8") as out:
        json.dump({"version": VERSION, "segments": names}, out)
        out.flush()
        os.fsync(out.fileno())
    made.replace(folder / MANIFEST)


# --- search --------------------------------------------------------------------------------------------


def _nearest_lists(segments: Sequence[Shard], codes: Bytes) -> dict[bytes, Lists]:
    """The lists to search for each descriptor, by the centres of lists, which many segments share."""
    faiss.omp_set_num_threads(1)  # counts for this thread only
    models = {segment.centres.tobytes(): segment.lists for segment in segments if len(segment.centres)}
    return {centres: lists.quantizer.search(codes, limits.PROBES)[1] for centres, lists in models.items()}


def _search(segment: Shard, features: Features, codes: Bytes, nearest: dict[bytes, Lists], phashes: Sequence[int],
            most: int) -> list[Candidate]:
    faiss.omp_set_num_threads(1)  # segments are searched side by side instead
    votes = _votes(segment, features, codes, nearest.get(segment.centres.tobytes()))
    phash_distance = np.full(len(segment.keys), 64, np.int64)
    stored = np.asarray(segment.phashes)
    for value in phashes:
        phash_distance = np.minimum(phash_distance, np.bitwise_count(stored ^ np.uint64(value)))
    thumbs = _thumb_distances(segment, features)
    chosen = {*_largest(votes, most), *_largest(-phash_distance.astype(float), most // 2),
              *_largest(-thumbs, most // 2)}
    return [
        Candidate(bytes(segment.keys[i]).hex(), float(votes[i]), int(phash_distance[i]), float(thumbs[i]))
        for i in sorted(chosen)
    ]


def _largest(values: npt.NDArray[np.floating], count: int) -> list[int]:
    if len(values) <= count:
        return list(range(len(values)))
    return [int(i) for i in np.argpartition(values, -count)[-count:]]


def _thumb_distances(segment: Shard, features: Features) -> npt.NDArray[np.float64]:
    """Root of the mean square over cells and channels, best of four quarter turns."""
    stored = np.asarray(segment.thumbs).astype(np.float32)
    own = features.thumb.reshape(THUMB, THUMB, 3).astype(np.float32)
    turned = np.stack([np.rot90(own, k).reshape(-1) for k in range(4)], axis=1)
    square = (stored**2).sum(axis=1)[:, None] + (turned**2).sum(axis=0) - 2 * stored @ turned
    return np.asarray(np.sqrt(np.maximum(square.min(axis=1), 0) / len(turned)), np.float64)


def _votes(segment: Shard, features: Features, codes: Bytes, lists: Lists | None) -> npt.NDArray[np.float64]:
    """For each scan, the weight of features that agree on a turn (30° bins) and a scale (half octaves). ``lists``: to
    be searched for each descriptor, where the segment has lists."""
    scans = len(segment.keys)
    votes = np.zeros(scans)
    if not len(features.sift) or not segment.starts[-1]:
        return votes
    near = min(limits.NEAREST + 1, int(segment.starts[-1]))
    distance, row = (segment.lists.search(codes, near) if lists is None
                     else segment.lists.search_preassigned(codes, near, lists, None))
    good = (row >= 0) & (distance <= limits.BITS_APART)
    query, _ = np.nonzero(good)
    rows, weight = row[good], _weights(distance)[good]
    scan = np.searchsorted(segment.starts, rows, side="right") - 1
    own, theirs = features.spots[query], np.asarray(segment.spots)[rows]
    turn = (theirs[:, 1] / 100.0 - own[:, 3]) % 360.0
    octave = theirs[:, 0] / 2048.0 - np.log2(np.maximum(own[:, 2], 1))
    turns, octaves = 12, 14
    # each vote falls in the two nearest bins of either quantity, so that none is split at a bin's edge
    for dt in (0, 1):
        for do in (0, 1):
            t = (np.floor(turn / 30.0 - 0.5).astype(int) + dt) % turns
            o = np.clip(np.floor(octave * 2.0 - 0.5).astype(int) + do + octaves // 2, 0, octaves - 1)
            key = (scan * turns + t) * octaves + o
            # one query feature counts once for a scan and bin
            _, first = np.unique(key * (len(features.sift) + 1) + query, return_index=True)
            bins, total = _summed(key[first], weight[first])
            np.maximum.at(votes, bins // (turns * octaves), total)
    return votes


def _weights(distance: npt.NDArray[np.int32]) -> npt.NDArray[np.float64]:
    """A neighbour counts by how much nearer it is than the last one looked up: a feature that every picture has
    (a straight edge, a leaf) says little."""
    return np.asarray(np.maximum(0.0, 1.0 - distance / np.maximum(distance[:, -1:], 1)) ** 2, np.float64)


def _summed(
    keys: npt.NDArray[np.int64], weights: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    bins, where = np.unique(keys, return_inverse=True)
    return np.asarray(bins, np.int64), np.asarray(np.bincount(where, weights, len(bins)), np.float64)
