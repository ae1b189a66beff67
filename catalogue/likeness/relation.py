"""Which relation the evidence supports, with the reasons in words.

The order: exact digests; then the geometric fit and the aligned comparison. With too little structure to decide, the
answer is "cannot tell"; if an area or the colours overall differ, "look-alike".
"""

from dataclasses import replace
from datetime import datetime

from catalogue.likeness import geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.comparison import Comparison
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.geometry import Fit

Sizes = tuple[tuple[int, int], tuple[int, int]]


def exact(a: ScanFacts, b: ScanFacts) -> Evidence | None:
    """The relation that digests alone establish, if any."""
    whole = Evidence(
        Relation.SAME_BYTES,
        1.0,
        ("equal SHA-256",),
        overlap_a=1.0,
        overlap_b=1.0,
        correlation=1.0,
        correlation_low=1.0,
        grain=1.0,
        delta_e_median=0.0,
        delta_e_high=0.0,
        detail_ratio=1.0,
        ppi_a=a.ppi,
        ppi_b=b.ppi,
    )
    if a.sha256 == b.sha256:
        return whole
    if a.pixel_digest and a.pixel_digest == b.pixel_digest:
        return replace(
            whole,
            relation=Relation.SAME_PIXELS,
            reasons=("the decoded pixels are equal, only the description differs",),
        )
    return None


def decide(a: ScanFacts, b: ScanFacts, sizes: Sizes, fit: Fit, comparison: Comparison) -> Evidence | None:
    """What a fit and its comparison say of the pair, or ``None``: not alike. ``sizes`` are of the previews.

    ``fit.inliers`` is 0 if the pictures were aligned directly on their pixels.
    """
    ratio = detail_ratio(a, b, sizes, comparison)
    reasons: list[str] = []
    relation, sure = _judged(a, b, sizes, fit, comparison, ratio, reasons)
    if relation is None:
        return None
    m = comparison.matrix
    return Evidence(
        relation, round(sure, 3), tuple(reasons), fit.inliers, fit.matches, comparison.overlap_a, comparison.overlap_b,
        geometry.rotation_of(m), geometry.scale_of(m), comparison.zncc_median, comparison.zncc_low, comparison.grain,
        fit.texture,
        comparison.patch, comparison.colour_patch, comparison.hue_turn, comparison.delta_e_median,
        comparison.delta_e_high, ratio, a.ppi, b.ppi,
        sizes[0], sizes[1], tuple(float(v) for v in m.ravel()),
    )


def detail_ratio(a: ScanFacts, b: ScanFacts, sizes: Sizes, comparison: Comparison) -> float:
    """Full pixels of a for one of b along the same stretch of the artwork."""
    return reduction(a, sizes[0]) / (geometry.scale_of(comparison.matrix) * reduction(b, sizes[1]))


def reduction(scan: ScanFacts, size: geometry.Size) -> float:
    """Full pixels for each of its preview of this size."""
    return max(scan.width, scan.height) / max(size)


def _judged(
    a: ScanFacts, b: ScanFacts, sizes: Sizes, fit: Fit, comparison: Comparison, ratio: float, reasons: list[str],
) -> tuple[Relation | None, float]:
    if fit.texture >= limits.TEXTURE_SURE:
        # a soft picture hides a departure more easily
        if _astray(comparison, reasons, limits.PATCH_MOST / 2):
            return Relation.LOOK_ALIKE, 0.6
        reasons.append(f"the surface texture corresponds ({fit.texture:.0f} standard deviations from chance)")
        return _part_or_whole(a, b, sizes, comparison, ratio, reasons), min(0.98, 0.85 + fit.texture / 100)
    enough = limits.BLOCKS_TO_TELL if fit.inliers else limits.BLOCKS_ALONE
    if (not comparison.blocks and fit.inliers >= limits.INLIERS_FIRM
            and comparison.delta_e_median <= limits.DELTA_E_MOST):
        if _astray(comparison, reasons):
            return Relation.LOOK_ALIKE, 0.6
        reasons.append(f"{fit.inliers} features of the surface agree on one place")
        return _part_or_whole(a, b, sizes, comparison, ratio, reasons), 0.85
    if comparison.blocks < enough and fit.inliers < limits.INLIERS_SURE:
        if comparison.delta_e_median > limits.DELTA_E_MOST:
            return None, 0.0
        if max(comparison.overlap_a, comparison.overlap_b) < limits.CONTAINED:
            return None, 0.0
        reasons.append(f"only {comparison.blocks} areas have enough detail to compare")
        return Relation.UNSURE, 0.0
    if comparison.zncc_median < limits.ZNCC_LEAST or (
        fit.inliers < limits.INLIERS_SURE and comparison.zncc_median < limits.ZNCC_FEW_INLIERS
    ):
        return None, 0.0
    if _astray(comparison, reasons):
        return Relation.LOOK_ALIKE, 0.9
    if comparison.zncc_low < limits.ZNCC_LOW_LEAST:
        reasons.append(f"a tenth of the areas agree less than {limits.ZNCC_LOW_LEAST} in structure")
        return Relation.UNSURE, 0.3
    reasons.append(f"structure agrees {comparison.zncc_median:.2f}, no area differs")
    if fit.inliers:
        reasons.append(f"{fit.inliers} features agree on one position")
    sure = min(0.999, 0.8 + 0.1 * min(1.0, fit.inliers / 40) + 0.1 * max(0.0, comparison.zncc_low))
    return _part_or_whole(a, b, sizes, comparison, ratio, reasons), sure


