"""What a reference decoder refuses is a finding: single bits of coded data flipped, a few hundred of the many that
scripts/fuzz_flips.py flips. And which of "damaged" and "undecoded" it is."""

import struct
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageFile

sys.path.insert(0, str(Path(__file__).parents[2] / "scripts"))
from fuzz_flips import Coded, kinds, measure

from catalogue.reading.file import read_file
from catalogue.reading.limits import Limits
from catalogue.reading.model import Fault, Reading
from catalogue.sheets.pdf import as_pdf, pdf_available

KINDS = kinds()


def faults(reading: Reading) -> set[Fault]:
    """The kinds found, the mild one left out."""
    return {fault.kind for fault in reading.faults} - {Fault.NO_PROFILE}


@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
@pytest.mark.parametrize("name", sorted(KINDS))
def test_a_flip_that_a_reference_refuses_is_a_finding(name: str, folder: Path) -> None:
    """References: zlib, tifffile with imagecodecs, Pillow with libtiff, libpng, libjpeg-turbo, OpenJPEG."""
    result = measure(KINDS[name], 60, 5, folder)
    assert result.missed == [] and result.flips >= 60
    assert result.any or name.startswith(("JPEG 2000", "PackBits")), "else nothing was tried"


def strip(picture: np.ndarray, path: Path, compression: str) -> tuple[int, int]:
    """A TIFF of one strip; where it lies."""
    tifffile.imwrite(path, picture, photometric="rgb", metadata=None, compression=compression, rowsperstrip=512)
    with tifffile.TiffFile(path) as tif:
        return tif.pages[0].dataoffsets[0], tif.pages[0].databytecounts[0]


@pytest.mark.parametrize("compression", ["zlib", "lzw", "zstd", "lzma", "packbits"])
def test_the_only_strip_is_corrupt(compression: str, painting: np.ndarray, folder: Path) -> None:
    """It has a codec that refuses it: damaged, which no copy may be, not "undecoded"."""
    path = folder / "one.tif"
    offset, count = strip(painting, path, compression)
    data = bytearray(path.read_bytes())
    data[offset + 2 : offset + count] = b"\xff" * (count - 2)
    path.write_bytes(data)
    reading = read_file(path)
    assert faults(reading) == {Fault.DAMAGED} and reading.pixel_digest == ""


@pytest.mark.parametrize("held", [None, 100_000])
def test_a_wrong_checksum_alone(held: int | None, painting: np.ndarray, folder: Path) -> None:
    """All rows inflate, yet Adler-32 says they are not those that were written (RFC 1950, 2.2), also where a strip is
    too large to be held and is inflated as it is read."""
    limits = Limits() if held is None else Limits(held_bytes=held)
    path = folder / "sum.tif"
    offset, count = strip(painting, path, "zlib")
    data = bytearray(path.read_bytes())
    assert faults(read_file(path, limits=limits)) == set()
    data[offset + count - 1] ^= 1
    path.write_bytes(data)
    with pytest.raises(zlib.error):
        zlib.decompress(bytes(data[offset : offset + count]))
    reading = read_file(path, limits=limits)
    assert faults(reading) == {Fault.DAMAGED} and reading.preview and reading.pixel_digest == ""


@pytest.mark.parametrize("held", [None, 100_000])
def test_a_strip_of_more_rows_than_asked_for_is_sound(held: int | None, painting: np.ndarray, folder: Path) -> None:
    """Some writers fill the last strip up; bytes may follow the stream too."""
    limits = Limits() if held is None else Limits(held_bytes=held)
    path = folder / "more.tif"
    offset, count = strip(painting, path, "zlib")
    before = read_file(path, limits=limits).pixel_digest
    longer = zlib.compress(zlib.decompress(path.read_bytes()[offset : offset + count]) + b"\7" * 5000) + b"\0\0\0"
    data = bytearray(path.read_bytes()[:offset]) + longer
    with tifffile.TiffFile(path) as tif:
        tag = tif.pages[0].tags[279]
        struct.pack_into("<I" if tag.dtype == 4 else "<Q", data, tag.valueoffset, len(longer))
    assert offset > 8, "the directory lies before the pixels"
    path.write_bytes(data)
    reading = read_file(path, limits=limits)
    assert faults(reading) == set() and reading.pixel_digest == before


def test_no_codec_is_no_damage(painting: np.ndarray, folder: Path) -> None:
    """Compression 65300 is nobody's: undecoded, which says nothing of the data."""
    path = folder / "unknown.tif"
    strip(painting, path, "lzw")
    with tifffile.TiffFile(path, mode="r+b") as tif:
        tif.pages[0].tags[259].overwrite(65300)
    assert faults(read_file(path)) == {Fault.UNDECODED}


def test_a_jpeg_cut_before_its_pixels_shows_nothing(painting: np.ndarray, folder: Path) -> None:
    """Not a grey preview that looks like a picture, and no hash that likens it to every other such file."""
    path = folder / "head.jpg"
    Image.fromarray(painting).save(path)
    data = path.read_bytes()
    path.write_bytes(data[: data.index(b"\xff\xda") + 14])
    reading = read_file(path)
    assert faults(reading) == {Fault.TRUNCATED} and reading.preview is None and reading.hashes == ()


@pytest.mark.parametrize("tolerant", [False, True])
def test_what_another_library_told_pillow_does_not_hide_damage(
        painting: np.ndarray, folder: Path, tolerant: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """WeasyPrint, for one, has Pillow pass over missing data in the whole process."""
    monkeypatch.setattr(ImageFile, "LOAD_TRUNCATED_IMAGES", tolerant)
    path = folder / "short.jpg"
    Image.fromarray(painting).save(path)
    path.write_bytes(path.read_bytes()[:-2000])
    assert faults(read_file(path)) == {Fault.TRUNCATED}


def test_pillow_stays_strict_where_a_page_becomes_a_pdf(tmp_path: Path) -> None:
    if pdf_available():
        as_pdf("<p>one</p>", tmp_path / "one.pdf")
    assert ImageFile.LOAD_TRUNCATED_IMAGES is False


def test_the_measure_itself_notices(folder: Path) -> None:
    """A reference that refuses what this reader finds sound is counted as missed."""
    def refuse(data: bytes) -> None:
        if data != b"".join([coded.data]):
            raise ValueError("refused")

    coded = KINDS["PackBits"][0]
    coded = Coded(coded.name, coded.suffix, coded.data, coded.stretches, {"strict": refuse})
    assert measure([coded], 40, 5, folder).missed


@pytest.mark.parametrize("progressive", [False, True])
def test_what_follows_a_jpegs_pixels(progressive: bool, painting: np.ndarray, folder: Path) -> None:
    """libjpeg-turbo reads to the end marker and refuses a marker that cannot stand there; bytes after it are free."""
    path = folder / "end.jpg"
    Image.fromarray(painting).save(path, progressive=progressive)
    data = path.read_bytes()
    assert data.endswith(b"\xff\xd9")
    for sound in (data, data + b"\xff\xdb more", data + data):
        path.write_bytes(sound)
        assert faults(read_file(path)) == set()
    path.write_bytes(data[:-1] + b"\xdb")
    assert faults(read_file(path)) == {Fault.TRUNCATED if progressive else Fault.DAMAGED}   # Pillow sees the former
