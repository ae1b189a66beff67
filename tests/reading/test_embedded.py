"""What JPEG, PNG, WebP, PSD and JPEG 2000 files carry beside their pixels: resolution, texts, profiles."""

import io
import struct
import zlib
from pathlib import Path

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from catalogue.reading import exif, iptc, xmp
from catalogue.reading.blocks import IPTC, blocks_of
from catalogue.reading.embedded import settle_resolution
from catalogue.reading.file import read_file
from catalogue.reading.limits import Limits
from catalogue.reading.metadata import merge
from catalogue.reading.model import Fault, Reading
from catalogue.reading.source import Statements

from .profiles import gamma, matrix_profile

WIDE = matrix_profile(((0.64, 0.33), (0.21, 0.71), (0.15, 0.06)), (0.3127, 0.3290), gamma(2.2))   # of a wide green


def dataset(number: int, value: bytes) -> bytes:
    """IPTC-IIM 4.2, record 2."""
    return struct.pack(">BBBH", 0x1C, 2, number, len(value)) + value


def resource(number: int, body: bytes) -> bytes:
    """An image resource block."""
    return b"8BIM" + struct.pack(">HHI", number, 0, len(body)) + body + b"\0" * (len(body) % 2)


def segment(marker: int, body: bytes) -> bytes:
    """A JPEG marker segment (ISO/IEC 10918-1, B.1.1.4)."""
    return struct.pack(">BBH", 0xFF, marker, len(body) + 2) + body


def chunk(kind: bytes, body: bytes) -> bytes:
    """A PNG chunk (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def box(kind: bytes, body: bytes) -> bytes:
    """A JP2 box (ISO/IEC 15444-1, I.4)."""
    return struct.pack(">I", len(body) + 8) + kind + body


def exif_block(*entries: tuple[int, int, int, bytes], order: str = ">") -> bytes:
    """An image directory of entries ``(tag, type, count, bytes)`` (CIPA DC-008, 4.6.2)."""
    head = {">": b"MM\0*", "<": b"II*\0"}[order] + struct.pack(order + "I", 8)
    at = 8 + 2 + 12 * len(entries) + 4
    rows, after = b"", b""
    for tag, kind, count, raw in sorted(entries):
        if len(raw) > 4:
            rows += struct.pack(order + "HHII", tag, kind, count, at + len(after))
            after += raw + b"\0" * (len(raw) % 2)
        else:
            rows += struct.pack(order + "HHI", tag, kind, count) + raw.ljust(4, b"\0")
    return head + struct.pack(order + "H", len(entries)) + rows + struct.pack(order + "I", 0) + after


def ratio(tag: int, value: int) -> tuple[int, int, int, bytes]:
    return tag, 5, 1, struct.pack(">II", value, 1)


def unit(value: int) -> tuple[int, int, int, bytes]:
    return 0x0128, 3, 1, struct.pack(">H", value)


def jpeg(path: Path, picture: np.ndarray, *segments: bytes, density: tuple[int, int] = (0, 1)) -> Reading:
    """Write a JPEG with a JFIF density ``(unit, number)`` and further segments, and read it."""
    out = io.BytesIO()
    Image.fromarray(picture[:64, :80]).save(out, "JPEG")
    data = bytearray(out.getvalue())
    assert data[6:11] == b"JFIF\0"
    data[13:18] = struct.pack(">BHH", density[0], density[1], density[1])
    path.write_bytes(bytes(data[:20]) + b"".join(segments) + bytes(data[20:]))
    return read_file(path)


def ppi(reading: Reading) -> float | None:
    assert reading.picture
    return reading.picture.ppi_x


@pytest.mark.parametrize(
    ("density", "entries", "expected"),
    [
        ((0, 1), (), None),                                            # aspect ratio only (JFIF 1.02)
        ((0, 72), (), None),
        ((1, 300), (), 300), ((2, 118), (), 118 * 2.54),               # per inch, per centimetre
        ((0, 1), (ratio(0x11A, 72), ratio(0x11B, 72)), None),          # numbers without a unit
        ((0, 1), (ratio(0x11A, 72), ratio(0x11B, 72), unit(1)), None),
        ((0, 1), (ratio(0x11A, 600), ratio(0x11B, 600), unit(2)), 600),
        ((0, 1), (ratio(0x11A, 100), ratio(0x11B, 100), unit(3)), 254),
        ((1, 72), (ratio(0x11A, 300), ratio(0x11B, 300), unit(2)), 300),
        ((1, 300), (ratio(0x11A, 72), ratio(0x11B, 72), unit(2)), 300),
    ])
def test_a_jpeg_has_the_resolution_it_states(
    density: tuple[int, int], entries: tuple, expected: float | None, painting: np.ndarray, folder: Path
) -> None:
    """And none where it states none: an invented one becomes a physical size of the artwork."""
    segments = [segment(0xE1, b"Exif\0\0" + exif_block(*entries))] if entries else []
    reading = jpeg(folder / "stated.jpg", painting, *segments, density=density)
    assert ppi(reading) == (None if expected is None else pytest.approx(expected))
    kinds = {note.kind for note in reading.notes}
    assert ("no resolution" in kinds) == (expected is None)
    assert ("two resolutions" in kinds) == (density[0] == 1 and len(entries) == 3)


def test_two_resolutions_are_both_told() -> None:
    chosen, notes = settle_resolution([("JFIF", (72.0, 72.0)), ("Exif", (300.0, 300.0))])
    assert chosen == (300.0, 300.0) and "Exif 300; JFIF 72" in notes[0].detail
    assert settle_resolution([("JFIF", (118 * 2.54, 118 * 2.54)), ("Exif", (300.0, 300.0))])[1] == []
    assert settle_resolution([("JFIF", (0.0, 0.0)), ("Exif", (1e9, 300.0))]) == ((None, None), [])


def test_utf8_in_exif_everywhere(painting: np.ndarray, folder: Path) -> None:
    """CIPA DC-008 says ASCII, programs write UTF-8: ö, not Ã¶, and no conflict with XMP's ö."""
    block = exif_block((0x013B, 2, 11, "Jörg Fähr".encode()), (0x010E, 2, 0, b""))
    for suffix in ("jpg", "png", "webp"):
        path = folder / f"umlaut.{suffix}"
        Image.fromarray(painting[:40, :50]).save(path, exif=b"Exif\0\0" + block)
        assert read_file(path).metadata.creator == "Jörg Fähr", suffix
    head = b"8BPS\0\1" + bytes(6) + struct.pack(">HIIHH", 3, 4, 4, 8, 3) + bytes(4)
    resources = resource(1058, block)
    psd = folder / "umlaut.psd"
    psd.write_bytes(head + struct.pack(">I", len(resources)) + resources + bytes(4) + bytes(2) + bytes(48))
    assert read_file(psd).metadata.creator == "Jörg Fähr"


