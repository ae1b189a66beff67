"""A bad file is a finding, never a crash, never silence."""

import hashlib
import os
import pickle
import struct
import threading
import time
import tracemalloc
import warnings
import zlib
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from catalogue.reading import digests, trouble
from catalogue.reading import file as file_module
from catalogue.reading.file import read_file
from catalogue.reading.limits import Limits
from catalogue.reading.model import ACCESS_DENIED, Fault, Reading
from catalogue.reading.raster import Raster


def kinds(reading: Reading) -> set[Fault]:
    """The kinds found, the mild one left out."""
    return {fault.kind for fault in reading.faults} - {Fault.NO_PROFILE}


def sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.fixture
def strips(painting: np.ndarray, folder: Path) -> Path:
    """A sound LZW picture in strips of 16 rows, its directory at the front."""
    path = folder / "strips.tif"
    tifffile.imwrite(path, painting, photometric="rgb", metadata=None, compression="lzw", rowsperstrip=16)
    return path


def test_an_empty_file_is_a_finding(folder: Path) -> None:
    path = folder / "empty.tif"
    path.touch()
    reading = read_file(path)
    assert kinds(reading) == {Fault.EMPTY}
    # FIPS 180-4's digest of no bytes
    assert reading.sha256 == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"


def test_text_named_as_a_picture_is_none(folder: Path) -> None:
    path = folder / "notes.tif"
    path.write_text("ten more of the harbour one")
    reading = read_file(path)
    assert kinds(reading) == {Fault.NOT_A_PICTURE} and reading.sha256 == sha(path)


def test_a_vanished_file_is_a_finding(folder: Path) -> None:
    assert kinds(read_file(folder / "gone.tif")) == {Fault.VANISHED}


def test_a_pipe_and_a_folder_are_no_pictures(folder: Path) -> None:
    """A pipe that nobody writes to would hang whoever opens it."""
    os.mkfifo(folder / "pipe.tif")
    for path in (folder / "pipe.tif", folder):
        assert kinds(read_file(path)) == {Fault.NOT_A_PICTURE}


