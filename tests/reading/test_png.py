"""PNG row by row: the same samples as libpng and Pillow give, in any memory, with every checksum compared."""

import io
import itertools
import struct
import zlib
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
from PIL import Image

from catalogue.reading.file import read_file
from catalogue.reading.limits import Limits
from catalogue.reading.model import Fault, Reading
from tests.files import samples_of

from .test_embedded import chunk

CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}   # ISO/IEC 15948, 11.2.2
TYPES = [(0, 1), (0, 2), (0, 4), (0, 8), (0, 16), (2, 8), (2, 16), (3, 1), (3, 2), (3, 4), (3, 8), (4, 8), (4, 16),
         (6, 8), (6, 16)]
PASSES = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))   # 8.2


def packed(rows: np.ndarray, depth: int) -> list[bytes]:
    """Rows × samples as the bytes of each row (7.2)."""
    if depth == 16:
        return [row.astype(">u2").tobytes() for row in rows]
    if depth == 8:
        return [row.astype(np.uint8).tobytes() for row in rows]
    bits = [np.unpackbits(row.astype(np.uint8)[:, None], axis=1)[:, 8 - depth:] for row in rows]
    return [np.packbits(row.reshape(-1)).tobytes() for row in bits]


def filtered(rows: list[bytes], step: int, kinds: itertools.cycle) -> bytes:
    """Each row by the next filter type, written out plainly from 9.2."""
    out, above = b"", bytes(len(rows[0])) if rows else b""
    for row in rows:
        kind = next(kinds)
        coded = bytearray([kind])
        for i, value in enumerate(row):
            a, b = row[i - step] if i >= step else 0, above[i]
            c = above[i - step] if i >= step else 0
            p = a + b - c
            paeth = min((a, b, c), key=lambda v: abs(p - v))
            coded.append((value - (0, a, b, (a + b) // 2, paeth)[kind]) % 256)
        out, above = out + coded, row
    return out


def written(samples: np.ndarray, colour: int, depth: int, interlaced: bool = False, extra: bytes = b"") -> bytes:
    """A PNG of rows × width × channels, all five filters in turn, in many small chunks."""
    height, width, channels = samples.shape
    step = max(1, channels * depth // 8)
    kinds = itertools.cycle(range(5))
    parts = [samples[y::dy, x::dx] for x, y, dx, dy in PASSES] if interlaced else [samples]
    raw = b"".join(filtered(packed(p.reshape(len(p), -1), depth), step, kinds) for p in parts if p.size)
    data = zlib.compress(raw)
    pixels = b"".join(chunk(b"IDAT", data[i : i + 997]) for i in range(0, len(data), 997))
    palette = chunk(b"PLTE", bytes(range(3 * 2**depth % 256)) or bytes(range(256)) * 3) if colour == 3 else b""
    head = struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, interlaced)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + palette + extra + pixels + chunk(b"IEND", b"")


def invented(colour: int, depth: int, height: int = 23, width: int = 37) -> np.ndarray:
    rng = np.random.default_rng(colour * 31 + depth)
    return rng.integers(0, 1 << depth, (height, width, CHANNELS[colour]), dtype=np.uint16)


def expected(samples: np.ndarray, colour: int, depth: int) -> np.ndarray:
    """What is given out: grey of under 8 bits over the whole range, all else as it is."""
    scale = 255 // ((1 << depth) - 1) if colour == 0 and depth < 8 else 1
    return (samples * scale).astype(np.uint16 if depth == 16 else np.uint8)


def kinds(reading: Reading) -> set[Fault]:
    return {fault.kind for fault in reading.faults} - {Fault.NO_PROFILE}


@pytest.mark.parametrize("interlaced", [False, True])
@pytest.mark.parametrize(("colour", "depth"), TYPES)
def test_every_type_and_filter(colour: int, depth: int, interlaced: bool, folder: Path) -> None:
    """Against libpng, and against the samples that were written; bands of one row cut no filter off."""
    samples = invented(colour, depth)
    path = folder / "typed.png"
    path.write_bytes(written(samples, colour, depth, interlaced))
    with Image.open(path) as image:
        image.load()   # sound to another reader
        if colour == 3:
            assert np.array_equal(np.asarray(image)[..., None], samples)
    if colour != 3 and depth >= 8:
        other = np.asarray(imagecodecs.png_decode(path.read_bytes())).reshape(samples.shape)
        assert np.array_equal(other, samples)
    ours = samples_of(path)
    assert ours is not None and np.array_equal(ours, expected(samples, colour, depth))
    narrow = samples_of(path, Limits(band_bytes=1))
    assert narrow is not None and np.array_equal(narrow, ours)
    assert kinds(read_file(path)) == set()


@pytest.mark.parametrize(("colour", "depth"), [(0, 8), (0, 2), (0, 16), (2, 8), (2, 16), (3, 4)])
def test_a_transparent_colour_is_alpha(colour: int, depth: int, folder: Path) -> None:
    """tRNS (11.3.2.1), against Pillow where it keeps the samples: 8 bits."""
    samples = invented(colour, depth)
    key = bytes([0, 255, 40]) if colour == 3 else struct.pack(f">{CHANNELS[colour]}H", *samples[3, 4])
    path = folder / "key.png"
    path.write_bytes(written(samples, colour, depth, extra=chunk(b"tRNS", key)))
    ours = samples_of(path)
    assert ours is not None and ours.shape[2] == (4 if colour == 3 else CHANNELS[colour] + 1)
    if colour == 3 or depth == 8:
        with Image.open(path) as image:
            assert np.array_equal(ours, np.asarray(image.convert("LA" if colour == 0 else "RGBA")))
    else:
        assert ours[3, 4, -1] == 0 and (ours[..., -1] == 0).sum() == (samples == samples[3, 4]).all(axis=2).sum()
    assert kinds(read_file(path)) == set()


def test_memory_does_not_grow_with_the_picture(folder: Path) -> None:
    """Sixteen million samples where a tenth of a MiB may be held."""
    path = folder / "large.png"
    row = np.arange(3000, dtype=np.uint16).astype(np.uint8)
    Image.fromarray(np.broadcast_to(row, (5000, 3000)).copy()).save(path)
    reading = read_file(path, limits=Limits(held_bytes=100_000, band_bytes=50_000))
    assert kinds(reading) == set() and reading.preview and reading.pixel_digest == read_file(path).pixel_digest


def test_a_large_interlaced_picture_is_undecoded_with_its_figure(folder: Path) -> None:
    path = folder / "interlaced.png"
    path.write_bytes(written(invented(2, 8, 40, 60), 2, 8, interlaced=True))
    reading = read_file(path, limits=Limits(held_bytes=2000))
    assert kinds(reading) == {Fault.UNDECODED} and reading.preview is None and reading.sha256
    assert "interlaced" in next(f.detail for f in reading.faults if f.kind is Fault.UNDECODED)


def damaged(data: bytes, what: str) -> bytes:
    """A PNG with one thing wrong."""
    body = data.index(b"IDAT")
    if what == "no end":
        return data[: data.index(b"IEND") - 4]
    if what == "cut":
        return data[: len(data) * 6 // 10]
    if what == "a text":
        text = bytearray(chunk(b"tEXt", b"Title\0Harbour"))
        text[-6] ^= 1
        return data[: body - 4] + bytes(text) + data[body - 4 :]
    if what == "palette":
        return data.replace(b"PLTE", b"plte")
    out = bytearray(data)
    out[{"header": 20, "pixels": len(data) - 60, "first pixels": body + 20}[what]] ^= 0x10
    return bytes(out)


@pytest.mark.parametrize(
    ("what", "kind"),
    [("no end", Fault.TRUNCATED), ("cut", Fault.TRUNCATED), ("a text", Fault.DAMAGED), ("header", Fault.DAMAGED),
     ("pixels", Fault.DAMAGED), ("first pixels", Fault.DAMAGED)])
@pytest.mark.parametrize("interlaced", [False, True])
def test_damage_is_found_and_gives_no_digest(what: str, kind: Fault, interlaced: bool, folder: Path) -> None:
    path = folder / "bad.png"
    path.write_bytes(damaged(written(invented(2, 8, 60, 70), 2, 8, interlaced), what))
    reading = read_file(path)
    assert kind in kinds(reading) and Fault.UNDECODED not in kinds(reading) and reading.pixel_digest == ""


def test_a_palette_that_is_not_there(folder: Path) -> None:
    path = folder / "bad.png"
    path.write_bytes(damaged(written(invented(3, 8), 3, 8), "palette"))
    assert kinds(read_file(path)) == {Fault.DAMAGED}


def test_nothing_is_written_to_standard_error(folder: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """libpng writes its warnings there."""
    for interlaced in (False, True):
        data = written(invented(2, 16), 2, 16, interlaced)
        for what in ("", "a text", "pixels"):
            path = folder / "loud.png"
            path.write_bytes(damaged(data, what) if what else data)
            read_file(path)
    assert capfd.readouterr().err == ""


def test_a_filter_that_does_not_exist(folder: Path) -> None:
    samples = invented(2, 8)
    raw = b"".join(bytes([7]) + row for row in packed(samples.reshape(len(samples), -1), 8))
    head = struct.pack(">IIBBBBB", 37, 23, 8, 2, 0, 0, 0)
    path = folder / "filter.png"
    chunks = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + chunks)
    with pytest.raises(Exception, match="filter"):
        imagecodecs.png_decode(path.read_bytes())
    reading = read_file(path)
    assert kinds(reading) == {Fault.DAMAGED} and reading.preview is None


def test_pillows_own_pictures_keep_their_samples(painting: np.ndarray, folder: Path) -> None:
    """Every mode Pillow writes, as Pillow reads it back."""
    for mode in ("1", "L", "LA", "P", "RGB", "RGBA"):
        out = io.BytesIO()
        Image.fromarray(painting[:50, :61]).convert(mode).save(out, "PNG")
        path = folder / "mode.png"
        path.write_bytes(out.getvalue())
        ours = samples_of(path)
        with Image.open(path) as image:
            theirs = np.asarray(image.convert("L") if mode == "1" else image).reshape(50, 61, -1)
        assert ours is not None and np.array_equal(ours, theirs), mode