def test_exif_of_nonsense_is_left_out() -> None:
    """Cut at every byte, and with counts that reach beyond it: what can be had, no exception."""
    block = exif_block((0x013B, 2, 5, b"Mira\0"), ratio(0x11A, 300), ratio(0x11B, 300), unit(2), order=">")
    assert exif.parse(block).resolution == (300, 300) and exif.parse(block).facts() == {"creator": "Mira"}
    for end in range(len(block)):
        exif.parse(block[:end])
        exif.parse(block[:end] + b"\xff" * (len(block) - end))
    assert exif.parse(block[:8] + b"\xff" + block[9:]).facts() == {"creator": "Mira"}   # a count that is too large
    assert exif.parse(exif_block((0x11A, 5, 1, bytes(8)), (0x11B, 5, 1, bytes(8)), unit(2))).resolution is None


def test_no_two_words_become_one() -> None:
    """Line ends of old systems, and spaces that are not U+0020, are kept as line ends and spaces."""
    said = "Harbour\rat dusk\r\nsecond\u2028third\xa0fourth\x85fifth"
    facts, _ = merge(Statements({"description": said}))
    assert facts.description == "Harbour\nat dusk\nsecond\nthird fourth\nfifth"


def test_iptc_over_two_segments(painting: np.ndarray, folder: Path) -> None:
    """One block cut in two by the 64 KiB a segment holds, and two whole blocks: both are read on."""
    whole = resource(IPTC, dataset(80, b"Mira Aldous") + dataset(5, b"Harbour"))
    for pieces in ((whole[:30], whole[30:]), (resource(IPTC, dataset(80, b"Mira Aldous")),
                                              resource(IPTC, dataset(5, b"Harbour") + b"\0"))):
        reading = jpeg(folder / "two.jpg", painting, *(segment(0xED, b"Photoshop 3.0\0" + p) for p in pieces))
        assert (reading.metadata.creator, reading.metadata.title) == ("Mira Aldous", "Harbour")
    assert set(blocks_of(whole)) == {IPTC}


def test_bytes_that_latin_1_has_no_letter_for() -> None:
    """0x9F and its neighbours are letters in the code page that programs mean by it, not control characters."""
    assert iptc.facts(dataset(80, b"Tr\x9fbiger"))["creator"] == "TrŸbiger"
    facts, _ = merge(Statements(iptc=dataset(120, b"Dusk \x96 \x93late\x94")))
    assert facts.description == "Dusk – “late”"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le", "utf-16-be", "utf-16", "utf-32-be", "utf-32-le"])
