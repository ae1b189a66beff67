"""Examining pairs of scans: digests, features, pixels, cheapest first."""

import math
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from catalogue.errors import Damaged
from catalogue.likeness import confirmation, direct, geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.comparison import compare
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.features import Bytes, Features
from catalogue.likeness.part_location import locate_part
from catalogue.likeness.relation import decide, exact, reduction


@dataclass(frozen=True)
class Side:
    """One scan of a pair: its facts, its features, and its preview, decoded only if needed."""

    facts: ScanFacts
    features: Features
    load: Callable[[], Bytes]

    @cached_property
    def preview(self) -> Bytes:
        return self.load()

    @cached_property
    def soft(self) -> bool:
        return direct.soft(self.preview)

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
    if fit is None and thumb_distance(a.features, b.features) < limits.THUMB_APART:
        fit = direct.align(a.preview, b.preview)
        if fit and fit.texture < limits.TEXTURE_HOLD and not (a.soft and b.soft):
            return None  # frame on frame says nothing of two pictures full of detail
    return _decided(a, b, fit)


def examine_part(a: Side, b: Side) -> Evidence | None:
    """As :func:`examine`, where that found nothing: one may be a part of the other, captured as finely. Slower by
    the correlation over every place."""
    scale = known_scale(a, b)
    share = a.size[0] * a.size[1] * scale**2 / (b.size[0] * b.size[1])
    if limits.LOCATE_MOST < share < 1 / limits.LOCATE_MOST:
        return None  # about as large: neither is a part of the other
    if share < 1:
        return _decided(a, b, locate_part(a.preview, b.preview, scale))
    fit = locate_part(b.preview, a.preview, 1 / scale)
    return _decided(a, b, replace(fit, matrix=geometry.inverse(fit.matrix)) if fit else None)


def against(side: Side, others: Sequence[Side], *, located: bool = False) -> list[Evidence | None]:
    """What one scan has to do with each of others, likeliest first: the answers in the same order. Where it is not
    found to show the same as another, the first few without an answer are tried as its whole or its part.
    ``located``: that was found before, with a scan that is not among these."""
    results = examine_each(side, others)
    if not located and not any(e and locates(e) for e in results):
        tried = [n for n, e in enumerate(results) if e is None][: limits.LOCATE_TRIES]
        for n, e in zip(tried, locate_each(side, [others[n] for n in tried]), strict=True):
            results[n] = e
    return results


def examine_each(side: Side, others: Sequence[Side]) -> list[Evidence | None]:
    """:func:`examine` for many, on all processors."""
    return _each(examine, side, others)


def locate_each(side: Side, others: Sequence[Side]) -> list[Evidence | None]:
    """:func:`examine_part` for many, on all processors."""
    return _each(examine_part, side, others)


def _each(
    how: Callable[[Side, Side], Evidence | None], side: Side, others: Sequence[Side]
) -> list[Evidence | None]:
    def tried(other: Side) -> Evidence | None:
        try:
            return how(side, other)
        except Damaged:
            return None  # a preview is missing: nothing can be shown of this pair, as the caller knows

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(tried, others))


def _decided(a: Side, b: Side, fit: geometry.Fit | None) -> Evidence | None:
    if fit is None:
        return None
    matrix, rigid = fit.matrix, False
    # many features know the place better than pixels do, where these are soft
    reach = limits.POLISH_REACH if fit.inliers < limits.INLIERS_LOCATED else limits.POLISH_REACH_LOCATED
    if fit.inliers < limits.INLIERS_EXACT:
        scale = known_scale(a, b)
        rigid = abs(math.log(fit.scale / scale)) < limits.SCALE_NEAR
        if rigid:  # few features or a soft picture give the scale less well than the two sizes do
            matrix = geometry.rescaled(matrix, scale / fit.scale, _middle(a, b, matrix))
    tracked = fit.inliers >= (limits.ORIENTED_BELOW if rigid else 1)
    comparison = compare(a.preview, b.preview, matrix, reach=reach, rigid=rigid, tracked=tracked)
    return decide(a.facts, b.facts, (a.size, b.size), fit, comparison) if comparison else None


def _middle(a: Side, b: Side, matrix: geometry.Matrix) -> geometry.Points:
    """The centre of the overlap, on a."""
    quad = geometry.apply(geometry.inverse(matrix), geometry.corners(b.size))
    low, high = np.maximum(quad.min(axis=0), 0), np.minimum(quad.max(axis=0), a.size)
    return np.asarray((low + high) / 2, np.float64)


def known_scale(a: Side, b: Side) -> float:
    """Preview pixels of b for each of a along the same stretch of the artwork, going by full sizes and ppi; pixel for
    pixel where either ppi is unknown or no scanner's."""
    ppi_a, ppi_b = a.facts.ppi or 0.0, b.facts.ppi or 0.0
    finer = ppi_b / ppi_a if min(ppi_a, ppi_b) >= limits.PPI_SCANNED else 1.0
    return reduction(a.facts, a.size) / reduction(b.facts, b.size) * finer


def locates(evidence: Evidence) -> bool:
    """Whether a is known by it: b shows the whole of it, or the original that it is a part of."""
    return evidence.relation.whole or (evidence.relation in (Relation.TILE, Relation.DETAIL) and ordered(evidence))


def ordered(evidence: Evidence) -> bool:
    """Whether a stays first; it does unless b is the part."""
    return not (evidence.relation in (Relation.TILE, Relation.DETAIL) and evidence.overlap_b > evidence.overlap_a)


def thumb_distance(a: Features, b: Features) -> float:
    """Mean difference of the colour thumbnails over cells and channels, best of four quarter turns."""
    thumb_a, thumb_b = a.thumb.astype(np.float32), b.thumb.astype(np.float32)
    return float(min(np.abs(np.rot90(thumb_a, k) - thumb_b).mean() for k in range(4)))
