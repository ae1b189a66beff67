"""PSD and PSB composites, JPEG, PNG, WebP and JPEG 2000 against Pillow and imagecodecs; names; notes; print sizes."""

import struct
import subprocess
import sys
from io import BytesIO
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps

from catalogue.progress import Progress, Stopped
from catalogue.reading.digests import sha256_of
from catalogue.reading.file import read_file, read_picture
from catalogue.reading.kinds import looks_like_picture
from catalogue.reading.limits import Limits
from catalogue.reading.model import Fault
from catalogue.reading.printsize import pixels_for, ppi_at, prints_up_to
from tests.files import samples_of

from . import profiles


def block(number: int, data: bytes) -> bytes:
    """One image resource block."""
    return b"8BIM" + struct.pack(">HHI", number, 0, len(data)) + data + b"\0" * (len(data) % 2)


def psd(picture: np.ndarray, mode: int, packed: bool, big: bool = False, resources: bytes = b"") -> bytes:
    """A PSD or PSB of a composite alone, written from the published layout."""
    height, width, channels = picture.shape
    depth = picture.dtype.itemsize * 8
    head = b"8BPS" + struct.pack(">H6xHIIHH", 2 if big else 1, channels, height, width, depth, mode)
    wide = ">Q" if big else ">I"
    body = head + struct.pack(">I", 0) + struct.pack(">I", len(resources)) + resources + struct.pack(wide, 0)
    planes = np.moveaxis(picture, 2, 0).astype(picture.dtype.newbyteorder(">"))
    if not packed:
        return body + struct.pack(">H", 0) + planes.tobytes()
    rows = [imagecodecs.packbits_encode(row.tobytes()) for plane in planes for row in plane]
    counts = np.array([len(row) for row in rows], ">u4" if big else ">u2").tobytes()
    return body + struct.pack(">H", 1) + counts + b"".join(rows)


@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("big", [False, True])
@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_psd_composite_is_that_of_pillow(packed: bool, big: bool, kind: type, deep: np.ndarray, folder: Path) -> None:
    picture = deep if kind is np.uint16 else (deep >> 8).astype(np.uint8)
    path = folder / ("a.psb" if big else "a.psd")
    resolution = struct.pack(">IHHIHH", 600 << 16, 1, 1, 600 << 16, 1, 1)
    path.write_bytes(psd(picture, 3, packed, big, block(1005, resolution) + block(1039, profiles.WIDE)))
    found = samples_of(path, Limits(band_bytes=5000))
    assert found is not None and np.array_equal(found, picture)
    if kind is np.uint8 and not big:
        assert np.array_equal(np.asarray(Image.open(path)), picture)
    reading = read_file(path)
    assert reading.faults == () and reading.preview and reading.picture
    assert (reading.picture.ppi_x, reading.picture.profile_name) == (600, "Workshop space")
    tiff = folder / "same.tif"
    tifffile.imwrite(tiff, picture, photometric="rgb", metadata=None, iccprofile=profiles.WIDE)
    assert read_file(tiff).pixel_digest == reading.pixel_digest   # a copy saved as TIFF is the same picture


def test_psd_cmyk_against_pillow(folder: Path) -> None:
    """Stored inverted; given out as TIFF keeps it."""
    picture = np.random.default_rng(1).integers(0, 256, (20, 30, 4), dtype=np.uint8)
    path = folder / "cmyk.psd"
    path.write_bytes(psd(255 - picture, 4, True))
    found = samples_of(path)
    assert found is not None and np.array_equal(found, picture)
    assert np.array_equal(np.asarray(Image.open(path)), picture)