def test_a_file_that_the_system_refuses_is_unreadable(strips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The system refuses (tests may run as a user whom no permission stops)."""
    import builtins

    real = builtins.open

    def refuse(name: object, *args: object, **kwargs: object) -> object:
        if str(name) == str(strips):
            raise PermissionError(13, "Permission denied")
        return real(name, *args, **kwargs)  # type: ignore[call-overload]

    monkeypatch.setattr(builtins, "open", refuse)
    reading = read_file(strips)
    assert [(fault.kind, fault.cause) for fault in reading.faults] == [(Fault.UNREADABLE, ACCESS_DENIED)]
    assert reading.size > 0


def test_a_failing_medium_names_its_byte(strips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An input/output error past the middle names its byte, and what came before is kept."""
    real, bad = os.pread, strips.stat().st_size // 2

    def failing(fd: int, count: int, offset: int) -> bytes:
        if offset <= bad < offset + count and count > 1000:
            raise OSError(5, "Input/output error")
        return real(fd, count, offset)

    monkeypatch.setattr(trouble.os, "pread", failing)
    reading = read_file(strips)
    fault = next(f for f in reading.faults if f.kind is Fault.UNREADABLE)
    assert fault.offset is not None and abs(fault.offset - bad) < 100_000
    assert reading.preview and reading.pixel_digest == ""


def test_medium_fails_while_digesting(strips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = digests.read_into

    def failing(fd: int, view: memoryview, offset: int) -> int:
        if offset > 0:
            raise digests.ReadFailed(offset, OSError(5, "Input/output error"))
        return real(fd, view, offset)

    monkeypatch.setattr(digests, "read_into", failing)
    reading = read_file(strips)
    assert Fault.UNREADABLE in kinds(reading) and reading.sha256 == "" and reading.preview


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize("layout", ["strips", "one strip", "tiles", "deflate strip"])
def test_a_cut_file_is_truncated_with_a_preview(share: float, layout: str, painting: np.ndarray, folder: Path) -> None:
    """Seen from the structure, with a preview of what is there, a digest of the bytes, none of the pixels."""
    path = folder / "cut.tif"
    options = {"strips": {"rowsperstrip": 16}, "one strip": {"rowsperstrip": 512}, "tiles": {"tile": (64, 64)},
               "deflate strip": {"rowsperstrip": 512, "compression": "zlib"}}[layout]
    tifffile.imwrite(path, painting, photometric="rgb", metadata=None, **options)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    reading = read_file(path)
    assert kinds(reading) == {Fault.TRUNCATED}
    assert reading.preview and reading.pixel_digest == "" and reading.sha256 == sha(path)
    whole = read_file_of(data, folder / "whole.tif")
    rows = int(share * 512) - 70
    assert whole.preview and np.abs(shown(reading)[:rows] - shown(whole)[:rows]).mean() < 4


def read_file_of(data: bytes, path: Path) -> Reading:
    path.write_bytes(data)
    return read_file(path)


def shown(reading: Reading) -> np.ndarray:
    """The preview's pixels."""
    from io import BytesIO

    assert reading.preview
    return np.asarray(Image.open(BytesIO(reading.preview))).astype(int)


@pytest.mark.parametrize("suffix", ["jpg", "png"])
def test_truncated_whole_formats(suffix: str, painting: np.ndarray, folder: Path) -> None:
    path = folder / f"cut.{suffix}"
    Image.fromarray(painting).save(path)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 6 // 10])
    reading = read_file(path)
    assert kinds(reading) == {Fault.TRUNCATED} and reading.preview and reading.pixel_digest == ""
    assert np.abs(shown(reading)[:150] - painting[:150]).mean() < 12


def test_strips_that_do_not_decode_are_one_finding(strips: Path) -> None:
    """Strips that no longer decode make one finding with the place of the first."""
    with tifffile.TiffFile(strips) as tif:
        offsets = tif.pages[0].dataoffsets
    data = bytearray(strips.read_bytes())
    for offset in offsets[5:8]:
        data[offset : offset + 40] = b"\xff" * 40
    strips.write_bytes(data)
    reading = read_file(strips)
    assert kinds(reading) == {Fault.DAMAGED}
    fault = next(f for f in reading.faults if f.kind is Fault.DAMAGED)
    assert fault.offset == offsets[5] and "of 32 segments" in fault.detail
    assert reading.preview and reading.pixel_digest == ""


def test_a_file_written_to_while_it_is_read_is_changing(strips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file written to while it is read says so."""
    real = digests.digest_stretches

    def meddling(handle: object, *args: object) -> object:
        with strips.open("ab") as file:
            file.write(b"more")
        return real(handle, *args)  # type: ignore[arg-type]

    monkeypatch.setattr("catalogue.reading.handles.digest_stretches", meddling)
    assert Fault.CHANGING in kinds(read_file(strips))


def ifd(entries: list[tuple[int, int, int, int]], after: int = 0, at: int = 8) -> bytes:
    """A little-endian TIFF of one directory at byte 8."""
    body = b"".join(struct.pack("<HHII", *entry) for entry in entries)
    return b"II*\0" + struct.pack("<I", at) + struct.pack("<H", len(entries)) + body + struct.pack("<I", after)


def image(width: int, height: int, compression: int = 1, offset: int = 0, count: int = 0) -> list[tuple[int, ...]]:
    return [(256, 4, 1, width), (257, 4, 1, height), (258, 3, 1, 8), (259, 3, 1, compression), (262, 3, 1, 1),
            (273, 4, 1, offset), (277, 3, 1, 1), (278, 4, 1, height), (279, 4, 1, count)]


@pytest.mark.parametrize("compression", [1, 5, 8, 7, 50000])
def test_absurd_size_costs_nothing(compression: int, folder: Path) -> None:
    """Two kilobytes that claim a thousand million pixels: a finding, without work, without memory."""
    path = folder / "absurd.tif"
    path.write_bytes(ifd(image(40_000, 25_000, compression, 200, 1800)).ljust(2000, b"\x55"))
    read_file(path)  # imports done
    tracemalloc.start()
    began = time.process_time()
    reading = read_file(path)
    took, peak = time.process_time() - began, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert kinds(reading) and reading.preview is None and reading.sha256 == sha(path)
    assert peak < 20 << 20
    assert took < 2, "processor time, a thousand times what it takes"


@pytest.mark.parametrize("size", [(0, 0), (2**32 - 1, 2**32 - 1), (1, 2**31)])
def test_impossible_sizes_are_findings(size: tuple[int, int], folder: Path) -> None:
    path = folder / "impossible.tif"
    path.write_bytes(ifd(image(*size, 1, 200, 100)).ljust(400, b"\0"))
    assert kinds(read_file(path)) <= {Fault.DAMAGED, Fault.TRUNCATED, Fault.UNDECODED} and kinds(read_file(path))


def test_circular_directories_come_to_an_end(folder: Path) -> None:
    """A directory that is its own successor, or its own sub-image."""
    path = folder / "circle.tif"
    body = ifd(image(4, 4, 1, 200, 16), after=8).ljust(300, b"\x80")
    path.write_bytes(body)
    reading = read_file(path)
    assert kinds(reading) == {Fault.DAMAGED} and reading.preview
    path.write_bytes(ifd([*image(4, 4, 1, 200, 16), (330, 4, 1, 8)]).ljust(300, b"\x80"))
    assert read_file(path).preview


def test_deflate_bomb(folder: Path) -> None:
    """A strip that inflates to far more than it should is not inflated whole."""
    packed = zlib.compress(b"\0" * (64 << 20), 9)
    path = folder / "bomb.tif"
    path.write_bytes(ifd(image(64, 64, 8, 200, len(packed))).ljust(200, b"\0") + packed)
    tracemalloc.start()
    reading = read_file(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert reading.picture and peak < 32 << 20


def test_time_is_bounded(strips: Path) -> None:
    reading = read_file(strips, limits=Limits(seconds=0))
    assert Fault.UNDECODED in kinds(reading) and reading.pixel_digest == ""
    assert any("took longer" in fault.detail for fault in reading.faults)


def test_too_big_to_hold_is_a_finding(painting: np.ndarray, folder: Path) -> None:
    """A single compressed segment beyond the memory allowed keeps its tags, structure and digest."""
    path = folder / "one.tif"
    tifffile.imwrite(path, painting, photometric="rgb", metadata=None, compression="zstd", rowsperstrip=512)
    reading = read_file(path, limits=Limits(held_bytes=100_000))
    fault = next(f for f in reading.faults if f.kind is Fault.UNDECODED)
    assert "memory" in fault.detail and reading.sha256 == sha(path) and kinds(reading) == {Fault.UNDECODED}
    assert reading.picture and reading.picture.width == 512


def test_name_that_is_not_utf8(painting: np.ndarray, folder: Path) -> None:
    name = os.fsencode(folder) + b"/Hafen [D\xe4mmerung].tif"
    Image.fromarray(painting[:20, :20]).save(folder / "plain.tif")
    os.rename(folder / "plain.tif", name)
    reading = read_file(os.fsdecode(name))
    assert reading.preview and kinds(reading) == set()


def test_unknown_compression_still_gets_everything_else(strips: Path) -> None:
    data = bytearray(strips.read_bytes())
    with tifffile.TiffFile(strips) as tif:
        offset = tif.pages[0].tags[259].valueoffset
    data[offset : offset + 2] = struct.pack("<H", 65300)
    strips.write_bytes(data)
    reading = read_file(strips)
    assert kinds(reading) == {Fault.UNDECODED}
    assert reading.picture and reading.picture.width == 512 and reading.sha256 == sha(strips) and reading.segments


def test_readings_cross_process_borders(strips: Path) -> None:
    reading = read_file(strips)
    assert pickle.loads(pickle.dumps(reading)) == reading


def test_reading_in_threads_at_once(strips: Path) -> None:
    found: list[str] = []
    threads = [threading.Thread(target=lambda: found.append(read_file(strips).pixel_digest)) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(found)) == 1 and len(found) == 4 and found[0]


def test_broken_fax_lines_are_told(painting: np.ndarray, folder: Path) -> None:
    """libtiff mends them and says so on standard error only."""
    path = folder / "fax.tif"
    Image.fromarray(painting).convert("1").save(path, compression="group4")
    assert kinds(read_file(path)) == set()
    data = bytearray(path.read_bytes())
    data[4000:4040] = b"\xff" * 40
    path.write_bytes(data)
    reading = read_file(path)
    assert kinds(reading) == {Fault.DAMAGED} and reading.preview and reading.pixel_digest == ""


def test_odd_heads_and_rationals_are_findings(folder: Path) -> None:
    """Heads that once made the reader stumble: no bits a sample, and a rational cut in half by the file's end."""
    path = folder / "odd.tif"
    no_bits = [(258, 3, 1, 0) if entry[0] == 258 else entry for entry in image(10, 8, 1, 200, 80)]
    path.write_bytes(ifd(no_bits).ljust(300, b"\0"))
    assert kinds(read_file(path))
    cut = [*image(8, 8, 1, 150, 64), (282, 5, 1, 296)]
    path.write_bytes(ifd(cut).ljust(300, b"\0"))
    reading = read_file(path)
    assert kinds(reading) == {Fault.TRUNCATED} and reading.preview


def test_a_codestream_larger_than_its_segment_is_refused(painting: np.ndarray, folder: Path) -> None:
    """JPEG 2000 decodes at the size it states itself (ISO/IEC 15444-1, A.5.1), here 4,097 times as wide."""
    path = folder / "wide.tif"
    tifffile.imwrite(path, painting[:48, :64], photometric="rgb", metadata=None, compression="jpeg2000")
    assert read_file(path).preview
    data = bytearray(path.read_bytes())
    at = data.index(b"\xff\x4f\xff\x51") + 8
    assert struct.unpack_from(">2I", data, at) == (64, 48)
    struct.pack_into(">I", data, at, 64 * 4097)
    path.write_bytes(data)
    reading = read_file(path)
    assert kinds(reading) == {Fault.DAMAGED}
    assert any("262,208 × 48 pixels where the file declares 64 × 48" in fault.detail for fault in reading.faults)


def test_a_picture_without_a_place_is_not_looked_for(folder: Path) -> None:
    """No offsets and a thousand million rows: blank rows were made for an hour; found by mutation."""
    path = folder / "nowhere.tif"
    nowhere = [entry for entry in image(64, 1_060_668_976, 1, 0, 0) if entry[0] not in (273, 279)]
    path.write_bytes(ifd(nowhere).ljust(300, b"\0"))
    reading = read_file(path, limits=Limits(seconds=2))
    assert [(fault.kind, fault.detail) for fault in reading.faults] == [
        (Fault.DAMAGED, "does not say where its pixels are")]


def test_places_that_are_no_numbers_are_told_without_a_warning(folder: Path) -> None:
    """An offset of nought divided by nought once wrote a warning to the person's terminal; found by mutation."""
    path = folder / "nought.tif"
    odd = [(273, 5, 1, 250) if entry[0] == 273 else entry for entry in image(10, 8, 1, 200, 80)]
    path.write_bytes(ifd(odd).ljust(250, b"\0") + bytes(50))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        reading = read_file(path)
    assert kinds(reading) == {Fault.TRUNCATED}


def test_empty_segments_are_told(folder: Path) -> None:
    """Every strip marked empty: allowed by TIFF, but no picture; found by mutation."""
    path = folder / "hollow.tif"
    path.write_bytes(ifd(image(10, 10, 8, 0, 0)).ljust(300, b"\0"))
    assert kinds(read_file(path)) == {Fault.DAMAGED}


def test_giant_tiles_cost_nothing(painting: np.ndarray, folder: Path) -> None:
    """A tile length of sixteen million rows on a picture of 48 once took gigabytes; found by mutation."""
    path = folder / "tile.tif"
    tifffile.imwrite(path, painting[:48, :64], photometric="rgb", metadata=None, compression="zlib", tile=(16, 32))
    with tifffile.TiffFile(path) as tif:
        offset = tif.pages[0].tags[323].valueoffset
        kind = tif.pages[0].tags[323].dtype
    data = bytearray(path.read_bytes())
    data[offset : offset + 4] = struct.pack("<I", 1 << 24) if kind == 4 else struct.pack("<HH", 0xFFF0, 0)
    path.write_bytes(data)
    tracemalloc.start()
    reading = read_file(path, limits=Limits(held_bytes=1 << 20))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert kinds(reading) and peak < 16 << 20


@pytest.mark.parametrize("compression", [1, 5, 8])
def test_giant_rows_cost_nothing(compression: int, folder: Path) -> None:
    """A row of a thousand million pixels once hung the reader; found by mutation."""
    path = folder / "row.tif"
    with path.open("wb") as file:
        file.write(ifd(image(1 << 30, 9, compression, 200, 30_000_000)).ljust(200, b"\0"))
        file.truncate(30_000_200)
    tracemalloc.start()
    reading = read_file(path)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert kinds(reading) and reading.preview is None and peak < 32 << 20 and reading.seconds < 10


def test_samples_that_contradict_their_tag(strips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A codec that gives one sample a pixel where the file declares three; found by mutation."""
    real = Raster._decode

    def grey(self: Raster, data: bytes, index: int) -> np.ndarray | None:
        part = real(self, data, index)
        return part if part is None or index != 4 else part[..., :1]

    monkeypatch.setattr(Raster, "_decode", grey)
    reading = read_file(strips)
    assert kinds(reading) == {Fault.DAMAGED} and reading.preview and reading.pixel_digest == ""
    assert "declares 3" in next(fault.detail for fault in reading.faults if fault.kind is Fault.DAMAGED)


def test_a_file_replaced_while_it_is_read_is_told(strips: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As programs save: written aside, then renamed over it. Of equal size and time, so that neither gives it away.
    Else the digest would be one file's and the picture another's."""
    aside = strips.with_name("aside.tif")
    stat, data = strips.stat(), bytearray(strips.read_bytes())
    data[-500:] = bytes(500)
    aside.write_bytes(data)
    os.utime(aside, ns=(stat.st_atime_ns, stat.st_mtime_ns))
    real = file_module.open_source

    def swapping(*given: object) -> object:
        if aside.exists():
            aside.replace(strips)
        return real(*given)  # type: ignore[arg-type]

    monkeypatch.setattr(file_module, "open_source", swapping)
    assert Fault.CHANGING in kinds(read_file(strips))
    monkeypatch.undo()
    assert Fault.CHANGING not in kinds(read_file(strips))


def test_a_directory_beyond_the_end_is_told_as_a_cut(tmp_path: Path) -> None:
    """TIFF 6.0, section 2: bytes 4 to 7 say where the first directory begins; writers put it behind the pixels."""
    (tmp_path / "cut.tif").write_bytes(b"II*\0" + struct.pack("<I", 10_000) + bytes(100))
    faults = [fault for fault in read_file(tmp_path / "cut.tif").faults if fault.kind is Fault.TRUNCATED]
    assert any("directory lies beyond" in fault.detail and fault.offset == 10_000 for fault in faults)
