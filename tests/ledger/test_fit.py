"""Sizes against ISO 216 and the one-arcminute rule."""

import pytest

from catalogue.errors import Refused
from catalogue.ledger.fit import fit_of, picture_wraps
from catalogue.records import scans
from catalogue.records.orders import NewLine

from .conftest import Shop

# ISO 216 sizes in mm, from memory; pixels = round(mm / 25.4 × ppi), recomputed.
ISO_216 = [(841, 1189, 300, 9933, 14043), (594, 841, 240, 5613, 7946), (420, 594, 150, 2480, 3508),
           (297, 420, 600, 7016, 9921), (210, 297, 300, 2480, 3508)]
# Viewing distance in inches → ppi under the rule that an eye tells one arcminute: 3437.75 / distance.
ARCMINUTE = [(12, 286), (18, 191), (24, 143), (36, 95.5)]


def scan_of(shop: Shop, width: int, height: int) -> scans.Scan:
    piece = shop.piece("Ilse Marwood", f"Sheet {width} by {height}")
    found = scans.by_digest(shop.db, shop.scan(f"{width}x{height}.tif", piece, shade=width % 200,
                                               stated_px=(width, height)))
    assert found is not None
    return found


@pytest.mark.parametrize(("width", "height", "ppi", "across", "down"), ISO_216)
def test_a_sheet_filled_at_its_iso_pixels_has_that_ppi(shop: Shop, width: int, height: int, ppi: int, across: int,
                                                       down: int) -> None:
    for pixels in ((across, down), (down, across)):
        fit = fit_of(scan_of(shop, *pixels), NewLine(1, width, height, 1))
        assert fit is not None and fit.ppi == pytest.approx(ppi, abs=0.06) and fit.cropped == 0


@pytest.mark.parametrize(("inches", "ppi"), ARCMINUTE)
def test_a_print_is_sharp_from_the_arcminute_distance_on(shop: Shop, inches: float, ppi: float) -> None:
    fit = fit_of(scan_of(shop, round(ppi * 10), round(ppi * 10)), NewLine(1, 254, 254, 1))
    assert fit is not None and fit.sharp_from_mm == pytest.approx(inches * 25.4, rel=0.004)


def test_wrap_needs_pixels_and_border_spares_them(shop: Shop) -> None:
    scan = scan_of(shop, 6000, 6000)
    bare, wrapped, mirrored, bordered = (fit_of(scan, line) for line in (
        NewLine(1, 508, 508, 1), NewLine(1, 508, 508, 1, wrap_mm=38.1), NewLine(1, 508, 508, 1, wrap_mm=38.1,
                                                                                 edge="mirrored"),
        NewLine(1, 508, 508, 1, border_mm=50.8)))
    assert bare and wrapped and mirrored and bordered
    assert bare.ppi == pytest.approx(300) and mirrored.ppi == pytest.approx(300)
    assert wrapped.ppi == pytest.approx(6000 / 23) and bordered.ppi == pytest.approx(6000 / 16)
    with pytest.raises(Refused):
        fit_of(scan, NewLine(1, 508, 508, 1, border_mm=254))


def test_the_least_ppi_is_that_of_the_medium(shop: Shop) -> None:
    scan = scan_of(shop, 1800, 1800)  # 180 ppi at 10 inches
    paper, canvas = (fit_of(scan, NewLine(1, 254, 254, 1, medium)) for medium in ("Cotton rag", "Canvas, matt"))
    assert paper and canvas and not paper.enough and canvas.enough


def test_another_shape_is_cropped_and_said(shop: Shop) -> None:
    fit = fit_of(scan_of(shop, 4000, 5000), NewLine(1, 500, 700, 1))
    assert fit is not None and fit.cropped == pytest.approx(1 - (5 / 7) / (4 / 5)) and fit.ppi == pytest.approx(
        5000 / 700 * 25.4)


def test_the_shape_that_counts_is_that_of_the_picture_within_its_border_or_over_its_wrap(shop: Shop) -> None:
    scan = scan_of(shop, 3000, 4000)   # 3 : 4, as 300 × 400 mm is
    for line in (NewLine(1, 350, 450, 1, border_mm=25), NewLine(1, 200, 300, 1, wrap_mm=50)):
        fit = fit_of(scan, line)
        assert fit is not None and fit.cropped == 0 and fit.ppi == pytest.approx(254)
    sheet = fit_of(scan, NewLine(1, 350, 450, 1))
    assert sheet is not None and sheet.cropped == pytest.approx(1 - (3 / 4) / (35 / 45))


@pytest.mark.parametrize(("edge", "wraps"), [("", True), ("picture", True), ("mirrored", False), ("White", False),
                                             ("plain black", False), ("museum", True)])
def test_which_edges_draw_on_the_picture(edge: str, wraps: bool) -> None:
    assert picture_wraps(edge) is wraps
