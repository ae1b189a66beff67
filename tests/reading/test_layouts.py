"""Every way a TIFF may lay out the same pixels gives the same samples and the same pixel digest."""

import io
import itertools
import struct
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from catalogue.reading.digests import PixelDigest
from catalogue.reading.file import read_file
from catalogue.reading.limits import Limits
from catalogue.reading.model import Fault
from tests.files import samples_of

LAYOUTS: dict[str, dict[str, Any]] = {
    "one strip": {"rowsperstrip": 10_000},
    "strips of 7": {"rowsperstrip": 7},
    "big-endian": {"byteorder": ">"},
    "BigTIFF": {"bigtiff": True},
    "LZW": {"compression": "lzw"},
    "LZW with predictor": {"compression": "lzw", "predictor": 2},
    "Deflate tiles": {"compression": "zlib", "tile": (64, 96)},
    "Deflate, one strip, big-endian": {"compression": "zlib", "rowsperstrip": 10_000, "byteorder": ">"},
    "PackBits": {"compression": "packbits"},
    "LZMA": {"compression": "lzma"},
    "Zstd": {"compression": "zstd", "predictor": 2},
    "JPEG 2000, lossless": {"compression": "jpeg2000", "tile": (128, 128)},
    "PNG tiles": {"compression": "png", "tile": (128, 128)},
    "planes": {"planarconfig": "separate"},
    "planes in tiles, big-endian": {"planarconfig": "separate", "tile": (64, 64), "byteorder": ">"},
    "planes, LZW": {"planarconfig": "separate", "compression": "lzw", "rowsperstrip": 11},
}


def write(path: Path, picture: np.ndarray, **layout: Any) -> Path:
    """A TIFF of an H × W × S picture in the layout asked for."""
    wrapper = {key: layout.pop(key) for key in ("byteorder", "bigtiff") if key in layout}
    if layout.get("planarconfig") == "separate":
        picture = np.moveaxis(picture, 2, 0)
    with tifffile.TiffWriter(path, **wrapper) as tif:
        tif.write(picture, photometric="rgb", metadata=None, **layout)
    return path


