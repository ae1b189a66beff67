"""The drawing of a print is to scale: its millimetres, times the scale it names, are the print's."""

import re

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given
from hypothesis import strategies as st

from catalogue.sheets.drawing import SCALES, drawing

SVG = "{http://www.w3.org/2000/svg}"


def rectangles(svg: str) -> list[tuple[float, float, float, float]]:
    return [(float(r.get("x")), float(r.get("y")), float(r.get("width")), float(r.get("height")))
            for r in fromstring(svg).iter() if r.tag in (f"{SVG}rect", f"{SVG}image")]


@given(st.integers(50, 1500), st.integers(50, 1500), st.sampled_from([0, 10, 24]), st.sampled_from([0, 20, 38]))
def test_measured_on_paper_it_is_the_print(width: int, height: int, border: int, wrap: int) -> None:
    svg = str(drawing(width, height, border_mm=border, wrap_mm=wrap))
    root = fromstring(svg)
    named = re.search(r"scale 1:(\d+)", svg)
    assert named is not None
    scale = int(named[1])
    assert scale in SCALES
    left, top, across, down = map(float, root.get("viewBox").split())
    assert (root.get("width"), root.get("height")) == (f"{across:.2f}mm", f"{down:.2f}mm")  # one unit is one mm
    finished = rectangles(svg)[-1]
    assert finished[2] * scale == pytest.approx(width, abs=0.01 * scale)
    assert finished[3] * scale == pytest.approx(height, abs=0.01 * scale)
    assert across <= 84 + 10.1 and down <= 100 + 12.1
    for x, y, w, h in rectangles(svg):
        assert x >= left - 0.01 and y >= top - 0.01 and x + w <= across + 0.01 and y + h <= down + 0.01


@pytest.mark.parametrize(("given_", "inset"), [
    ({"border_mm": 50.0}, 50), ({"wrap_mm": 40.0}, -40), ({"wrap_mm": 40.0, "edge": "mirrored"}, 0), ({}, 0)])
def test_the_picture_lies_within_its_border_or_over_its_wrap(given_: dict[str, object], inset: float) -> None:
    svg = str(drawing(500, 700, picture="data:image/webp;base64,AA==", **given_))  # type: ignore[arg-type]
    image = next(e for e in fromstring(svg).iter() if e.tag == f"{SVG}image")
    assert float(image.get("width")) * 10 == pytest.approx(500 - 2 * inset, abs=0.1)
    assert image.get("preserveAspectRatio") == "xMidYMid slice"  # the crop shows as it will be


def test_whatever_is_passed_as_a_picture_cannot_leave_its_attribute() -> None:
    svg = str(drawing(500, 700, picture='"><script>alert(1)</script>'))
    assert "<script" not in svg and fromstring(svg).tag == f"{SVG}svg"


def test_marks_are_drawn_to_scale_and_within_the_drawing() -> None:
    marks = ((-40.1, -48.0, -40.0, -42.0), (500.0, 742.0, 500.1, 745.0))
    svg = str(drawing(500, 700, wrap_mm=40, marks=marks))
    root = fromstring(svg)
    drawn = [r for r in root.iter() if r.get("class") == "mark"]
    frame = rectangles(svg)[-1]     # the finished size
    scale = 500 / frame[2]
    assert [(float(r.get("y")) - frame[1]) * scale for r in drawn] == pytest.approx([-48, 742], abs=0.1)
    _, _, across, down = map(float, root.get("viewBox").split())
    for r in drawn:
        x, y, w, h = (float(r.get(name)) for name in ("x", "y", "width", "height"))
        assert x >= 0 and y >= 0 and x + w <= across and y + h <= down
