"""Descriptive facts from TIFF tags, Exif, IPTC-IIM and XMP; values also against what Pillow and tifffile say."""

import struct
from pathlib import Path

import numpy as np
import pytest
import skimage
import tifffile
from PIL import Image
from PIL.TiffImagePlugin import ImageFileDirectory_v2

from catalogue.reading import iptc, xmp
from catalogue.reading.exif import iso_time
from catalogue.reading.file import read_file
from catalogue.reading.metadata import merge
from catalogue.reading.source import Statements

PACKET = """<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
 xmlns:Iptc4xmpExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/" xmp:ModifyDate="2024-05-06T10:20:30+02:00">
 <dc:title><rdf:Alt><rdf:li xml:lang="de">Hafen</rdf:li><rdf:li xml:lang="x-default">Harbour [3]</rdf:li></rdf:Alt>
 </dc:title>
 <dc:creator><rdf:Seq><rdf:li>Mira Aldquin</rdf:li><rdf:li>Tomke Brannfell</rdf:li></rdf:Seq></dc:creator>
 <Iptc4xmpExt:ArtworkOrObject><rdf:Bag><rdf:li rdf:parseType="Resource">
  <Iptc4xmpExt:AOTitle><rdf:Alt><rdf:li xml:lang="x-default">Harbour at dusk</rdf:li></rdf:Alt></Iptc4xmpExt:AOTitle>
  <Iptc4xmpExt:AOSourceInvNo>MA-017</Iptc4xmpExt:AOSourceInvNo>
  <Iptc4xmpExt:AODateCreated>1998</Iptc4xmpExt:AODateCreated>
 </rdf:li></rdf:Bag></Iptc4xmpExt:ArtworkOrObject>
</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>"""


def dataset(number: int, value: bytes) -> bytes:
    """One dataset of record 2, as IPTC-IIM 4.2 lays it out."""
    return struct.pack(">BBBH", 0x1C, 2, number, len(value)) + value


def test_xmp_tells_the_file_from_the_artwork() -> None:
    of_file, of_artwork = xmp.facts(PACKET.encode())
    assert of_file == {"title": "Harbour [3]", "creator": "Mira Aldquin; Tomke Brannfell",
                       "modified": "2024-05-06T10:20:30+02:00"}
    assert of_artwork == {"title": "Harbour at dusk", "inventory_number": "MA-017", "created": "1998"}


def test_an_ingredient_s_title_is_not_the_file_s() -> None:
    """ISO 16684-1: a description within a property's value describes that value, not the file."""
    part = """<xmpMM:Ingredients xmlns:xmpMM="http://ns.adobe.com/xap/1.0/mm/"><rdf:Bag><rdf:li>
      <rdf:Description><dc:title><rdf:Alt><rdf:li xml:lang="x-default">Paper texture</rdf:li></rdf:Alt></dc:title>
      <dc:creator><rdf:Seq><rdf:li>Somebody</rdf:li></rdf:Seq></dc:creator></rdf:Description>
      </rdf:li></rdf:Bag></xmpMM:Ingredients>"""
    before, after = PACKET.split(" <dc:title>")
    of_file, _ = xmp.facts(f"{before}{part} <dc:title>{after}".encode())
    assert (of_file["title"], of_file["creator"]) == ("Harbour [3]", "Mira Aldquin; Tomke Brannfell")
    start, end = PACKET.index(" <dc:title>"), PACKET.index(" <Iptc4xmpExt:ArtworkOrObject>")
    of_file, _ = xmp.facts((PACKET[:start] + part + PACKET[end:]).encode())
    assert "title" not in of_file and "creator" not in of_file


def test_xmp_expands_no_entities() -> None:
    """A billion laughs, and a file reached through an entity, are refused unread."""
    for bomb in (
        '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]><x>&b;</x>',
        '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>',
    ):
        with pytest.raises(xmp.UnreadableXmp):
            xmp.facts(bomb.encode())
        facts, notes = merge(Statements(xmp=bomb.encode()))
        assert facts.title == "" and [note.kind for note in notes] == ["metadata unreadable"]