def test_xmp_in_any_encoding(encoding: str) -> None:
    """ISO 16684-1, 7.3.2: UTF-8 in most files, the others allowed."""
    packet = ('<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
              '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:creator><rdf:Seq><rdf:li>'
              "Jörg Fähr</rdf:li></rdf:Seq></dc:creator></rdf:Description></rdf:RDF></x:xmpmeta>")
    wrapped = '<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>' + packet + '  <?xpacket end="w"?>'
    assert xmp.facts(wrapped.encode(encoding))[0] == {"creator": "Jörg Fähr"}
    assert xmp.facts(b"")[0] == {} and xmp.facts(b"\0\0")[0] == {}


def test_the_capture_date_is_when_it_was_captured() -> None:
    """exif:DateTimeOriginal before photoshop:DateCreated before xmp:CreateDate, in whatever order they stand."""
    names = {"xmp:CreateDate": "2021-01-01", "photoshop:DateCreated": "2020-01-01",
             "exif:DateTimeOriginal": "2019-01-01"}
    for order in (list(names), list(reversed(names))):
        for start in range(3):
            stated = {name: names[name] for name in order[start:]}
            packet = ('<r:RDF xmlns:r="http://www.w3.org/1999/02/22-rdf-syntax-ns#" '
                      'xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:exif="http://ns.adobe.com/exif/1.0/" '
                      'xmlns:photoshop="http://ns.adobe.com/photoshop/1.0/"><r:Description '
                      + " ".join(f'{name}="{value}"' for name, value in stated.items()) + "/></r:RDF>")
            assert xmp.facts(packet.encode())[0]["captured"] == min(stated.values())


