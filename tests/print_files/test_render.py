"""Print files made from real masters: what is in them, and that nothing wrong ever gets a name."""

import errno
import hashlib
import os
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms

from catalogue.errors import CatalogueError, Damaged, Refused
from catalogue.print_files import render as rendering
from catalogue.print_files.patches import patches_of_file
from catalogue.print_files.recipe import Recipe
from catalogue.print_files.render import Made, render
from catalogue.print_files.tiff_file import made_ahead, recipe_in
from catalogue.progress import Stopped
from catalogue.reading.file import read_file
from catalogue.reading.reduce import turned
from catalogue.storage.medium import NoRoom, TooLarge
from tests.files import part_path
from tests.waiting import HANG_SECONDS

WIDE = imagecodecs.cms_profile("adobergb")
SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
PPI = 254      # ten pixels a millimetre
Picture = NDArray[Any]


def noise(width: int = 300, height: int = 200, channels: int = 3, kind: type = np.uint16) -> Picture:
    top = np.iinfo(kind).max
    return np.random.default_rng(9).integers(0, top + 1, (height, width, channels)).astype(kind)


def ramp(width: int, height: int) -> Picture:
    """Red rises to the right, green downwards."""
    y, x = np.indices((height, width))
    return np.stack([x * 100, y * 100, x * 0], axis=-1).astype(np.uint16)


def written(path: Path, picture: Picture, **options: Any) -> Path:
    options = {"photometric": "rgb", "metadata": None, "iccprofile": WIDE} | options
    tifffile.imwrite(path, picture, **options)
    return path


def recipe_for(master: Path, width: float, height: float, **given: Any) -> Recipe:
    """Sizes in pixels at ``PPI``."""
    return Recipe(hashlib.sha256(master.read_bytes()).hexdigest(), width / 10, height / 10, PPI, **given)


@pytest.fixture
def master(tmp_path: Path) -> Path:
    return written(tmp_path / "master.tif", noise())


def test_the_same_size_is_the_master_itself_with_its_profile_and_the_recipe(master: Path, tmp_path: Path) -> None:
    recipe = recipe_for(master, 300, 200)
    made = render(master, recipe, tmp_path / "print.tif")
    with tifffile.TiffFile(made.path) as file:
        page = file.pages[0]
        assert (page.asarray() == noise()).all()
        assert page.tags["InterColorProfile"].value == WIDE
        assert page.tags["XResolution"].value == (PPI, 1) and page.tags["ResolutionUnit"].value == 2
        assert "DateTime" not in page.tags
    with Image.open(made.path) as picture:      # Pillow, as an outside reader
        assert picture.size == (300, 200) and picture.info["dpi"] == (PPI, PPI)
        assert picture.info["icc_profile"] == WIDE
        assert b"madeWith" in picture.info["xmp"]
    assert recipe_in(made.path) == (recipe, made.versions)
    assert made.sha256 == hashlib.sha256(made.path.read_bytes()).hexdigest()
    assert not part_path(made.path).exists()


def test_a_print_file_is_read_back_as_any_picture_with_the_same_digests(master: Path, tmp_path: Path) -> None:
    made = render(master, recipe_for(master, 150, 100, bits=8, compression="deflate"), tmp_path / "print.tif")
    seen = read_file(made.path)
    assert (seen.sha256, seen.pixel_digest, seen.faults) == (made.sha256, made.pixel_digest, ())


