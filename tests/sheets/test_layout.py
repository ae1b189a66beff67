"""The layout of a print, by hand: what lies in the finished size, what beyond it, and what is cropped."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageOps

from catalogue.print_files.layout import layout_of
from catalogue.print_files.recipe import Recipe
from catalogue.sheets.layout import height, in_mm, print_layout, width


def test_a_border_lies_within_the_finished_size() -> None:
    layout = print_layout(600, 450, border_mm=30)
    assert layout.finished == layout.sheet == (0, 0, 600, 450)
    assert layout.picture == (30, 30, 570, 420)
    assert layout.bordered and not layout.wrapped and not layout.cropped


@pytest.mark.parametrize(("edge", "picture"), [("", (-40, -40, 640, 490)), ("mirrored", (0, 0, 600, 450)),
                                              ("white", (0, 0, 600, 450))])
def test_a_wrap_lies_beyond_it_and_the_picture_runs_on_unless_the_edge_is_plain(
        edge: str, picture: tuple[float, ...]) -> None:
    layout = print_layout(600, 450, wrap_mm=40, edge=edge)
    assert layout.finished == (0, 0, 600, 450)
    assert layout.sheet == (-40, -40, 640, 490)
    assert layout.picture == picture
    assert layout.wrapped and not layout.bordered


def test_a_wider_scan_is_cropped_left_and_right_alike() -> None:
    """A scan of 4 : 2 on a square print: half of it is seen, a quarter is cut away on either side."""
    layout = print_layout(500, 500, scan_size=(4000, 2000))
    assert layout.scan == (-250, 0, 750, 500)
    assert layout.cropped
    assert layout.extent == (-250, 0, 750, 500)


@given(st.integers(50, 1500), st.integers(50, 1500), st.sampled_from([0, 10, 24]), st.sampled_from([0, 20, 38]),
       st.integers(10, 300), st.integers(10, 300))
def test_the_crop_is_that_of_pillow(across: int, down: int, border: int, wrap: int, wide: int, high: int) -> None:
    """Checked against ``ImageOps.fit``, which centres and crops to a shape."""
    layout = print_layout(across, down, border_mm=border, wrap_mm=wrap, scan_size=(wide, high))
    scale = width(layout.scan) / wide
    assert scale == pytest.approx(height(layout.scan) / high)
    # Pillow rounds the box to no pixel, so that a ramp tells where it lies
    ramp = Image.linear_gradient("L").rotate(90).resize((wide, high))
    seen = ImageOps.fit(ramp, (max(1, round(width(layout.picture))), max(1, round(height(layout.picture)))))
    box = [(layout.picture[n] - layout.scan[n % 2]) / scale for n in range(4)]
    ours = ramp.resize(seen.size, box=(max(0, box[0]), max(0, box[1]), min(wide, box[2]), min(high, box[3])))
    middle = ours.size[0] // 2, ours.size[1] // 2
    for x in (0, middle[0], ours.size[0] - 1):
        assert abs(int(seen.getpixel((x, middle[1]))) - int(ours.getpixel((x, middle[1])))) <= 24  # type: ignore[arg-type]


# The words people write for an edge, beside those of a recipe.
@pytest.mark.parametrize(("word", "edge"), [("", "continued"), ("mirrored", "mirrored"), ("stretched", "stretched"),
                                            ("white", "colour"), ("black", "colour")])
@given(width_mm=st.integers(60, 900), height_mm=st.integers(60, 900),
       inside=st.sampled_from([(0, 0), (10, 0), (0, 38)]),
       wide=st.integers(2000, 9000), high=st.integers(2000, 9000))
def test_what_is_drawn_lies_where_the_print_file_has_it(word: str, edge: str, width_mm: int, height_mm: int,
                                                        inside: tuple[int, int], wide: int, high: int) -> None:
    """Sheet, picture, and the scan with what is cropped from it, to a pixel of the print file for each rounded length.
    """
    border, wrap = inside
    recipe = Recipe("0" * 64, width_mm, height_mm, 300, border_mm=border, wrap_mm=wrap, edge=edge)
    made = layout_of(recipe, wide, high)
    drawn = print_layout(width_mm, height_mm, border_mm=border, wrap_mm=wrap, edge=word, scan_size=(wide, high))
    near = 3 * 25.4 / 300
    assert in_mm(made.finished, made, 300) == pytest.approx(drawn.finished, abs=near)
    assert in_mm(made.picture, made, 300) == pytest.approx(drawn.picture, abs=near)
    sheet = made.finished.grown((made.width - made.finished.width) // 2)
    assert in_mm(sheet, made, 300) == pytest.approx(drawn.sheet, abs=near)
    mm = width(drawn.scan) / wide       # of a pixel of the scan
    seen = (made.source.left * mm + drawn.scan[0], made.source.top * mm + drawn.scan[1])
    assert seen == pytest.approx(drawn.picture[:2], abs=2 * near)
    assert (made.source.width * mm, made.source.height * mm) == pytest.approx(
        (width(drawn.picture), height(drawn.picture)), abs=4 * near)


def test_marks_point_at_the_corners_of_cut_and_fold() -> None:
    """By hand: wrap 40 mm; ticks begin 2 mm outside it, 6 mm long at the cut and 3 mm at the fold."""
    recipe = Recipe("0" * 64, 500, 700, 254, wrap_mm=40, marks=True)     # 254 ppi: ten pixels to the millimetre
    made = layout_of(recipe, 5000, 7000)
    marks = [in_mm(mark, made, 254) for mark in made.marks]
    assert len(marks) == 16
    assert (-40.1, -48.0, -40.0, -42.0) in [tuple(round(value, 6) for value in mark) for mark in marks]
    assert (500.0, 742.0, 500.1, 745.0) in [tuple(round(value, 6) for value in mark) for mark in marks]
