"""One immutable part of the index, in memory and on disk.

A segment has a binary inverted file of 256-bit features (faiss, memory-mapped), their sizes and angles, and each scan's
key, pHash and colour thumbnail. It is written under a temporary name and then renamed.
"""

import os
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import faiss
import numpy as np
import numpy.typing as npt

from catalogue.errors import CatalogueError
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Bytes, Features, bits

SAMPLED = 40  # descriptors a list is found from: the least that faiss takes without a warning


@dataclass(frozen=True, slots=True)
class Entry:
    """One scan to index: ``key`` is its SHA-256 in hex, ``phash`` its 64-bit hash as stored (orientation 1)."""

    key: str
    phash: int
    features: Features


@dataclass(frozen=True, slots=True)
class ShardData:
    """Scans as the index keeps them, in memory: about 20 kB each."""

    keys: npt.NDArray[np.bytes_]
    counts: npt.NDArray[np.int64]
    spots: npt.NDArray[np.uint16]
    codes: Bytes
    phashes: npt.NDArray[np.uint64]
    thumbs: Bytes


@dataclass(frozen=True)
class Shard:
    """One immutable part of the index, its arrays memory-mapped."""

    name: str
    keys: npt.NDArray[np.bytes_]
    starts: npt.NDArray[np.int64]      # first row of each scan, and the end
    spots: npt.NDArray[np.uint16]      # rows × 2: log size, angle
    phashes: npt.NDArray[np.uint64]
    thumbs: Bytes
    lists: Any  # faiss.IndexBinaryFlat or IndexBinaryIVF
    centres: Bytes  # of the lists, count × 32; none where descriptors are searched one by one


def gather_entries(entries: Sequence[Entry]) -> ShardData:
    """Scans brought to the form they are indexed in; the entries may go."""
    return ShardData(
        np.array([bytes.fromhex(e.key) for e in entries], "V32"),
        np.array([len(e.features.sift) for e in entries], np.int64),
        np.concatenate([_coded(e.features.spots) for e in entries]),
        np.concatenate([bits(e.features.sift) for e in entries]),
        np.array([e.phash for e in entries], np.uint64),
        np.stack([e.features.thumb for e in entries]).reshape(len(entries), -1),
    )


def _coded(s: npt.NDArray[np.float32]) -> npt.NDArray[np.uint16]:
    """Size as log2 in 2048ths, angle in hundredths of a degree."""
    return np.asarray(np.stack([np.log2(np.maximum(s[:, 2], 1)) * 2048, s[:, 3] * 100], axis=1).round(), np.uint16)


def write(folder: Path, parts: Sequence[ShardData], others: Sequence[Shard] = ()) -> str:
    """One segment of all these, whole on disk before it has its name, which is given back. It takes the centres of its
    lists from the ``others``, where these have enough: features need be compared with them only once then."""
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
    try:
        faiss.write_index_binary(_lists(codes, others), str(making / "lists.faiss"))
    except RuntimeError as error:  # faiss reports a failing disk in no other way
        raise CatalogueError("The index of likenesses cannot be written.", hint="Is there space on the catalogue's"
                             " disk? Then compare again: catalogue alike.", path=making) from error
    for path in making.iterdir():
        with path.open("rb") as done:
            os.fsync(done.fileno())
    making.replace(folder / name)
    return name


def _lists(codes: Bytes, others: Sequence[Shard]) -> Any:
    """Few descriptors are searched one by one; many go into an inverted file of lists, a power of two of them."""
    if len(codes) < limits.FLAT_ROWS:
        flat = faiss.IndexBinaryFlat(256)
        if len(codes):
            flat.add(codes)
        return flat
    count = 2 ** int(np.clip(np.log2(len(codes) / limits.LIST_ROWS).round(), 4, np.log2(limits.LISTS_MOST)))
    centres = faiss.IndexBinaryFlat(256)
    shared = max((segment.centres for segment in others), key=len, default=codes[:0])
    if limits.LISTS_SHARED <= count <= len(shared):
        centres.add(shared)
    lists = faiss.IndexBinaryIVF(centres, 256, centres.ntotal or count)
    lists.own_fields = False
    if not lists.is_trained:
        lists.cp.niter, lists.cp.max_points_per_centroid, lists.cp.seed = 4, SAMPLED, 7
        sample = np.random.default_rng(7).choice(len(codes), min(len(codes), count * SAMPLED), replace=False)
        lists.train(codes[np.sort(sample)])
    lists.add(codes)
    return lists


def open_shard(folder: Path) -> Shard:
    """The segment in a folder of its own; its arrays stay on disk."""
    def mapped(stem: str) -> Any:
        return np.load(folder / f"{stem}.npy", mmap_mode="r")

    lists = faiss.read_index_binary(str(folder / "lists.faiss"), faiss.IO_FLAG_MMAP)
    centres = np.empty((0, 32), np.uint8)
    if isinstance(lists, faiss.IndexBinaryIVF):
        lists.nprobe = limits.PROBES
        flat: Any = faiss.downcast_IndexBinary(lists.quantizer)
        centres = faiss.vector_to_array(flat.xb).reshape(-1, 32)
    return Shard(
        folder.name, mapped("keys"), mapped("starts"), mapped("spots"), mapped("phashes"), mapped("thumbs"), lists,
        centres,
    )


def read(segment: Shard) -> ShardData:
    """All of a segment in memory, to be written again with others."""
    return ShardData(
        np.array(segment.keys), np.diff(segment.starts), np.array(segment.spots), codes_of(segment),
        np.array(segment.phashes), np.array(segment.thumbs),
    )


def codes_of(segment: Shard) -> Bytes:
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