@pytest.mark.parametrize("compression", ["none", "deflate", "lzw"])
@pytest.mark.parametrize("bits", [8, 16])
def test_files_of_many_strips_are_read_by_others(compression: str, bits: int, master: Path, tmp_path: Path,
                                                 monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.print_files.tiff_file.STRIP_BYTES", 20_000)
    made = render(master, recipe_for(master, 300, 200, bits=bits, compression=compression), tmp_path / "print.tif")
    levels = noise() if bits == 16 else np.rint(noise() / 257.0)
    assert (tifffile.imread(made.path) == levels).all()
    with Image.open(made.path) as picture:      # Pillow reads 16-bit colour as 8-bit
        assert np.abs(np.asarray(picture, float) - levels / (1 if bits == 8 else 257)).max() <= 1


def test_the_same_recipe_makes_the_same_bytes_and_other_files_of_the_same_pixels_the_same_pixels(
        master: Path, tmp_path: Path) -> None:
    first = render(master, recipe_for(master, 131, 97), tmp_path / "one.tif")
    second = render(master, recipe_for(master, 131, 97), tmp_path / "two.tif")
    assert first.path.read_bytes() == second.path.read_bytes()
    for number, options in enumerate(({"tile": (64, 48)}, {"compression": "deflate", "rowsperstrip": 3},
                                      {"planarconfig": "separate", "byteorder": ">"}, {"bigtiff": True})):
        picture = np.moveaxis(noise(), -1, 0) if "planarconfig" in options else noise()
        other = written(tmp_path / f"other{number}.tif", picture, **options)
        made = render(other, recipe_for(other, 131, 97), tmp_path / f"of{number}.tif")
        assert made.pixel_digest == first.pixel_digest


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_a_picture_is_printed_as_it_is_shown_and_turned_clockwise(orientation: int, turn: int, tmp_path: Path) -> None:
    stored = noise(60, 40)
    master = written(tmp_path / "master.tif", stored, extratags=[(274, "H", 1, orientation, True)])
    shown = turned(stored, orientation)
    part = shown[5:25, 10:34]
    expected = np.rot90(part, -turn // 90)
    recipe = recipe_for(master, expected.shape[1], expected.shape[0], turn=turn, crop=(10, 5, 24, 20))
    made = render(master, recipe, tmp_path / "print.tif")
    assert (tifffile.imread(made.path) == expected).all()


def test_a_turned_picture_larger_than_one_strip_of_columns(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.print_files.spool.PANEL_BYTES", 7 * 200 * 6)
    monkeypatch.setattr("catalogue.print_files.tiff_file.STRIP_BYTES", 2_500)
    for number, turn in enumerate((90, 180, 270)):
        master = written(tmp_path / f"{number}.tif", noise(), rowsperstrip=9)
        size = (200, 300) if turn != 180 else (300, 200)
        made = render(master, recipe_for(master, *size, turn=turn), tmp_path / f"print{number}.tif")
        assert (tifffile.imread(made.path) == np.rot90(noise(), -turn // 90)).all()


def test_a_mirrored_wrap_is_the_pictures_edge_seen_in_a_mirror(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.print_files.tiff_file.STRIP_BYTES", 1_300)
    picture = ramp(200, 120)
    master = written(tmp_path / "master.tif", picture)
    made = render(master, recipe_for(master, 200, 120, wrap_mm=3, bleed_mm=1, edge="mirrored"), tmp_path / "print.tif")
    expected = np.pad(picture, ((40, 40), (40, 40), (0, 0)), mode="symmetric")
    assert (tifffile.imread(made.path) == expected).all()


def test_a_stretched_wrap_goes_back_over_the_last_millimetres(tmp_path: Path) -> None:
    master = written(tmp_path / "master.tif", ramp(200, 120))
    made = render(master, recipe_for(master, 200, 120, wrap_mm=4, edge="stretched", stretch_mm=2), tmp_path / "p.tif")
    got = tifffile.imread(made.path).astype(int)
    assert (got[40:160, 40:240] == ramp(200, 120)).all()
    # outwards from the fold the ramp runs back half as fast: 20 pixels over 40
    red = got[100, :40, 0]
    assert np.abs(red - [max(0, ((40 - x) - 0.5) / 2 - 0.5) * 100 for x in range(40)]).max() <= 1
    assert (got[100, 240:, 0] == 19_900 - red[::-1]).all()
    assert (got[:40, 100, 1][::-1] == got[100, :40, 0][::-1]).all()


def test_borders_and_colours_of_the_edge(tmp_path: Path) -> None:
    picture = noise(200, 120)
    master = written(tmp_path / "master.tif", picture)
    bordered = render(master, recipe_for(master, 240, 160, border_mm=2), tmp_path / "border.tif")
    got = tifffile.imread(bordered.path)
    assert (got[20:-20, 20:-20] == picture).all()
    got[20:-20, 20:-20] = 65535
    assert (got == 65535).all()
    for word, level in (("black", [0, 0, 0]), ("255,128,1", [65535, 128 * 257, 257])):
        recipe = recipe_for(master, 200, 120, wrap_mm=2, edge="colour", edge_colour=word)
        got = tifffile.imread(render(master, recipe, tmp_path / f"{word}.tif").path)
        assert got.shape == (160, 240, 3)
        assert (got[20:-20, 20:-20] == picture).all()
        assert (got[:20] == level).all() and (got[:, -20:] == level).all()
    with pytest.raises(Refused, match="3"):
        render(master, recipe_for(master, 200, 120, wrap_mm=2, edge="colour", edge_colour="7"), tmp_path / "no.tif")


def test_marks_lie_outside_and_point_at_cuts_and_folds(tmp_path: Path) -> None:
    """Corner marks where the sheet is cut, fold marks where the canvas folds: common practice, no source."""
    master = written(tmp_path / "master.tif", np.full((120, 200, 3), 30_000, np.uint16))
    made = render(master, recipe_for(master, 160, 80, wrap_mm=2, bleed_mm=1, marks=True), tmp_path / "print.tif")
    got = tifffile.imread(made.path)
    margin, beyond = 80, 30      # 6 mm of mark and 2 mm of gap; wrap and bleed
    assert got.shape == (80 + 2 * (margin + beyond), 160 + 2 * (margin + beyond), 3)
    inner = got[margin:-margin, margin:-margin]
    assert (inner == 30_000).all()
    dark = (got == 0).all(axis=2)
    dark[margin:-margin, margin:-margin] = False
    top = np.flatnonzero(dark[45])
    cut, fold = margin + 10, margin + beyond
    assert top.tolist() == [cut - 1, fold - 1, fold + 160, cut + 200]
    assert dark[:60].sum() == 4 * 60 - 2 * 30     # two corner marks of 6 mm and two fold marks of 3
    assert not dark[60:margin, margin:-margin].any()


def test_a_picture_shown_whole_lies_on_white(tmp_path: Path) -> None:
    master = written(tmp_path / "master.tif", noise(200, 100))
    made = render(master, recipe_for(master, 200, 200, fit="whole"), tmp_path / "print.tif")
    got = tifffile.imread(made.path)
    assert (got[50:150] == noise(200, 100)).all()
    assert (got[:50] == 65535).all() and (got[150:] == 65535).all()


def test_colours_are_converted_at_16_bits_and_the_new_profile_embedded(tmp_path: Path) -> None:
    master = written(tmp_path / "master.tif", np.full((40, 60, 3), (10_000, 40_000, 30_000), np.uint16))
    recipe = replace(recipe_for(master, 60, 40), profile_sha256=hashlib.sha256(SRGB).hexdigest())
    made = render(master, recipe, tmp_path / "print.tif", profile=SRGB)
    with Image.open(made.path) as picture:
        assert picture.info["icc_profile"] == SRGB
    reference = imagecodecs.cms_transform(np.array([[[10_000, 40_000, 30_000]]], np.uint16), WIDE, SRGB,
                                          colorspace="rgb", outcolorspace="rgb", intent=1, flags=0x2100)
    assert np.abs(tifffile.imread(made.path).astype(int) - reference).max() <= 1
    assert "littleCMS" in made.versions
    for wrong in (b"", SRGB[:-1], WIDE):
        with pytest.raises(Refused):
            render(master, recipe, tmp_path / "no.tif", profile=wrong)


KINDS: dict[str, tuple[Picture, dict[str, Any], Callable[[Picture], Picture]]] = {
    "CMYK": (noise(channels=4), {"photometric": "separated", "iccprofile": None}, lambda p: p),
    "CMYK 8 bit": (noise(channels=4, kind=np.uint8), {"photometric": "separated", "iccprofile": None}, lambda p: p),
    "Lab": (noise(), {"photometric": "cielab", "iccprofile": None}, lambda p: p),
    "Lab 8 bit": (noise(kind=np.uint8), {"photometric": "cielab", "iccprofile": None}, lambda p: p),
    "ICC Lab": (noise(), {"photometric": "icclab", "iccprofile": None}, lambda p: p),
    "grey": (noise(channels=1)[..., 0], {"photometric": "minisblack", "iccprofile": None}, lambda p: p),
    "white is zero": (noise(channels=1)[..., 0], {"photometric": "miniswhite", "iccprofile": None},
                      lambda p: 65535 - p),
    "one bit": (noise(channels=1, kind=np.uint8)[..., 0] > 99, {"photometric": "minisblack", "iccprofile": None},
                lambda p: p.astype(np.uint8) * 255),
    "palette": (noise(channels=1, kind=np.uint8)[..., 0], {"photometric": "palette", "iccprofile": None,
                "colormap": (np.arange(768).reshape(3, 256) * 80).astype(np.uint16)},
                lambda p: np.moveaxis((np.arange(768).reshape(3, 256) * 80)[:, p], 0, -1)),
    "RGB 8 bit": (noise(kind=np.uint8), {}, lambda p: p),
    "alpha": (noise(channels=4), {"extrasamples": ["unassalpha"]},
              lambda p: np.rint(65535 + (p[..., :3] - 65535.0) * (p[..., 3:] / 65535.0))),
    "associated alpha": (noise(channels=4) // np.array([4, 4, 4, 1], np.uint16), {"extrasamples": ["assocalpha"]},
                         lambda p: np.minimum(65535, p[..., :3].astype(int) + 65535 - p[..., 3:])),
    "a further channel": (noise(channels=4), {"extrasamples": ["unspecified"]}, lambda p: p[..., :3]),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_master_gives_the_right_file(kind: str, tmp_path: Path) -> None:
    picture, options, expected = KINDS[kind]
    master = written(tmp_path / "master.tif", picture, **options)
    bits = 16 if picture.dtype == np.uint16 or kind == "palette" else 8
    made = render(master, recipe_for(master, 300, 200, bits=bits), tmp_path / "print.tif")
    with tifffile.TiffFile(made.path) as file:
        page = file.pages[0]
        assert page.bitspersample == bits
        assert page.photometric.name.lower() == {"miniswhite": "minisblack", "palette": "rgb"}.get(
            options.get("photometric", "rgb"), options.get("photometric", "rgb"))
        assert not page.extrasamples
        assert (page.asarray() == expected(picture)).all()
    seen = read_file(made.path)
    assert seen.pixel_digest == made.pixel_digest
    told = bool({"alpha", "associated alpha", "a further channel"} & {kind})
    assert any("channel" in caution or "transparent" in caution for caution in made.cautions) == told


def test_borders_are_white_in_every_colour_space(tmp_path: Path) -> None:
    whites = {"CMYK": [0] * 4, "Lab": [65535, 0, 0], "ICC Lab": [0xFF00, 0x8000, 0x8000], "Lab 8 bit": [255, 0, 0]}
    for kind, level in whites.items():
        picture, options, _ = KINDS[kind]
        master = written(tmp_path / f"{kind}.tif", picture, **options)
        recipe = recipe_for(master, 320, 220, border_mm=1, bits=8 if picture.dtype == np.uint8 else 16)
        got = tifffile.imread(render(master, recipe, tmp_path / f"{kind} print.tif").path)
        assert (got[:10] == level).all(), kind


def other_formats(folder: Path) -> dict[str, str]:
    """Masters that are no TIFF, and what Pillow, as an outside reader, gives them as."""
    picture = noise(kind=np.uint8)
    image = Image.fromarray(picture)
    (folder / "a.png").write_bytes(imagecodecs.png_encode(picture))
    (folder / "deep.png").write_bytes(imagecodecs.png_encode(picture.astype(np.uint16) * 257))
    (folder / "whole.jp2").write_bytes(imagecodecs.jpeg2k_encode(picture, level=0))
    image.save(folder / "a.jpg", quality=90)
    image.convert("CMYK").save(folder / "cmyk.jpg")
    image.convert("P").save(folder / "palette.png")
    image.convert("1").save(folder / "line.png")
    image.convert("1").save(folder / "fax.tif", compression="group4")
    image.save(folder / "a.webp", lossless=True)
    return {"a.png": "RGB", "deep.png": "RGB", "whole.jp2": "RGB", "a.jpg": "RGB", "cmyk.jpg": "CMYK",
            "palette.png": "RGB", "line.png": "L", "fax.tif": "L", "a.webp": "RGB"}


def test_masters_of_other_formats_are_printed_as_others_read_them(tmp_path: Path) -> None:
    for name, mode in other_formats(tmp_path).items():
        made = render(tmp_path / name, recipe_for(tmp_path / name, 300, 200, bits=8), tmp_path / f"{name}.print.tif")
        with Image.open(tmp_path / name) as picture:
            expected = np.asarray(picture.convert(mode))
        assert (tifffile.imread(made.path) == expected).all(), name
        assert any("no profile" in caution for caution in made.cautions) == (mode != "L")    # grey needs none


@pytest.mark.parametrize(("picture", "options"), [
    (noise().astype(np.float32) / 65535, {}), (noise().astype(np.int16), {}), (noise().astype(np.uint32), {}),
    (noise(), {"photometric": "ycbcr"}),
    (noise(channels=4), {"photometric": "cielab", "extrasamples": ["unassalpha"]})])
def test_masters_that_have_no_certain_white_are_refused(picture: Picture, options: dict[str, Any],
                                                        tmp_path: Path) -> None:
    master = written(tmp_path / "master.tif", picture, **options)
    with pytest.raises(Refused, match="cannot be printed"):
        render(master, recipe_for(master, 30, 20), tmp_path / "print.tif")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["master.tif"]


def test_a_lab_master_keeps_its_bits_or_is_converted(tmp_path: Path) -> None:
    master = written(tmp_path / "master.tif", noise(), photometric="cielab", iccprofile=None)
    recipe = recipe_for(master, 30, 20, bits=8)
    with pytest.raises(Refused, match="16 bits"):
        render(master, recipe, tmp_path / "print.tif")
    made = render(master, replace(recipe, profile_sha256=hashlib.sha256(SRGB).hexdigest()), tmp_path / "print.tif",
                  profile=SRGB)
    assert tifffile.imread(made.path).dtype == np.uint8


def test_enlarging_is_said(master: Path, tmp_path: Path) -> None:
    made = render(master, replace(recipe_for(master, 300, 200), ppi=508), tmp_path / "print.tif")
    assert made.ppi_there == pytest.approx(254)
    assert "508 ppi" in made.cautions[0] and "254 ppi" in made.cautions[0]
    assert render(master, recipe_for(master, 300, 200), tmp_path / "same.tif").cautions == ()


def nothing_but(master: Path) -> None:
    assert sorted(p.name for p in master.parent.iterdir()) == [master.name]


def test_a_master_that_is_not_what_it_was_gives_no_file(master: Path) -> None:
    recipe = recipe_for(master, 150, 100)
    data = bytearray(master.read_bytes())
    data[-1] ^= 1
    master.write_bytes(data)
    with pytest.raises(Damaged, match=rendering.MASTER_CHANGED):
        render(master, recipe, master.with_name("print.tif"))
    nothing_but(master)
    master.write_bytes(data[:-5000])
    with pytest.raises(Damaged):
        render(master, recipe_for(master, 150, 100), master.with_name("print.tif"))
    nothing_but(master)


def test_a_master_that_is_gone_or_no_picture_gives_no_file(master: Path) -> None:
    recipe = recipe_for(master, 150, 100)
    master.write_bytes(b"no picture at all")
    with pytest.raises(Damaged, match="picture"):
        render(master, recipe, master.with_name("print.tif"))
    nothing_but(master)
    gone = master.with_name("gone.tif")
    with pytest.raises(CatalogueError) as told:
        render(gone, recipe, master.with_name("print.tif"))
    assert told.value.path == gone
    nothing_but(master)


@pytest.mark.parametrize("call", ["preadv", "readinto"])
def test_a_disk_unplugged_midway_gives_no_file(call: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The medium fails for the rows, or for the digest beside them."""
    master = written(tmp_path / "master.tif", noise(1500, 900))
    recipe = recipe_for(master, 150, 90)
    real_preadv, count = os.preadv, [0]

    def failing(fd: int, buffers: Any, offset: int) -> int:
        count[0] += 1
        if count[0] > 1:
            raise OSError(errno.EIO, "Input/output error")
        return real_preadv(fd, buffers, offset)

    if call == "preadv":
        monkeypatch.setattr(os, "preadv", failing)
    else:
        from catalogue.reading import digests

        def broken(fd: int, view: memoryview, offset: int) -> int:
            raise digests.ReadFailed(offset, OSError(errno.EIO, "Input/output error"))

        monkeypatch.setattr(digests, "read_into", broken)
    with pytest.raises(CatalogueError, match="Input/output error"):
        render(master, recipe, tmp_path / "print.tif")
    monkeypatch.undo()
    nothing_but(master)


def test_a_full_disk_is_said_and_leaves_nothing(master: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = rendering.write_tiff

    def full(path: Path, bands: Any, form: Any, xmp: bytes) -> None:
        real(path, bands, form, xmp)
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(rendering, "write_tiff", full)
    with pytest.raises(NoRoom, match="full"):
        render(master, recipe_for(master, 150, 100), master.with_name("print.tif"))
    nothing_but(master)


@pytest.mark.parametrize("compression", ["none", "deflate"])
def test_a_file_that_outgrows_its_disk_is_said_and_leaves_nothing(master: Path, compression: str) -> None:
    """The system's own limit of a file's size ends the write."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
    try:
        with pytest.raises(TooLarge):
            render(master, recipe_for(master, 150, 100, compression=compression), master.with_name("print.tif"))
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    nothing_but(master)


@pytest.mark.parametrize(("compression", "place"), [
    ("none", "pixels"), ("deflate", "pixels"), ("none", "recipe"), ("none", "beyond the end")])
def test_a_disk_that_keeps_other_bytes_is_found_out(master: Path, monkeypatch: pytest.MonkeyPatch, compression: str,
                                                    place: str) -> None:
    real = rendering.write_tiff

    def spoilt(path: Path, bands: Any, form: Any, xmp: bytes) -> Any:
        written = real(path, bands, form, xmp)
        with path.open("r+b") as file:
            file.seek({"pixels": -7, "recipe": 0, "beyond the end": 0}[place], 2)
            if place == "recipe":
                file.seek(path.read_bytes().index(b"lanczos3"))
            file.write(b"x")
        return written

    monkeypatch.setattr(rendering, "write_tiff", spoilt)
    with pytest.raises(Damaged, match=r"does not read back|could not be read in full"):
        render(master, recipe_for(master, 150, 100, compression=compression), master.with_name("print.tif"))
    nothing_but(master)


def test_stopping_leaves_nothing(master: Path) -> None:
    asked = [0]

    def cancelled() -> bool:
        asked[0] += 1
        return asked[0] > 1

    with pytest.raises(Stopped):
        render(master, recipe_for(master, 150, 100), master.with_name("print.tif"), cancelled=cancelled)
    nothing_but(master)


def test_nothing_is_written_over(master: Path) -> None:
    target = master.with_name("print.tif")
    target.write_bytes(b"somebody's file")
    with pytest.raises(Refused, match="not overwritten"):
        render(master, recipe_for(master, 150, 100), target)
    assert target.read_bytes() == b"somebody's file"
    target.unlink()
    first = render(master, recipe_for(master, 150, 100), target)
    state = target.stat()
    again = render(master, recipe_for(master, 150, 100), target)
    assert again == replace(first, there=True)
    assert (target.stat().st_ino, target.stat().st_mtime_ns) == (state.st_ino, state.st_mtime_ns)


KILLED = """
import os, signal, sys
from pathlib import Path
from catalogue.print_files.recipe import from_json
from catalogue.print_files.render import render
def report(progress):
    if progress.stage == {stage!r} and progress.done:
        os.kill(os.getpid(), signal.SIGKILL)
render(Path(sys.argv[1]), from_json(sys.argv[2]), Path(sys.argv[3]), report=report)
"""


@pytest.mark.parametrize("stage", ["making the print file", "reading the print file back", "reading the master"])
def test_killed_midway_no_half_file_has_the_name_and_the_next_run_completes(stage: str, master: Path) -> None:
    recipe = recipe_for(master, 100, 150, turn=90)
    target = master.with_name("print.tif")
    killed = subprocess.run([sys.executable, "-c", KILLED.format(stage=stage), str(master), recipe.to_json(),
                             str(target)], check=False, capture_output=True)
    assert killed.returncode == -signal.SIGKILL, killed.stderr
    assert not target.exists()
    assert isinstance(render(master, recipe, target), Made)
    assert sorted(p.name for p in target.parent.iterdir()) == ["master.tif", "print.tif"]


def test_patches_are_those_of_the_picture_as_it_is_shown(tmp_path: Path) -> None:
    """TIFF 6.0, tag 274: 6 is shown turned by a quarter clockwise."""
    picture = ramp(120, 80)
    lying = written(tmp_path / "lying.tif", picture, extratags=[(274, 3, 1, 6, True)])
    upright = written(tmp_path / "upright.tif", np.ascontiguousarray(turned(picture, 6)))
    ours, theirs = (patches_of_file(path, hashlib.sha256(path.read_bytes()).hexdigest()) for path in (lying, upright))
    assert ours is not None and theirs is not None
    assert ours.size == theirs.size == (80, 120)
    assert np.allclose(ours.lab, theirs.lab, atol=0.01)
    assert patches_of_file(lying, "0" * 64) is None, "another file by now"


def test_a_picture_without_a_recipe_has_none(master: Path, tmp_path: Path) -> None:
    assert recipe_in(master) is None
    rubbish = tmp_path / "rubbish.tif"
    rubbish.write_bytes(b"II*\0rubbish")
    assert recipe_in(rubbish) is None


def test_a_band_is_made_while_the_one_before_is_written_and_errors_come_through() -> None:
    """The second band is there before the first is done with; what fails in the thread fails here."""
    made: list[int] = []

    def bands() -> Iterator[np.ndarray[Any, Any]]:
        for number in range(3):
            made.append(number)
            yield np.full((2, 2), number)
        raise Stopped

    taken = made_ahead(bands())
    assert (next(taken) == 0).all()
    end = time.monotonic() + HANG_SECONDS
    while made != [0, 1] and time.monotonic() < end:
        time.sleep(0.001)
    assert made == [0, 1]
    assert [int(band[0, 0]) for band in (next(taken), next(taken))] == [1, 2]
    with pytest.raises(Stopped):
        next(taken)
