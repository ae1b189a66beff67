"""What is kept of a preview so that it can be found and fitted again: local features and a colour thumbnail.

The local features are SIFT's, square-rooted. They are taken evenly over the picture and over scales, because a tile
shows at three times the size what its master shows small: features ranked by contrast alone would all sit at the
finest scale, where the two have nothing in common. A sixteenth of their range is as fine as they are kept: that
rounding is a tenth of the distance between two captures of one spot. The same features, cut down to 256 bits, go into
the inverted file that finds candidates.
"""

import io
import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from catalogue.errors import Damaged
from catalogue.likeness import geometry
from catalogue.likeness import thresholds as limits

Bytes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float32]

THUMB = 6  # cells a side of the colour thumbnail
VERSION = 2  # features and indexes of another version are made again
LEVELS = 16   # a value of a feature is kept as one of so many, two to a byte


@dataclass(frozen=True, slots=True)
class Features:
    """``spots``: N×4 float32 — x, y in preview pixels, size in pixels, angle in degrees.

    ``sift`` is N×128 uint8 (square-rooted, of norm 512, in steps of 16), ``thumb`` 6×6×3 uint8 in CIELAB.
    """

    width: int
    height: int
    spots: Floats
    sift: Bytes
    thumb: Bytes

    def to_bytes(self) -> bytes:
        """A compact form to keep beside the preview; read back by :func:`from_bytes`."""
        out = io.BytesIO()
        np.savez(
            out, size=np.array([VERSION, self.width, self.height], np.int32), spots=_pack(self.spots),
            sift=self.sift[:, ::2] // LEVELS * LEVELS + self.sift[:, 1::2] // LEVELS, thumb=self.thumb,
        )
        return out.getvalue()