def test_iptc_is_read_in_either_byte_order() -> None:
    data = (dataset(5, "Hafen – Dämmerung".encode()) + dataset(80, b"Mira Aldquin") + dataset(55, b"20240506")
            + dataset(60, b"101500+0200") + dataset(116, b"\xa9 Aldous"))
    assert iptc.facts(data) == {
        "title": "Hafen – Dämmerung", "creator": "Mira Aldquin", "captured": "2024-05-06T10:15:00+02:00",
        "rights": "© Aldous",
    }
    swapped = b"".join(data[i : i + 4][::-1] for i in range(0, len(data) // 4 * 4, 4))
    assert iptc.facts(swapped)["title"] == "Hafen – Dämmerung"
    assert iptc.facts(data[:-3] + b"\x1c\x02") | {"rights": "© Aldous"} == iptc.facts(data)


@pytest.mark.parametrize(
    ("stated", "zone", "iso"),
    [("2024:05:06 10:20:30", "", "2024-05-06T10:20:30"), ("2024:05:06 10:20:30", "+02:00", "2024-05-06T10:20:30+02:00"),
     ("0000:00:00 00:00:00", "", ""), ("    :  :     :  :  ", "", ""), ("spring 1998", "", "spring 1998"),
     ("2024:05:06", "", "2024-05-06"), ("2003:08:27:00:09:15", "", "2003-08-27T00:09:15")],
)
def test_exif_times_become_iso_8601(stated: str, zone: str, iso: str) -> None:
    """Exif's own form to ISO 8601; a zone only where OffsetTime states one."""
    assert iso_time(stated, zone) == iso


def test_conflicts_are_kept_and_shown() -> None:
    facts, _ = merge(Statements({"creator": "M. Aldous", "title": "Scan 4"}, {"captured": "2024-05-06T10:20:30"},
                                dataset(80, b"Mira Aldquin") + dataset(55, b"20240506"), PACKET.encode()))
    assert facts.title == "Harbour at dusk" and facts.creator == "Mira Aldquin; Tomke Brannfell"
    assert set(facts.conflicts) == {"title", "creator"}  # the two dates agree as far as each goes
    assert {(s.value, s.source) for s in facts.stated if s.field == "title"} == {
        ("Scan 4", "TIFF"), ("Harbour [3]", "XMP"), ("Harbour at dusk", "XMP artwork")}


def test_a_title_cut_by_iptc_is_no_conflict() -> None:
    long = "A very long title that goes on beyond the sixty-four octets which IPTC allows"
    facts, _ = merge(Statements({"title": long}, {}, dataset(5, long[:64].encode())))
    assert facts.conflicts == ()


def test_control_characters_do_not_reach_a_screen() -> None:
    facts, _ = merge(Statements({"title": "Har\x1b[31mbour\x07"}))
    assert facts.title == "Har[31mbour"


def test_tiff_statements_against_pillow(painting: np.ndarray, folder: Path) -> None:
    """A file Pillow wrote, with an Exif directory, and what Pillow reads back."""
    tags = ImageFileDirectory_v2()
    tags[271], tags[272], tags[305], tags[315], tags[33432] = "Ateliergerät", "Flatbed", "Scan 3", "Mira Aldquin", "(c)"
    path = folder / "stated.tif"
    tags[34665] = {0x9003: "2024:05:06 10:20:30"}
    Image.fromarray(painting[:50, :60]).save(path, tiffinfo=tags, dpi=(600, 600))
    reading = read_file(path)
    with Image.open(path) as image:
        said = image.tag_v2
        assert (reading.metadata.make, reading.metadata.model, reading.metadata.software, reading.metadata.creator) == (
            said[271], said[272], said[305], said[315])
    assert reading.metadata.captured == "2024-05-06T10:20:30"
    picture = reading.picture
    assert picture is not None and picture.ppi_x == pytest.approx(600)
    assert picture.width_mm == pytest.approx(60 / 600 * 25.4)


@pytest.mark.parametrize("suffix", ["jpg", "png", "webp"])
def test_other_formats_state_the_same(suffix: str, painting: np.ndarray, folder: Path) -> None:
    exif = Image.Exif()
    exif[0x013B], exif[0x0110] = "Mira Aldquin", "Flatbed"
    exif.get_ifd(0x8769)[0x9004] = "2024:05:06 10:20:30"
    path = folder / f"stated.{suffix}"
    extra = {"xmp": PACKET.encode()} if suffix != "png" else {}
    Image.fromarray(painting[:50, :60]).save(path, exif=exif, dpi=(300, 300), **extra)
    reading = read_file(path)
    assert reading.metadata.model == "Flatbed" and reading.metadata.captured == "2024-05-06T10:20:30"
    assert "Mira Aldquin" in reading.metadata.creator
    if suffix != "png":
        assert reading.metadata.inventory_number == "MA-017"
    if suffix != "webp":
        assert reading.picture and reading.picture.ppi_x == pytest.approx(300, abs=0.1)


def test_against_tifffile_and_pillow_on_their_pictures() -> None:
    """Files neither of us wrote: pictures of scikit-image's wheel up to 300 kB."""
    data = Path(skimage.__file__).parent / "data"
    seen = 0
    for path in sorted(data.iterdir()):
        if path.suffix not in (".tif", ".png", ".jpg") or path.stat().st_size > 300_000:
            continue
        seen += 1
        reading = read_file(path)
        assert reading.picture is not None and reading.preview is not None, path.name
        if path.suffix != ".tif":
            with Image.open(path) as image:
                assert (reading.picture.width, reading.picture.height) == image.size
        else:
            with tifffile.TiffFile(path) as tif:
                assert len(reading.picture.pages) == (len(tif.pages) if len(tif.pages) > 1 else 0)
                page = tif.pages[0]
                assert (reading.picture.width, reading.picture.height) == (page.imagewidth, page.imagelength)
                assert reading.metadata.software == tif.pages[0].software
                assert reading.metadata.description == tif.pages[0].description.strip()
    assert seen >= 10
