"""Files put on a store, and the truth about each.

An entry of truth is written at the moment its file is, from what was done, never read back from the file.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from .capture import Matrix, Samples
from .tiffs import Form

Entry = dict[str, Any]


def relation(kind: str, of: str, m: Matrix | None = None, **facts: object) -> Entry:
    """How a file came from another: the kind, the parent's path, and the matrix parent pixel → file pixel."""
    made: Entry = {"kind": kind, "of": of}
    if m is not None:
        made["matrix"] = [[round(float(v), 6) for v in row] for row in m]
        if not m[2, :2].any():
            made["scale"] = round(float(np.sqrt(np.linalg.det(m[:2, :2]))), 6)
            made["rotation_deg"] = round(float(np.degrees(np.arctan2(m[1, 0], m[0, 0]))), 4)
    return made | facts


def described(pixels: Samples, form: Form, ppi: float, pages: int = 1) -> Entry:
    """What a reader should say of the file's structure."""
    return {
        "width": int(pixels.shape[1]),
        "height": int(pixels.shape[0]),
        "bits": form.bits,
        "samples": 1 if pixels.ndim == 2 else int(pixels.shape[2]),
        "space": form.space,
        "compression": form.compression,
        "tiled": form.tiled,
        "bigtiff": form.big,
        "byteorder": "big" if form.order == ">" else "little",
        "profile": form.profile_name,
        "ppi": ppi,
        "pages": pages,
        "alpha": form.alpha,
    }


@dataclass
class Shelf:
    """The archive folder under work."""

    root: Path
    seed: int
    entries: dict[str, Entry] = field(default_factory=dict)

    def path(self, name: str) -> Path:
        made = self.root / name
        made.parent.mkdir(parents=True, exist_ok=True)
        return made

    def record(
        self,
        name: str,
        *,
        role: str,
        artist: str | None = None,
        piece: str | None = None,
        when: datetime | None = None,
        related: Entry | None = None,
        fault: Entry | None = None,
        current: bool = False,
        **facts: object,
    ) -> None:
        """Note what `name`, already written, is."""
        path = self.root / name
        data = path.read_bytes()
        if when is not None:
            stamp = int(when.timestamp())
            os.utime(path, (stamp, stamp))
        self.entries[name] = {
            "sha256": hashlib.sha256(data).hexdigest(),
            "bytes": len(data),
            "artist": artist,
            "piece": piece,
            "role": role,
            "current_master": current,
            "relation": related,
            "fault": fault,
            **facts,
        }

    def copy(self, name: str, of: str) -> None:
        """A byte copy of `of` called `name`, with its times."""
        source = self.root / of
        self.path(name).write_bytes(source.read_bytes())
        stamp = source.stat().st_mtime
        os.utime(self.root / name, (stamp, stamp))
        self.entries[name] = self.entries[of] | {"relation": relation("same bytes", of), "current_master": False}

    def happens_since(self, name: str, kind: str) -> None:
        """What becomes of `name` after it was indexed: "missing", "truncated", or "changed" in its middle.

        The file itself stays whole; `since/` holds what takes its place, and the names of files that go. A catalogue
        that has read the archive before can tell; one that first sees the damaged file cannot.
        """
        if kind == "missing":
            gone = self.path("since/removed.txt")
            gone.write_text(name + "\n", encoding="utf-8")
            self.record("since/removed.txt", role="list", fault={"kind": kind, "of": name})
            return
        data = bytearray((self.root / name).read_bytes())
        if kind == "truncated":
            data = data[: len(data) * 3 // 5]
        else:
            middle = len(data) * 2 // 3
            data[middle : middle + 48] = bytes(b ^ 0x5A for b in data[middle : middle + 48])
        later = f"since/files/{name}"
        self.path(later).write_bytes(data)
        stamp = (self.root / name).stat().st_mtime
        os.utime(self.root / later, (stamp, stamp))
        self.entries[later] = self.entries[name] | {
            "sha256": hashlib.sha256(data).hexdigest(),
            "bytes": len(data),
            "current_master": False,
            "relation": relation("damaged copy of", name),
            "fault": {"kind": kind, "of": name},
        }

    def write_truth(self, **facts: object) -> None:
        """Write truth.json: notes, names, and one entry a file, in path order."""
        truth = {
            "about": "What every file of this archive is, written by the generator as it made them.",
            "geometry": "matrix (3x3) maps pixel centres of the parent file to those of this file, x right, y down, "
            "first centre at 0,0; rotation_deg is clockwise as seen; x, y, w, h are pixels of the parent.",
            "seed": self.seed,
            **facts,
            "files": dict(sorted(self.entries.items())),
        }
        (self.root / "truth.json").write_text(json.dumps(truth, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