def from_bytes(data: bytes) -> Features:
    """The features written by :meth:`Features.to_bytes`; ``ValueError`` if they are of another version."""
    with np.load(io.BytesIO(data)) as archive:
        version, width, height = (int(n) for n in archive["size"])
        if version != VERSION:
            raise ValueError(f"features of version {version}, not {VERSION}")
        pairs = archive["sift"]
        sift = np.stack([pairs // LEVELS * LEVELS, pairs % LEVELS * LEVELS], axis=2).reshape(-1, 128)
        return Features(width, height, _unpack(archive["spots"]), sift, archive["thumb"])


def _pack(spots: Floats) -> npt.NDArray[np.uint16]:
    """Positions to a thirty-second of a pixel, sizes likewise, angles to a tenth of a degree."""
    return np.round(spots * np.array([32, 32, 32, 10], np.float32)).astype(np.uint16)


def _unpack(packed: npt.NDArray[np.uint16]) -> Floats:
    return (packed / np.array([32, 32, 32, 10], np.float32)).astype(np.float32)


def load_preview(path: Path) -> Bytes:
    """A preview as H×W×3 uint8, sRGB. ``Damaged`` if it is gone or cannot be decoded."""
    try:
        raw = cv2.imdecode(np.frombuffer(path.read_bytes(), np.uint8), cv2.IMREAD_COLOR_RGB)
    except (OSError, cv2.error):
        raw = None
    if raw is None:
        raise Damaged("A preview is gone or damaged.", hint="Run: catalogue index --again.", path=path)
    return np.asarray(raw, np.uint8)


def extract(preview: Bytes, count: int = limits.SIFT_KEPT) -> Features:
    """About ``count`` features of a preview, H×W×3 uint8 in sRGB, sought with its long side at FEATURES_SIDE or
    hardly above. A blank preview has none, which is not an error."""
    height, width = preview.shape[:2]
    small, to_small = geometry.shrunk(preview, limits.FEATURES_SIDE / max(height, width))
    spots, sift = sift_features(levelled(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)), count)
    spots[:, :2] = geometry.apply(geometry.inverse(to_small), spots[:, :2])
    spots[:, 2] /= geometry.scale_of(to_small)
    return Features(width, height, spots, sift, thumbnail(preview))


def levelled(grey: Bytes) -> Bytes:
    """The picture with even local contrast (CLAHE), so that soft areas give features too and exposure matters less."""
    return np.asarray(cv2.createCLAHE(limits.CLAHE_CLIP, (8, 8)).apply(grey), np.uint8)


def thumbnail(preview: Bytes) -> Bytes:
    """The picture as 6×6 cells of mean CIELAB (8-bit coding of OpenCV)."""
    small = cv2.resize(preview, (THUMB * 8, THUMB * 8), interpolation=cv2.INTER_AREA)
    cells = cv2.resize(small, (THUMB, THUMB), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.cvtColor(cells, cv2.COLOR_RGB2LAB), np.uint8)


def bits(sift: Bytes) -> Bytes:
    """Features as 256 bits, N×32 uint8: the signs of their projections on fixed random directions (the angle between
    two vectors shows in the share of unequal signs, Charikar 2002)."""
    if not len(sift):
        return np.zeros((0, 32), np.uint8)
    rows = sift.astype(np.float32)
    return np.packbits((rows - rows.mean(axis=1, keepdims=True)) @ _directions() > 0, axis=1)


@cache
def _directions() -> Floats:
    """Two orthogonal frames of 128 dimensions from a fixed seed; the index depends on them staying as they are."""
    rng = np.random.default_rng(20260)
    frames = [np.linalg.qr(rng.standard_normal((128, 128)))[0] for _ in range(2)]
    return np.concatenate(frames, axis=1).astype(np.float32)


def sift_features(grey: Bytes, count: int) -> tuple[Floats, Bytes]:
    """RootSIFT (Arandjelović and Zisserman 2012: L1-normalise, square root) of about ``count`` spread spots."""
    sift = cv2.SIFT.create(nfeatures=count * 6, contrastThreshold=0.008, edgeThreshold=12)
    keypoints = sift.detect(grey, None)
    chosen = spread_over_scales(_table(keypoints), np.array([p.response for p in keypoints], np.float32), count,
                              grey.shape)
    points, codes = sift.compute(grey, [keypoints[i] for i in chosen])
    if codes is None or not len(points):
        return np.zeros((0, 4), np.float32), np.zeros((0, 128), np.uint8)
    rooted = np.sqrt(codes / np.maximum(codes.sum(axis=1, keepdims=True), 1e-6))
    steps = np.minimum(np.round(rooted * (512 / LEVELS)), LEVELS - 1)
    return _table(points), steps.astype(np.uint8) * np.uint8(LEVELS)


def _table(points: object) -> Floats:
    listed = [(p.pt[0], p.pt[1], p.size, p.angle % 360.0) for p in points]  # type: ignore[attr-defined]
    return np.array(listed, np.float32).reshape(-1, 4)


def spread_over_scales(spots: Floats, strength: Floats, count: int, shape: tuple[int, ...]) -> list[int]:
    """Indices of about ``count`` spots, with a fair share for every octave and every part of the picture."""
    if len(spots) <= count:
        return list(range(len(spots)))
    octave = np.clip(np.floor(np.log2(np.maximum(spots[:, 2], 1.0) / 2.0) + 0.5), 0, 5).astype(int)
    taken: list[int] = []
    left, bands = count, [b for b in range(5, -1, -1) if np.any(octave == b)]
    for index, band in enumerate(bands):  # coarse first: they are few, and what they leave goes to the finer
        members = np.flatnonzero(octave == band)
        share = math.ceil(left / (len(bands) - index))
        chosen = spread(spots[members], strength[members], share, shape)
        taken.extend(int(members[i]) for i in chosen)
        left = count - len(taken)
    return taken


def spread(spots: Floats, strength: Floats, count: int, shape: tuple[int, ...]) -> list[int]:
    """Indices of the strongest ``count`` spots, going round an 8×8 grid so that no passage takes them all."""
    if len(spots) <= count:
        return list(range(len(spots)))
    cell = np.minimum(spots[:, 1] * 8 / shape[0], 7).astype(int) * 8 + np.minimum(spots[:, 0] * 8 / shape[1], 7).astype(
        int
    )
    order = np.lexsort((-strength, cell))
    ordered = cell[order]
    starts = np.flatnonzero(np.r_[True, ordered[1:] != ordered[:-1]])
    rank = np.arange(len(order)) - np.repeat(starts, np.diff(np.r_[starts, len(order)]))
    turn = np.lexsort((-strength[order], rank))
    return [int(i) for i in order[turn[:count]]]