@pytest.fixture(scope="module")
def plain(deep: np.ndarray, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The pixel digest of the plainest layout."""
    return read_file(write(tmp_path_factory.mktemp("plain") / "plain.tif", deep)).pixel_digest


@pytest.mark.parametrize("name", LAYOUTS)
def test_layout_changes_nothing(name: str, deep: np.ndarray, plain: str, folder: Path) -> None:
    path = write(folder / "picture.tif", deep, **dict(LAYOUTS[name]))
    reading = read_file(path)
    assert [f for f in reading.faults if f.kind is not Fault.NO_PROFILE] == []
    assert reading.pixel_digest == plain
    samples = samples_of(path)
    assert samples is not None and np.array_equal(samples, deep)


@pytest.mark.parametrize("compression", ["lzw", "zlib", "lzma"])
@pytest.mark.parametrize("predictor", [1, 2])
@pytest.mark.parametrize(("layout", "grain"), [("", "noise"), ("planes", "smooth"), ("big-endian", "blank")])
def test_strips_too_large_to_hold(compression: str, predictor: int, layout: str, grain: str, folder: Path) -> None:
    """One compressed strip, far above the memory allowed, is decoded as it is read; against tifffile."""
    rng = np.random.default_rng(9)
    picture = rng.integers(0, 65535, (300, 211, 3), dtype=np.uint16)
    if grain != "noise":
        picture = (np.arange(300 * 211 * 3) // 400 % 5000).astype(np.uint16).reshape(300, 211, 3)
        picture *= grain == "smooth"
    options = {"planes": {"planarconfig": "separate"}, "big-endian": {"byteorder": ">"}}.get(layout, {})
    path = write(folder / "large.tif", picture, compression=compression, predictor=predictor, rowsperstrip=300,
                 **options)
    found = samples_of(path, Limits(held_bytes=10_000, band_bytes=20_000))
    assert found is not None and np.array_equal(found, picture)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 7 // 10])
    reading = read_file(path, limits=Limits(held_bytes=10_000, band_bytes=20_000))
    assert {f.kind for f in reading.faults} - {Fault.NO_PROFILE} <= {Fault.TRUNCATED, Fault.DAMAGED, Fault.UNDECODED}
    assert any(f.kind is Fault.TRUNCATED for f in reading.faults) and reading.pixel_digest == ""


def test_one_changed_pixel_changes_the_digest(deep: np.ndarray, plain: str, folder: Path) -> None:
    other = deep.copy()
    other[200, 300, 1] ^= 1
    assert read_file(write(folder / "other.tif", other)).pixel_digest != plain


def test_meaning_is_part_of_the_digest(painting: np.ndarray, folder: Path) -> None:
    """A JPEG-coded TIFF saved anew without loss is the same picture; white-as-zero makes another one."""
    Image.fromarray(painting).save(folder / "jpeg.tif", compression="jpeg")
    decoded = samples_of(folder / "jpeg.tif")
    assert decoded is not None
    write(folder / "anew.tif", decoded, compression="lzw")
    assert read_file(folder / "jpeg.tif").pixel_digest == read_file(folder / "anew.tif").pixel_digest
    for name in ("minisblack", "miniswhite"):
        tifffile.imwrite(folder / f"{name}.tif", painting[..., 0], photometric=name, metadata=None)
    assert read_file(folder / "minisblack.tif").pixel_digest != read_file(folder / "miniswhite.tif").pixel_digest


def test_profile_and_palette_are_part_of_the_digest() -> None:
    """Equal samples under another profile are another picture."""
    def digest(extra: bytes) -> str:
        made = PixelDigest((2, 2, 3), "uint8", "RGB", extra)
        made.update(np.arange(12, dtype=np.uint8).reshape(2, 2, 3))
        return made.hexdigest()

    assert digest(b"one profile") == digest(b"one profile") != digest(b"another")


def test_metadata_alone_leaves_the_digest(deep: np.ndarray, plain: str, folder: Path) -> None:
    path = folder / "tagged.tif"
    tifffile.imwrite(path, deep, photometric="rgb", metadata=None, description="Harbour", resolution=(300, 300))
    assert read_file(path).pixel_digest == plain


@pytest.mark.parametrize("kind", ["u1", "u2", "u4", "i1", "i2", "i4", "f2", "f4", "f8"])
@pytest.mark.parametrize("samples", [1, 3])
def test_every_sample_type_decodes_as_by_tifffile(kind: str, samples: int, folder: Path) -> None:
    """Each sample type TIFF knows, against tifffile's own decoding."""
    ramp = np.linspace(0, 1, 64 * 48 * samples).reshape(48, 64, samples)
    limits = np.iinfo(kind) if np.dtype(kind).kind != "f" else None
    picture = (ramp * (limits.max if limits else 1)).astype(kind)
    path = folder / "typed.tif"
    options: dict[str, Any] = {"photometric": "rgb" if samples == 3 else "minisblack", "metadata": None}
    tifffile.imwrite(path, picture if samples == 3 else picture[..., 0], rowsperstrip=5, **options)
    found = samples_of(path)
    assert found is not None
    assert np.array_equal(found, tifffile.imread(path).reshape(found.shape))
    reading = read_file(path)
    assert reading.preview is not None and reading.picture is not None
    assert reading.picture.bits == 8 * np.dtype(kind).itemsize


@pytest.mark.parametrize("bits", [1, 2, 4, 6, 10, 12, 14])
@pytest.mark.parametrize("compression", ["none", "zlib"])
def test_packed_samples_decode_as_by_tifffile(bits: int, compression: str, folder: Path) -> None:
    """Samples that do not fill bytes, rows padded to whole bytes, against tifffile's decoding."""
    rng = np.random.default_rng(bits)
    picture = rng.integers(0, 1 << bits, (37, 53), dtype=np.uint16 if bits > 8 else np.uint8)
    path = folder / "packed.tif"
    packed = b"".join(pack(row, bits) for row in picture)
    write_packed(path, packed, picture.shape, bits, compression)
    found = samples_of(path)
    assert found is not None and np.array_equal(found[..., 0], picture)
    assert np.array_equal(tifffile.imread(path).astype(found.dtype), picture)


def pack(row: np.ndarray, bits: int) -> bytes:
    """Big-endian bit order, as TIFF 6.0 packs rows."""
    text = "".join(format(int(value), f"0{bits}b") for value in row)
    text += "0" * (-len(text) % 8)
    return int(text, 2).to_bytes(len(text) // 8, "big")


def write_packed(path: Path, packed: bytes, shape: tuple[int, int], bits: int, compression: str) -> None:
    """A grey TIFF, byte by byte."""
    import struct
    import zlib

    body = zlib.compress(packed) if compression == "zlib" else packed
    tags = [(256, 4, shape[1]), (257, 4, shape[0]), (258, 3, bits), (259, 3, 8 if compression == "zlib" else 1),
            (262, 3, 1), (273, 4, 0), (277, 3, 1), (278, 4, shape[0]), (279, 4, len(body))]
    start = 8 + 2 + 12 * len(tags) + 4
    entries = b"".join(
        struct.pack("<HHI", code, kind, 1) + (struct.pack("<I", start) if code == 273 else struct.pack("<I", value))
        for code, kind, value in tags
    )
    path.write_bytes(b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", len(tags)) + entries + b"\0" * 4 + body)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_against_pillow(orientation: int, painting: np.ndarray, folder: Path) -> None:
    """Width, height and the preview as Pillow's exif_transpose turns them."""
    from io import BytesIO

    from PIL import ImageOps

    small = painting[:120, :80]
    path = folder / "turned.tif"
    tifffile.imwrite(path, small, photometric="rgb", metadata=None, extratags=[(274, 3, 1, orientation, True)])
    reading = read_file(path)
    upright = Image.fromarray(small)
    upright.getexif()[0x0112] = orientation
    expected = np.asarray(ImageOps.exif_transpose(upright)).astype(int)
    assert reading.picture is not None and reading.preview is not None
    assert (reading.picture.height, reading.picture.width) == expected.shape[:2]
    shown = np.asarray(Image.open(BytesIO(reading.preview))).astype(int)
    assert np.abs(shown - expected).mean() < 4  # WebP is lossy


@settings(max_examples=60, deadline=None)
@given(
    width=st.integers(1, 90), height=st.integers(1, 70), samples=st.sampled_from([1, 3, 4]),
    deep=st.booleans(), big_endian=st.booleans(), planar=st.booleans(), tiled=st.booleans(),
    compression=st.sampled_from(["none", "lzw", "zlib", "packbits"]), rows=st.integers(1, 80),
)
def test_samples_come_back_whatever_the_layout(
    width: int, height: int, samples: int, deep: bool, big_endian: bool, planar: bool, tiled: bool, compression: str,
    rows: int, tmp_path_factory: pytest.TempPathFactory,
) -> None:
    """Samples come back as written, whatever the layout, also in bands of a few rows."""
    rng = np.random.default_rng(width * 1000 + height)
    picture = rng.integers(0, 65535 if deep else 255, (height, width, samples), dtype=np.uint16 if deep else np.uint8)
    options: dict[str, Any] = {"photometric": "rgb" if samples > 1 else "minisblack", "metadata": None}
    if compression != "none":
        options["compression"] = compression
    options |= {"tile": (32, 16)} if tiled else {"rowsperstrip": rows}
    if samples == 4:
        options["extrasamples"] = ["unassalpha"]
    stored = picture[..., 0] if samples == 1 else picture
    if samples > 1:
        options["planarconfig"] = "separate" if planar else "contig"
        stored = np.moveaxis(picture, 2, 0) if planar else picture
    path = tmp_path_factory.getbasetemp() / "any.tif"
    tifffile.imwrite(path, stored, byteorder=">" if big_endian else "<", **options)
    found = samples_of(path, Limits(band_bytes=300))
    assert found is not None and np.array_equal(found, picture)


def test_digest_does_not_hang_on_the_band_size(deep: np.ndarray, plain: str, folder: Path) -> None:
    path = write(folder / "bands.tif", deep, rowsperstrip=10_000)
    previews = set()
    for size in (1, 5_000, 1 << 20):
        reading = read_file(path, limits=Limits(band_bytes=size))
        assert reading.pixel_digest == plain
        previews.add(reading.preview)
    assert len(previews) == 1


def test_layers_pages_and_thumbnails(deep: np.ndarray, folder: Path) -> None:
    """The first full page is the picture; pages and reduced images are listed; 37724 marks layers."""
    path = folder / "layered.tif"
    with tifffile.TiffWriter(path) as tif:
        tif.write(deep, photometric="rgb", metadata=None, extratags=[(37724, 7, 8, b"layers!!", True)])
        tif.write(deep[::4, ::4], photometric="rgb", metadata=None, subfiletype=1)
        tif.write(deep[:50, :60], photometric="rgb", metadata=None, subfiletype=2)
    picture = read_file(path).picture
    assert picture is not None
    assert (picture.width, picture.height, picture.layered) == (403, 301, True)
    assert [(page.width, page.kind) for page in picture.pages] == [(403, "picture"), (101, "reduced"), (60, "page")]


def test_a_thumbnail_ahead_is_not_taken_for_the_picture(deep: np.ndarray, folder: Path) -> None:
    """An unmarked thumbnail ahead of the picture is not taken for it."""
    path = folder / "thumbnail.tif"
    with tifffile.TiffWriter(path) as tif:
        tif.write(deep[::10, ::10], photometric="rgb", metadata=None)
        tif.write(deep, photometric="rgb", metadata=None)
    picture = read_file(path).picture
    assert picture is not None and picture.width == 403


def test_stretches_cover_the_file_once(folder: Path) -> None:
    """Stretches follow one another, their digests are those of xxhash, and picture rows are placed."""
    import xxhash

    picture = np.random.default_rng(3).integers(0, 65535, (900, 1200, 3), dtype=np.uint16)
    for name, layout in {"one": {"rowsperstrip": 900}, "strips": {"rowsperstrip": 50}, "tiles": {"tile": (256, 256)},
                         "planes": {"planarconfig": "separate"}}.items():
        path = write(folder / f"{name}.tif", picture, **layout)
        data = path.read_bytes()
        segments = read_file(path).segments
        assert segments[0].offset == 0 and segments[-1].offset + segments[-1].length == len(data)
        for one, following in itertools.pairwise(segments):
            assert one.offset + one.length == following.offset
        for segment in segments:
            part = data[segment.offset : segment.offset + segment.length]
            assert segment.digest == xxhash.xxh3_64_hexdigest(part)
        placed = [s for s in segments if s.height]
        assert sum(s.length for s in placed) >= picture.nbytes
        covered = np.zeros((900, 1200), bool)
        for s in placed:
            assert s.x + s.width <= 1200 and s.y + s.height <= 900
            covered[s.y : s.y + s.height, s.x : s.x + s.width] = True
        assert covered.all()


def test_a_flipped_byte_is_placed(folder: Path) -> None:
    """The stretch whose digest changes holds the row where the byte was flipped."""
    picture = np.random.default_rng(4).integers(0, 255, (1500, 1000, 3), dtype=np.uint8)
    path = write(folder / "flip.tif", picture, rowsperstrip=1500)
    before = read_file(path).segments
    data = bytearray(path.read_bytes())
    offset = tifffile.TiffFile(path).pages[0].dataoffsets[0]
    data[offset + (1000 * 1000 + 5) * 3] ^= 1
    path.write_bytes(data)
    changed = [new for old, new in zip(before, read_file(path).segments, strict=True) if old.digest != new.digest]
    assert len(changed) == 1
    assert changed[0].y <= 1000 < changed[0].y + changed[0].height


def described(entries: list[tuple[int, int, int, int]], body: bytes, at: int = 400) -> bytes:
    """A little-endian TIFF of one directory at byte 8 and bytes at ``at``."""
    rows = b"".join(struct.pack("<HHII", *entry) for entry in sorted(entries))
    head = b"II*\0" + struct.pack("<IH", 8, len(entries)) + rows + bytes(4)
    return head.ljust(at, b"\0") + body


def test_the_alpha_of_a_palette_picture_counts(folder: Path) -> None:
    """TIFF 6.0, sections 5 and 18: an index and an opacity a pixel, shown on white."""
    table = np.array([[0, 65535], [65535, 0], [0, 0]], np.uint16)   # all reds, all greens, all blues: green and red
    pixels = np.zeros((40, 60, 2), np.uint8)
    pixels[:, 30:, 0] = 1
    pixels[:20, :, 1], pixels[20:, :, 1] = 255, 51
    full = np.pad(table, ((0, 0), (0, 254)))
    path = folder / "palette.tif"
    path.write_bytes(described(
        [(256, 3, 1, 60), (257, 3, 1, 40), (258, 3, 2, 8 | 8 << 16), (259, 3, 1, 1), (262, 3, 1, 3), (273, 4, 1, 2000),
         (277, 3, 1, 2), (278, 3, 1, 40), (279, 4, 1, 4800), (320, 3, 768, 400), (338, 3, 1, 2)],
        full.astype("<u2").tobytes().ljust(1600, b"\0") + pixels.tobytes()))
    reading = read_file(path)
    assert reading.preview and reading.picture and reading.picture.alpha == "unassociated"
    shown = np.asarray(Image.open(io.BytesIO(reading.preview)), int)
    for (row, column), expected in {(5, 10): (0, 255, 0), (5, 50): (255, 0, 0), (35, 10): (204, 255, 204),
                                    (35, 50): (255, 204, 204)}.items():
        assert np.abs(shown[row, column] - expected).max() <= 12   # WebP is lossy


@pytest.mark.parametrize("compression", [None, "lzw", "zlib", "packbits"])
@pytest.mark.parametrize("rows", [16, 512])
def test_a_tiff_without_byte_counts(compression: str | None, rows: int, painting: np.ndarray, folder: Path) -> None:
    """As libtiff and Pillow read it: up to the next strip or the file's end."""
    path = folder / "counts.tif"
    tifffile.imwrite(path, painting, photometric="rgb", metadata=None, compression=compression, rowsperstrip=rows)
    whole = read_file(path)
    data = bytearray(path.read_bytes())
    with tifffile.TiffFile(path) as tif:
        entry = tif.pages[0].tags[279].offset
    data[entry : entry + 2] = struct.pack("<H", 65001)   # a private tag instead
    path.write_bytes(data)
    if compression is None or rows == 512:   # libtiff takes several compressed strips to be of equal length
        with Image.open(path) as image:
            assert np.array_equal(np.asarray(image), painting)
    reading = read_file(path)
    assert {f.kind for f in reading.faults} <= {Fault.NO_PROFILE} and reading.pixel_digest == whole.pixel_digest
    assert "no byte counts" in {note.kind for note in reading.notes}


@pytest.mark.parametrize("kind", [np.float16, np.float32, np.float64, np.complex64])
def test_samples_that_are_no_numbers_make_a_note(kind: type, folder: Path) -> None:
    """NaN, infinities and numbers beyond float32: no warning reaches a terminal, the rest is shown."""
    samples = np.tile(np.linspace(0, 1, 64, dtype=np.float64), (48, 1)).astype(kind)
    samples[3, 4], samples[5, 6] = np.nan, np.inf
    if kind is np.float64:
        samples[7, 8] = -1e300
    path = folder / "odd.tif"
    tifffile.imwrite(path, samples, photometric="minisblack", metadata=None)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        reading = read_file(path)
    assert reading.faults == () and reading.preview and "odd values" in {note.kind for note in reading.notes}
    shown = np.asarray(Image.open(io.BytesIO(reading.preview)).convert("L"), int)
    assert shown[20, 2] < 40 and shown[20, 61] > 215


def test_a_psd_of_too_many_channels_is_undecoded(folder: Path) -> None:
    """Structure and size are told, and honestly no more; 57 is one over what the format allows."""
    for channels, expected in ((56, False), (57, True)):
        head = b"8BPS\0\1" + bytes(6) + struct.pack(">HIIHH", channels, 8, 9, 8, 3) + bytes(12) + bytes(2)
        path = folder / "many.psd"
        path.write_bytes(head + bytes(range(72)) * channels)
        reading = read_file(path)
        assert (Fault.UNDECODED in {f.kind for f in reading.faults}) == expected
        assert reading.picture and (reading.picture.samples, reading.picture.width) == (channels, 9)
        assert Fault.DAMAGED not in {f.kind for f in reading.faults} and bool(reading.preview) != expected


def test_a_psd_without_a_merged_picture_shows_nothing(folder: Path) -> None:
    """Its composite is white (VersionInfo, hasRealMergedData 0): a preview of that likens it to every other such."""
    version = b"8BIM" + struct.pack(">HHI", 1057, 0, 6) + struct.pack(">IBB", 1, 0, 0)
    head = b"8BPS\0\1" + bytes(6) + struct.pack(">HIIHH", 3, 8, 9, 8, 3) + bytes(4)
    path = folder / "layers.psd"
    path.write_bytes(head + struct.pack(">I", len(version)) + version + bytes(4) + bytes(2) + b"\xff" * 216)
    reading = read_file(path)
    assert Fault.UNDECODED in {f.kind for f in reading.faults}
    assert reading.preview is None and reading.hashes == () and reading.pixel_digest == ""