def _astray(comparison: Comparison, reasons: list[str], patch: float = limits.PATCH_MOST) -> bool:
    if comparison.patch > patch:
        reasons.append(f"an area of {comparison.patch:.1%} of the picture is painted differently")
    if comparison.colour_patch > limits.COLOUR_PATCH_MOST:
        reasons.append(f"an area of {comparison.colour_patch:.1%} of the picture has different colours")
    if comparison.hue_turn > limits.HUE_TURN_MOST or comparison.cast > limits.CAST_MOST:
        reasons.append("the colours differ overall")
    return bool(reasons)


def _part_or_whole(
    a: ScanFacts, b: ScanFacts, sizes: Sizes, comparison: Comparison, ratio: float, reasons: list[str],
) -> Relation:
    less, more = sorted((comparison.overlap_a, comparison.overlap_b))
    if more < limits.CONTAINED and less < limits.APART:
        reasons.append("each shows a part that the other lacks")
        return Relation.NEIGHBOUR
    single_capture = same_capture(a, b, comparison)
    # a tile may show most of the artwork, and its grain is in the master stitched from it
    tile = (a.role == "tile") != (b.role == "tile") and less < limits.TILE_MOST
    # trimmed margins shrink a picture about its middle; a tile or detail lies anywhere
    trimmed = "tile" not in (a.role, b.role) and less >= limits.TRIMMED and _centred(sizes, comparison)
    if not tile and (less >= limits.WHOLE or trimmed or (single_capture and less >= limits.CROP_LEAST)):
        reasons.append(
            "grain and angle are those of a single capture" if single_capture
            else "angle, grain or time show two captures"
        )
        return Relation.REWORKED if single_capture else Relation.RESCAN
    part, whole, part_ratio = (a, b, ratio) if comparison.overlap_a >= comparison.overlap_b else (b, a, 1 / ratio)
    reasons.append(f"one shows {less:.0%} of the other")
    if part.role == "tile" or (
        part_ratio > limits.TILE_DETAIL and part.bits >= whole.bits and part.format == whole.format
        and part.role not in ("reference", "print file")
    ):
        reasons.append("at the resolution of the whole")
        return Relation.TILE
    return Relation.DETAIL


def _centred(sizes: Sizes, comparison: Comparison) -> bool:
    middle = geometry.mapped_corners(comparison.matrix, *sizes).mean(axis=0)
    return bool(abs(middle - 0.5).max() < limits.CENTRED)


def same_capture(a: ScanFacts, b: ScanFacts, comparison: Comparison) -> bool:
    """Whether both come from one pass of the scanner: times, a whole quarter turn, the same grain."""
    time_a, time_b = _time(a.captured), _time(b.captured)
    if time_a and time_b:
        seconds = abs((time_a.replace(tzinfo=None) - time_b.replace(tzinfo=None)).total_seconds())
        if seconds > limits.SECONDS_APART:
            return False
    rotation = geometry.rotation_of(comparison.matrix)
    askew = abs((rotation + 45.0) % 90.0 - 45.0)
    return askew < limits.ASKEW_MOST and (comparison.grain > limits.GRAIN_LEAST
                                          or comparison.grain_level < limits.GRAIN_SEEN)


def _time(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None