def png(picture: np.ndarray, before: bytes = b"", after: bytes = b"") -> bytes:
    """A PNG with chunks before its pixels and after them."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG")
    data = out.getvalue()
    end = data.index(b"IEND") - 4
    return data[:33] + before + data[33:end] + after + data[end:]


def test_png_texts_after_the_pixels_and_profiles_written_as_text(painting: np.ndarray, folder: Path) -> None:
    block = b"Exif\0\0" + exif_block((0x013B, 2, 11, "Jörg Fähr".encode()), ratio(0x11A, 600), ratio(0x11B, 600),
                                     unit(2))
    raw = f"\nexif\n{len(block):8}\n" + "\n".join(block.hex()[i : i + 72] for i in range(0, 2 * len(block), 72)) + "\n"
    after = (chunk(b"tEXt", b"Title\0Harbour at dusk")
             + chunk(b"zTXt", b"Raw profile type exif\0\0" + zlib.compress(raw.encode()))
             + chunk(b"iTXt", b"Description\0\1\0de\0\0" + zlib.compress("Dämmerung".encode())))
    path = folder / "after.png"
    path.write_bytes(png(painting[:40, :50], after=after))
    reading = read_file(path)
    facts = reading.metadata
    assert (facts.title, facts.creator, facts.description) == ("Harbour at dusk", "Jörg Fähr", "Dämmerung")
    assert ppi(reading) == 600 and {s.source for s in facts.stated} == {"PNG", "Exif"}


def test_a_profile_over_a_mebibyte_is_no_damage(painting: np.ndarray, folder: Path) -> None:
    large = WIDE + np.random.default_rng(0).bytes(3 << 19)
    large = struct.pack(">I", len(large)) + large[4:]
    path = folder / "large.png"
    path.write_bytes(png(painting[:40, :50], before=chunk(b"iCCP", b"wide\0\0" + zlib.compress(large))))
    reading = read_file(path)
    assert reading.faults == () and reading.pixel_digest and reading.picture
    assert reading.picture.profile_digest and len(large) > 1 << 20


@pytest.mark.parametrize("shape", [(40, 56, 3), (40, 56)])
def test_a_jpeg_of_12_bits_is_decoded(shape: tuple[int, ...], folder: Path) -> None:
    """Decoded by imagecodecs, which Pillow does not."""
    wave = (2000 + 1800 * np.sin(np.arange(np.prod(shape)).reshape(shape) / 400)).astype(np.uint16)
    data = imagecodecs.jpeg_encode(wave, bitspersample=12, level=95)
    path = folder / "deep.jpg"
    path.write_bytes(data)
    reading = read_file(path)
    assert reading.picture and reading.picture.bits == 12 and reading.preview and reading.pixel_digest
    assert {f.kind for f in reading.faults} <= {Fault.NO_PROFILE}
    shown = np.asarray(Image.open(io.BytesIO(reading.preview)).convert("L"), int)
    grey = imagecodecs.jpeg_decode(data, bitspersample=12).reshape(*shape[:2], -1).mean(axis=2) * 255 / 4095
    assert np.abs(shown - grey).mean() < 4


def jp2(picture: np.ndarray, colour: bytes = b"", *others: bytes) -> bytes:
    """A JP2 file, lossless, with its colour specification replaced and further boxes before the codestream."""
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "JPEG2000", irreversible=False)
    data = out.getvalue()
    at = data.index(b"jp2h") - 4
    length = struct.unpack_from(">I", data, at)[0]
    header = data[at + 8 : at + length]
    colr = header.index(b"colr") - 4
    size = struct.unpack_from(">I", header, colr)[0]
    inside = header[:colr] + (box(b"colr", colour) if colour else header[colr : colr + size]) + header[colr + size :]
    return data[:at] + box(b"jp2h", inside) + b"".join(others) + data[at + length :]


def shown(reading: Reading) -> np.ndarray:
    assert reading.preview
    return np.asarray(Image.open(io.BytesIO(reading.preview)), int)


def test_a_jp2_and_its_tiff_twin_are_one_picture(painting: np.ndarray, folder: Path) -> None:
    """With the same profile: the same pixel digest, the same preview (ISO/IEC 15444-1, I.5.3.3)."""
    picture = painting[:200, :300]
    tifffile.imwrite(folder / "twin.tif", picture, photometric="rgb", iccprofile=WIDE, metadata=None)
    (folder / "twin.jp2").write_bytes(jp2(picture, b"\2\0\0" + WIDE))
    twin, ours = read_file(folder / "twin.tif"), read_file(folder / "twin.jp2")
    assert ours.faults == () and ours.picture and twin.picture
    assert ours.picture.profile_digest == twin.picture.profile_digest and ours.pixel_digest == twin.pixel_digest
    assert np.array_equal(shown(ours), shown(twin))


def test_a_jp2_says_what_it_says(painting: np.ndarray, folder: Path) -> None:
    """Enumerated sRGB is a stated meaning; resolution, Exif and XMP lie in boxes of their own."""
    resolution = box(b"res ", box(b"resc", struct.pack(">4H2b", 2362, 1, 2362, 1, 1, 1)))   # 23,620 a metre
    packet = ('<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
              '<rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/" dc:title="Harbour"/></rdf:RDF></x:xmpmeta>')
    data = jp2(painting[:60, :80], b"\1\0\0" + struct.pack(">I", 16),
               box(b"uuid", bytes.fromhex("be7acfcb97a942e89c71999491e3afac") + packet.encode()),
               box(b"uuid", b"JpgTiffExif->JP2" + exif_block((0x013B, 2, 11, "Jörg Fähr".encode()))), resolution)
    path = folder / "told.jp2"
    path.write_bytes(data)
    reading = read_file(path)
    assert reading.faults == () and (reading.metadata.title, reading.metadata.creator) == ("Harbour", "Jörg Fähr")
    assert ppi(reading) == pytest.approx(600, abs=0.1)
    with Image.open(path) as image:
        image.load()   # the file is sound to another reader too


def test_a_large_jp2_is_seen_reduced(painting: np.ndarray, folder: Path) -> None:
    """Too large to be held: a preview from the coarser levels, a digest of what is coded, and a note that says so."""
    picture = np.tile(painting, (2, 2, 1))
    path = folder / "large.jp2"
    path.write_bytes(jp2(picture))
    whole, part = read_file(path), read_file(path, limits=Limits(held_bytes=3 << 19))
    assert whole.pixel_digest and part.pixel_digest and whole.pixel_digest != part.pixel_digest
    assert "decoded in part" in {note.kind for note in part.notes}
    assert {fault.kind for fault in part.faults} <= {Fault.NO_PROFILE}
    coarse = [np.asarray(Image.fromarray(shown(r).astype(np.uint8)).resize((16, 16), Image.Resampling.BOX), int)
              for r in (whole, part)]
    assert np.abs(coarse[0] - coarse[1]).mean() < 3
    path.write_bytes(jp2(picture, b"", box(b"xml ", b"<a/>")))
    assert read_file(path, limits=Limits(held_bytes=3 << 19)).pixel_digest == part.pixel_digest
    data = jp2(picture)
    path.write_bytes(data[: len(data) * 6 // 10])
    assert Fault.TRUNCATED in {f.kind for f in read_file(path).faults}
