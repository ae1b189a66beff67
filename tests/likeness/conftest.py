"""Pictures neither of us drew: those that scikit-image ships (CC0 or public domain, see its data README)."""

from collections.abc import Callable
from functools import cache

import cv2
import numpy as np
import pytest

from catalogue.likeness.evidence import ScanFacts
from catalogue.likeness.examine import Side
from catalogue.likeness.features import Bytes, Features, extract
from scripts import likeness_captures as captures
from tests.photographs import photograph

NAMES = ("astronaut", "coffee", "chelsea", "rocket", "retina", "ihc")


@cache
def artwork(name: str, side: int = 640) -> Bytes:
    """A picture enlarged or reduced to a long side of ``side`` px, RGB."""
    raw = photograph(name)
    rgb = raw if raw.ndim == 3 else np.dstack([raw] * 3)
    factor = side / max(rgb.shape[:2])
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    return np.ascontiguousarray(cv2.resize(rgb[..., :3], None, fx=factor, fy=factor, interpolation=how))


@cache
def master(name: str) -> captures.Capture:
    """The artwork's first scan, as its preview."""
    rng = np.random.default_rng(1)
    return captures.preview(captures.scan(artwork(name), 7, rng, turn=0.2, strength=0.5))


def side_of(picture: Bytes, key: str = "a", **facts: object) -> Side:
    """One side of a pair; full pixels ten times the preview's unless said otherwise."""
    height, width = picture.shape[:2]
    given = {"sha256": key, "width": width * 10, "height": height * 10, "bits": 16, "format": "TIFF", **facts}
    return Side(ScanFacts(**given), extract(picture), lambda: picture)  # type: ignore[arg-type]


@cache
def master_features(name: str) -> Features:
    """The features of :func:`master`."""
    return extract(master(name).picture)


@cache
def master_side(name: str) -> Side:
    """The master as one side of a pair, 8 full pixels for each of the artwork's."""
    picture = master(name).picture
    height, width = picture.shape[:2]
    facts = ScanFacts(name, width * 10, height * 10, bits=16, format="TIFF")
    return Side(facts, master_features(name), lambda: picture)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(42)


Make = Callable[..., captures.Capture]
