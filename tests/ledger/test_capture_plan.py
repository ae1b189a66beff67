"""Captures of an original on the shop's beds, checked by laying them out."""

import math
import re
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from catalogue.allowed_settings import ALLOWED
from catalogue.errors import CatalogueError, Refused
from catalogue.ledger.capture_plan import CapturePlan, capture_plans
from catalogue.operations.capturing import summarize
from catalogue.settings import Bed, Settings, read_settings


def test_ninety_by_ninety_on_an_a3_bed() -> None:
    """420 across: (900 − 105) / 315 = 2.5, so 3; 297 down: (900 − 74.25) / 222.75 = 3.7, so 4. ISO 216: A3."""
    plan, = capture_plans(Settings(), 900, 900)
    assert (plan.across, plan.down, plan.captures, plan.bed_mm) == (3, 4, 12, (420, 297))
    assert plan.lefts == (0, 240, 480) and plan.tops == (0, 201, 402, 603)  # (900 − 420) / 2; (900 − 297) / 3
    assert plan.overlap_across == pytest.approx(1 - 240 / 420) and plan.overlap_down == pytest.approx(1 - 201 / 297)
    assert summarize(plan) == [
        "90 × 90 cm on the usual bed (42 × 29.7 cm): 3 × 4, 12 captures, overlapping 43% across, 32% down.",
        "  from the left edge: 0, 24, 48 cm", "  from the upper edge: 0, 20.1, 40.2, 60.3 cm"]


def test_every_bed_is_planned_the_fewest_captures_first() -> None:
    settings = Settings(beds=("A4 bed 297x210", "A2 bed 420 × 594 mm"))
    plans = capture_plans(settings, 900, 600)
    assert [plan.bed for plan in plans] == ["A2 bed", "usual bed", "A4 bed"]
    assert [plan.captures for plan in plans] == sorted(plan.captures for plan in plans)
    assert [plan.bed for plan in capture_plans(settings, 900, 600, bed="a2 BED")] == ["A2 bed"]
    with pytest.raises(Refused, match="no bed 'A0'"):
        capture_plans(settings, 900, 600, bed="A0")
    small, = capture_plans(Settings(), 200, 100)
    assert (small.captures, small.overlap_across, summarize(small)) == (
        1, None, ["20 × 10 cm on the usual bed (42 × 29.7 cm): one capture."])


@given(st.floats(10, 3000), st.floats(10, 3000), st.integers(100, 1500), st.integers(100, 1500),
       st.sampled_from([0.0, 0.1, 0.25, 0.5]))
def test_captures_reach_from_edge_to_edge_and_overlap_enough(width: float, height: float, one: int, other: int,
                                                             share: float) -> None:
    try:
        plan, = capture_plans(Settings(bed_mm=(one, other)), width, height, overlap=share)
    except Refused:
        return
    for length, bed, begins, overlap in ((width, plan.bed_mm[0], plan.lefts, plan.overlap_across),
                                         (height, plan.bed_mm[1], plan.tops, plan.overlap_down)):
        assert begins[0] <= 0 and begins[-1] + bed >= length - 0.01
        if overlap is not None:
            assert overlap >= share - 1e-4
            assert all(0 < right - left <= bed * (1 - share) + 0.01
                       for left, right in pairwise(begins))
    assert sorted(plan.bed_mm) == sorted((one, other))


@pytest.mark.parametrize(("size", "overlap"), [((0, 5), None), ((5, math.inf), None), ((5, 5), 0.95), ((5, 5), -0.1),
                                               ((99_999, 99_999), 0.9)])
def test_what_cannot_be_planned_is_refused(size: tuple[float, float], overlap: float | None) -> None:
    with pytest.raises(Refused):
        capture_plans(Settings(), *size, overlap=overlap)


def test_beds_are_read_from_the_settings(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text('beds = ["A2 bed 420x594", "Large 900 × 1200 mm"]\n', encoding="utf-8")
    assert read_settings(path).all_beds == (Bed("usual bed", (297, 420)), Bed("A2 bed", (420, 594)),
                                            Bed("Large", (900, 1200)))
    for wrong in ('[420, 594]', '["A2 420"]', '["420x594"]', '["A2 5x594"]', '"A2 420x594"', '["A2 420x594x3"]'):
        path.write_text(f"beds = {wrong}")
        with pytest.raises(CatalogueError, match=re.escape(ALLOWED["beds"].words)):
            read_settings(path)


def test_a_plan_is_a_value() -> None:
    assert capture_plans(Settings(), 900, 900) == capture_plans(Settings(), 900, 900)
    assert isinstance(capture_plans(Settings(), 900, 900)[0], CapturePlan)