def test_a_psd_cut_short_is_truncated_with_a_preview(deep: np.ndarray, folder: Path) -> None:
    path = folder / "cut.psd"
    data = psd((deep >> 8).astype(np.uint8), 3, False)
    path.write_bytes(data[: len(data) // 2])
    reading = read_file(path)
    assert Fault.TRUNCATED in {fault.kind for fault in reading.faults}
    assert reading.preview and not reading.pixel_digest
    path.write_bytes(data[:30])
    assert {fault.kind for fault in read_file(path).faults} == {Fault.TRUNCATED}


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGB", "RGBA"])
def test_png_against_pillow(mode: str, painting: np.ndarray, folder: Path) -> None:
    image = Image.fromarray(painting[:60, :70]).convert(mode)
    image.save(folder / "a.png")
    found = samples_of(folder / "a.png")
    expected = np.asarray(image.convert("L") if mode == "1" else image)
    assert found is not None and np.array_equal(found.reshape(expected.shape), expected)


@pytest.mark.parametrize("channels", [1, 2, 3, 4])
def test_deep_png_keeps_16_bits(channels: int, deep: np.ndarray, folder: Path) -> None:
    """Where Pillow would cut colour to 8 bits without a word."""
    picture = np.ascontiguousarray(np.concatenate([deep, deep[..., :1]], axis=2)[..., :channels])
    stored = picture if channels > 1 else np.ascontiguousarray(picture[..., 0])
    (folder / "a.png").write_bytes(imagecodecs.png_encode(stored))
    reading = read_file(folder / "a.png")
    found = samples_of(folder / "a.png")
    assert found is not None and np.array_equal(found, picture)
    assert reading.picture and (reading.picture.bits, reading.picture.samples) == (16, channels) and reading.preview


def test_damaged_deep_png_shows_what_is_left(deep: np.ndarray, folder: Path) -> None:
    data = imagecodecs.png_encode(deep)
    (folder / "a.png").write_bytes(data[: len(data) * 7 // 10])
    reading = read_file(folder / "a.png")
    assert Fault.TRUNCATED in {fault.kind for fault in reading.faults} and reading.pixel_digest == ""
    assert reading.preview
    shown = np.asarray(Image.open(BytesIO(reading.preview))).astype(int)
    assert np.abs(shown[:150] - (deep >> 8)[:150]).mean() < 12


@pytest.mark.parametrize("name", ["a.jpg", "a.webp", "a.jp2"])
def test_others_against_pillow(name: str, painting: np.ndarray, folder: Path) -> None:
    Image.fromarray(painting[:96, :128]).save(folder / name)
    found = samples_of(folder / name)
    assert found is not None and np.array_equal(found, np.asarray(Image.open(folder / name)))


def test_large_jpeg_is_reduced_and_its_coding_digested(painting: np.ndarray, folder: Path) -> None:
    """Beyond the memory allowed a JPEG has a preview, and a digest that an edit of its metadata leaves alone."""
    big = np.tile(painting, (4, 4, 1))
    limits = Limits(held_bytes=4 << 20)
    exif = Image.Exif()
    exif[0x013B] = "Mira Aldous"
    Image.fromarray(big).save(folder / "a.jpg", quality=90)
    Image.fromarray(big).save(folder / "b.jpg", quality=90, exif=exif, comment="another")
    Image.fromarray(big[::-1]).save(folder / "c.jpg", quality=90)
    a, b, c = (read_file(folder / f"{name}.jpg", limits=limits) for name in "abc")
    assert a.preview and a.picture and a.picture.width == 2048
    assert a.pixel_digest and a.pixel_digest == b.pixel_digest != c.pixel_digest
    shown = np.asarray(Image.open(BytesIO(a.preview))).astype(int)
    whole = np.asarray(Image.fromarray(big).reduce(big.shape[0] // shown.shape[0])).astype(int)
    assert np.abs(shown - whole).mean() < 5


@pytest.mark.parametrize("turn", [1, 6])
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_picture_alone_is_shown_as_its_reading_shows_it(
    kind: str, turn: int, painting: np.ndarray, folder: Path,
) -> None:
    """Against Pillow, which decodes in full, turns by Exif (orientation 6: a quarter clockwise) and averages areas."""
    whole = Image.fromarray(painting).resize((2300, 1500))
    exif = Image.Exif()
    exif[0x0112] = turn
    path = folder / f"photo-{turn}.{kind}"
    whole.save(path, kind, exif=exif, **{"JPEG": {"quality": 92}, "PNG": {"compress_level": 1}}.get(kind, {}))
    with Image.open(path) as opened:
        opened.load()
        upright = ImageOps.exif_transpose(opened).convert("RGB")
    expected = upright.resize((668, 1024) if turn == 6 else (1024, 668), Image.Resampling.BOX)
    shown = read_picture(path).shown
    assert shown is not None
    assert shown.shape == np.asarray(expected).shape
    assert np.abs(shown.astype(int) - np.asarray(expected).astype(int)).mean() < 2.5


@pytest.mark.parametrize(("data", "kind"), [(b"", Fault.EMPTY), (b"no picture", Fault.NOT_A_PICTURE)])
def test_nothing_is_shown_of_what_is_no_picture(data: bytes, kind: Fault, folder: Path) -> None:
    (folder / "a.jpg").write_bytes(data)
    work = read_picture(folder / "a.jpg")
    assert work.shown is None
    assert [fault.kind for fault in work.faults] == [kind]
    assert [fault.kind for fault in read_picture(folder / "gone.jpg").faults] == [Fault.VANISHED]


def test_a_photo_cut_short_shows_what_is_left_of_it(painting: np.ndarray, folder: Path) -> None:
    whole, cut = folder / "whole.jpg", folder / "cut.jpg"
    Image.fromarray(painting).resize((2300, 1500)).save(whole, quality=92)
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size * 2 // 3])
    work = read_picture(cut)
    assert work.shown is not None
    assert [fault.kind for fault in work.faults] == [Fault.TRUNCATED]
    reference = read_picture(whole).shown
    assert reference is not None
    assert np.abs(work.shown[:300].astype(int) - reference[:300].astype(int)).mean() < 1


def test_old_jpeg_in_tiff_is_said_or_read(painting: np.ndarray, folder: Path) -> None:
    """New-style JPEG in TIFF, YCbCr with tables, against Pillow's libtiff."""
    Image.fromarray(painting).save(folder / "j.tif", compression="jpeg", quality=92)
    found = samples_of(folder / "j.tif")
    assert found is not None
    assert np.abs(found.astype(int) - np.asarray(Image.open(folder / "j.tif")).astype(int)).max() <= 1


@pytest.mark.parametrize("compression", ["group3", "group4"])
def test_fax_compressions_decode_as_by_pillow(compression: str, painting: np.ndarray, folder: Path) -> None:
    image = Image.fromarray(painting).convert("1")
    image.save(folder / "f.tif", compression=compression)
    found = samples_of(folder / "f.tif")
    assert found is not None
    white_is_zero = tifffile.TiffFile(folder / "f.tif").pages[0].photometric == 0
    assert np.array_equal(found[..., 0] == (0 if white_is_zero else 1), np.asarray(image))
    assert read_file(folder / "f.tif").preview


@pytest.mark.parametrize(
    ("name", "taken"),
    [("a.tif", True), ("A.TIFF", True), ("b.btf", True), ("c.tf8", True), ("d.JPE", True), ("e.psb", True),
     ("f.jp2", True), ("[x] é.WebP", True), ("._a.tif", False), (".hidden.tif", False), ("a.tif.part", False),
     ("tif", False), ("notes.txt", False), ("dir.tif/readme", False), ("scans/a.png", True), ("\udce4.tif", True)],
)
def test_what_the_crawler_takes(name: str, taken: bool) -> None:
    assert looks_like_picture(name) is taken


def test_kinds_import_nothing_heavy() -> None:
    """The crawler asks it of a hundred thousand names."""
    code = "import sys, catalogue.reading.kinds; print({'numpy', 'PIL', 'cv2', 'tifffile'} & set(sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "set()\n"


@pytest.mark.parametrize(
    ("data", "digest"),
    # FIPS 180-4 and its companion examples
    [(b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
     (b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
      "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1"),
     (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0")],
)
def test_sha256_is_that_of_the_standard(data: bytes, digest: str, folder: Path) -> None:
    path = folder / "data"
    path.write_bytes(data)
    heard: list[Progress] = []
    assert sha256_of(path, report=heard.append, cancelled=lambda: False) == digest
    assert heard[-1].bytes_done == len(data)
    with pytest.raises(Stopped):
        sha256_of(path, report=heard.append, cancelled=lambda: True)


@pytest.mark.parametrize(
    ("mm", "at_300", "at_600"),
    # ISO 216 sides; pixels as the reference sheet recomputes them
    [(841, 9933, 19866), (1189, 14043, 28087), (594, 7016, 14031), (420, 4961, 9921), (297, 3508, 7016),
     (210, 2480, 4961)],
)
def test_iso_216_pixels(mm: int, at_300: int, at_600: int) -> None:
    assert (pixels_for(mm, 300), pixels_for(mm, 600)) == (at_300, at_600)


def test_a_colour_picture_without_a_profile_is_a_finding(tmp_path: Path) -> None:
    for name, shape, found in (("rgb", (8, 8, 3), True), ("minisblack", (8, 8), False)):
        tifffile.imwrite(tmp_path / f"{name}.tif", np.zeros(shape, np.uint8), photometric=name, metadata=None)
        faults = {fault.kind for fault in read_file(tmp_path / f"{name}.tif").faults}
        assert (Fault.NO_PROFILE in faults) is found, name


def test_how_large_a_scan_prints() -> None:
    """An A2 scan at 600 ppi prints as A0 at 300, less a wrap, plus a border."""
    a0 = prints_up_to(9921, 14031)[0]
    assert (a0.ppi, round(a0.width_mm), round(a0.height_mm)) == (300, 840, 1188)
    wrapped = prints_up_to(9921, 14031, wrap_mm=40)[0]
    assert wrapped.width_mm == pytest.approx(a0.width_mm - 80)
    assert prints_up_to(9921, 14031, border_mm=25)[0].height_mm == pytest.approx(a0.height_mm + 50)
    assert prints_up_to(100, 100, wrap_mm=40) == ()
    assert ppi_at(9921, 14031, wrapped.width_mm, wrapped.height_mm, wrap_mm=40) == pytest.approx(300)
    for pixels in ((1000, 3000), (3000, 1000)):   # the lesser of the two directions, whichever it is
        assert ppi_at(*pixels, 254, 254) == pytest.approx(100)
    assert ppi_at(4961, 7016, 420, 594) == pytest.approx(300, abs=0.05)
    with pytest.raises(ValueError, match="border"):
        ppi_at(100, 100, 50, 50, border_mm=25)


def test_notes_say_what_falls_short(painting: np.ndarray, folder: Path) -> None:
    srgb = profiles.SRGB_LIKE
    tifffile.imwrite(folder / "a.tif", np.tile(painting[:100], (1, 4, 1)), photometric="rgb", metadata=None,
                     iccprofile=srgb, resolution=(300, 200), resolutionunit="inch")
    notes = {note.kind: note for note in read_file(folder / "a.tif").notes}
    assert {"below 16 bit", "non-square resolution", "odd aspect", "few pixels"} <= set(notes)
    assert "FADGI 2016" in notes["below 16 bit"].yardstick and "below FADGI one star" in notes["few pixels"].detail
    tifffile.imwrite(folder / "b.tif", painting.astype(np.uint16) * 257, photometric="rgb", metadata=None,
                     resolution=(600, 600), iccprofile=profiles.WIDE)
    assert read_file(folder / "b.tif").notes == ()
