"""What is decided of a pair whose comparison is known: one figure at a time departs from a pair that agrees.

The figures are those met on the tuning pictures, as ``thresholds`` notes them beside each limit: what two captures of
one work showed at most, and what other works showed at least.
"""

from dataclasses import replace

import numpy as np
import pytest

from catalogue.likeness.comparison import Comparison
from catalogue.likeness.evidence import Evidence, Relation, ScanFacts
from catalogue.likeness.geometry import Fit
from catalogue.likeness.relation import decide

SIZES = ((1000, 800), (1000, 800))
FIT = Fit(np.eye(2, 3), inliers=60, matches=80)
# two whole scans of one work that were captured anew: a little askew, no common grain
AGREEING = Comparison(np.eye(2, 3), 1.0, 1.0, blocks=300, structured=0.9, zncc_median=0.95, zncc_low=0.8, grain=0.0,
                      grain_level=1.0, patch=0.0, colour_patch=0.0, hue_turn=3.0, cast=5.0, delta_e_median=4.0,
                      delta_e_high=7.0)
A = ScanFacts("a", 10_000, 8_000, bits=16, format="TIFF")
B = ScanFacts("b", 10_000, 8_000, bits=16, format="TIFF")


def decided(a: ScanFacts = A, b: ScanFacts = B, fit: Fit = FIT, **departing: float) -> Evidence | None:
    return decide(a, b, SIZES, fit, replace(AGREEING, **departing))  # type: ignore[arg-type]


def test_two_scans_that_agree_in_all_are_one_work() -> None:
    found = decided()
    assert found is not None and found.relation is Relation.RESCAN


@pytest.mark.parametrize(("figure", "one_work", "another"), [
    ("hue_turn", 13.0, 46.0), ("cast", 18.6, 27.2), ("patch", 0.005, 0.010), ("colour_patch", 0.0006, 0.007)])
def test_a_passage_or_colours_that_depart_make_a_look_alike(figure: str, one_work: float, another: float) -> None:
    near, far = decided(**{figure: one_work}), decided(**{figure: another})
    assert near is not None and near.relation is Relation.RESCAN
    assert far is not None and far.relation is Relation.LOOK_ALIKE
    assert len(far.reasons) == 1, "only what departs is said"


@pytest.mark.parametrize("inliers", [8, 60])
def test_where_structure_does_not_agree_there_is_no_likeness(inliers: int) -> None:
    """Unrelated pictures laid on each other stay below .3."""
    assert decided(fit=replace(FIT, inliers=inliers), zncc_median=0.3) is None


def test_few_features_need_pixels_that_agree_better() -> None:
    few = replace(FIT, inliers=6)
    assert decided(fit=few, zncc_median=0.75) is None
    assert decided(zncc_median=0.75) is not None
    assert decided(fit=few, zncc_median=0.9) is not None


def test_a_tenth_of_the_passages_that_disagrees_leaves_it_open() -> None:
    found = decided(zncc_low=0.1)
    assert found is not None and found.relation is Relation.UNSURE


def test_plain_fields_are_left_open_unless_their_colours_are_far_apart() -> None:
    """No passage to compare, no feature: CIEDE2000 4 may be another light, 27 is another work."""
    plain = replace(FIT, inliers=0, matches=0)
    found = decided(fit=plain, blocks=0)
    assert found is not None and found.relation is Relation.UNSURE
    assert decided(fit=plain, blocks=0, delta_e_median=27.0) is None


@pytest.mark.parametrize(("seconds", "relation"), [("10:00:00", Relation.REWORKED), ("10:00:30", Relation.REWORKED),
                                                   ("10:05:00", Relation.RESCAN)])
def test_times_far_apart_are_two_captures_whatever_the_grain(seconds: str, relation: Relation) -> None:
    """Two files of one pass are written within a minute (common practice, no source)."""
    found = decided(replace(A, captured="2024-03-01T10:00:00"), replace(B, captured=f"2024-03-01T{seconds}"),
                    grain=0.9)
    assert found is not None and found.relation is relation


@pytest.mark.parametrize("first", ["part", "whole"])
@pytest.mark.parametrize(("width", "relation"), [(3000, Relation.TILE), (1000, Relation.DETAIL)])
def test_a_part_as_fine_as_the_whole_is_a_tile_and_a_coarser_one_a_detail(width: int, relation: Relation,
                                                                         first: str) -> None:
    """A third of the master's width, at its own resolution and at a third of it; the preview shows it three times
    as large as the master's does."""
    part = ScanFacts("part", width, width * 4 // 5, bits=16, format="TIFF")
    onto = np.array([[0.3, 0.0, 100.0], [0.0, 0.3, 100.0]])
    back = np.array([[1 / 0.3, 0.0, -100 / 0.3], [0.0, 1 / 0.3, -100 / 0.3]])
    if first == "part":
        found = decide(part, B, SIZES, replace(FIT, matrix=onto),
                       replace(AGREEING, matrix=onto, overlap_a=1.0, overlap_b=0.09))
    else:
        found = decide(B, part, SIZES, replace(FIT, matrix=back),
                       replace(AGREEING, matrix=back, overlap_a=0.09, overlap_b=1.0))
    assert found is not None and found.relation is relation
    assert "one shows 9% of the other" in found.reasons
