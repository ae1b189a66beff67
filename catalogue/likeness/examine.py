"""One pair of scans examined: digests, features, pixels, in the order of their cost."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from catalogue.likeness import confirmation, direct
from catalogue.likeness import thresholds as limits
from catalogue.likeness.comparison import compare
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.features import Bytes, Features
from catalogue.likeness.relation import decide, exact


@dataclass(frozen=True)
class Side:
    """One scan: its facts, its features, and a way to its preview, which is decoded only if needed."""

    facts: ScanFacts
    features: Features
    load: Callable[[], Bytes]

    @cached_property
    def preview(self) -> Bytes:
        return self.load()

    @property
    def size(self) -> tuple[int, int]:
        return self.features.width, self.features.height


def examine(a: Side, b: Side) -> Evidence | None:
    """What a and b have to do with each other; ``None``: nothing. The relation reads "a … b": where only one shows
    less of the artwork, and that is b, the answer says so by ``overlap_b`` > ``overlap_a``.
    """
    known = exact(a.facts, b.facts)
    if known:
        return known
    fit = confirmation.fit_features(a.features, b.features)
    if fit is None:
        if not _soft(a, b):
            return None
        fit = direct.align(a.preview, b.preview)
        if fit is None:
            return None
    # many features know the place better than pixels do, where these are soft
    reach = limits.POLISH_REACH if fit.inliers < limits.INLIERS_FIRM else limits.POLISH_REACH_FIRM
    found = compare(a.preview, b.preview, fit.matrix, reach=reach)
    if found is None:
        return None
    return decide(a.facts, b.facts, (a.size, b.size), fit, found)


def ordered(evidence: Evidence) -> bool:
    """Whether a stays first: it does unless b is the part."""
    return not (evidence.relation in (Relation.TILE, Relation.DETAIL) and evidence.overlap_b > evidence.overlap_a)


def _soft(a: Side, b: Side) -> bool:
    """Whether both are soft and coloured alike, cell by cell, so that aligning their pixels is worth its time."""
    near = thumb_distance(a.features, b.features) < limits.THUMB_APART
    return near and direct.soft(a.preview) and direct.soft(b.preview)


def thumb_distance(a: Features, b: Features) -> float:
    """Mean difference of the colour thumbnails over cells and channels, best of four quarter turns."""
    one, two = a.thumb.astype(np.float32), b.thumb.astype(np.float32)
    return float(min(np.abs(np.rot90(one, k) - two).mean() for k in range(4)))
