"""XMP sidecars and described copies. Yardsticks: rdflib reads the packets as RDF/XML (W3C), Pillow and tifffile read
the TIFFs; namespaces and property forms are those of ISO 16684-1 and the IPTC Photo Metadata Standard."""

import hashlib
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from intake_pictures import TakeUp, Write, scene
from PIL import Image
from rdflib import Graph, Literal, Namespace, URIRef
from rdflib.namespace import RDF

from catalogue.errors import Damaged, InsideStore, Refused
from catalogue.intake import embedding
from catalogue.intake.embedding import described_copy
from catalogue.intake.packets import Description, packet
from catalogue.intake.sidecars import (
    description_of,
    files_to_describe,
    sidecar_path,
    write_described_copies,
    write_sidecars,
)
from catalogue.reading.file import read_file
from catalogue.reading.xmp import facts
from catalogue.records import pieces
from catalogue.records.database import Database, transaction
from catalogue.records.stores import Store
from tests import recorded

DC = Namespace("http://purl.org/dc/elements/1.1/")
EXT = Namespace("http://iptc.org/std/Iptc4xmpExt/2008-02-29/")
PHOTOSHOP = Namespace("http://ns.adobe.com/photoshop/1.0/")
FULL = Description("Harbour & <Quay>", "Ada Quill", "© Ada Quill", "2019", "AQ-17", "300 × 420 mm")

# A packet as another program leaves it: short forms as attributes, a property of its own, a rating.
OTHERS = b"""<?xpacket begin="\xef\xbb\xbf" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/" xmlns:ph="http://ns.adobe.com/photoshop/1.0/"
 xmlns:own="http://example.org/own/" xmp:Rating="4" ph:City="Lund"><own:drawer>7b</own:drawer>
 <dc:title xmlns:dc="http://purl.org/dc/elements/1.1/"><rdf:Alt><rdf:li xml:lang="x-default">Old</rdf:li></rdf:Alt>
 </dc:title></rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="w"?>"""


def graph(data: bytes) -> Graph:
    body = re.search(rb"<rdf:RDF.*</rdf:RDF>", data, re.DOTALL)
    assert body
    outer = dict(re.findall(rb'xmlns:(\w+)="([^"]+)"', data))
    declared = b" ".join(b'xmlns:%s="%s"' % pair for pair in outer.items() if b"xmlns:" + pair[0] not in body[0])
    return Graph().parse(data=body[0].replace(b"<rdf:RDF", b"<rdf:RDF " + declared, 1), format="xml",
                         publicID="http://example.org/")


def members(read: Graph, holder: Any) -> list[Any]:
    return sorted(value for name, value in read.predicate_objects(holder) if "#_" in str(name))


def test_a_packet_says_its_facts_in_the_standards_forms() -> None:
    data = packet(FULL)
    assert data.startswith('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'.encode())
    assert data.endswith(b'<?xpacket end="w"?>')
    read = graph(data)
    me = URIRef("http://example.org/")
    title = read.value(me, DC.title)
    assert (title, RDF.type, RDF.Alt) in read
    assert members(read, title) == [Literal("Harbour & <Quay>", lang="x-default")]
    assert (read.value(me, DC.creator), RDF.type, RDF.Seq) in read
    assert members(read, read.value(me, DC.creator)) == [Literal("Ada Quill")]
    artworks = read.value(me, EXT.ArtworkOrObject)
    assert (artworks, RDF.type, RDF.Bag) in read
    (artwork,) = members(read, artworks)
    assert read.value(artwork, EXT.AOSourceInvNo) == Literal("AQ-17")
    assert read.value(artwork, EXT.AODateCreated) == Literal("2019")
    assert read.value(artwork, EXT.AOCopyrightNotice) == Literal("© Ada Quill")
    assert members(read, read.value(artwork, EXT.AOTitle)) == [Literal("Harbour & <Quay>", lang="x-default")]


def test_what_another_program_wrote_is_kept() -> None:
    before, after = graph(OTHERS), graph(packet(FULL, OTHERS))
    title = before.value(URIRef("http://example.org/"), DC.title)
    kept = {(p, o) for s, p, o in before if s == URIRef("http://example.org/") and o != title}
    assert len(kept) == 3
    assert kept <= {(p, o) for s, p, o in after if s == URIRef("http://example.org/")}
    assert len(list(after.objects(URIRef("http://example.org/"), DC.title))) == 1
    assert b"own:drawer" in packet(FULL, OTHERS), "with its own prefix"


def test_writing_twice_is_writing_once_and_empty_fields_change_nothing() -> None:
    once = packet(FULL, OTHERS)
    assert packet(FULL, once) == once
    assert packet(FULL, packet(FULL)) == packet(FULL)
    assert graph(packet(Description(), OTHERS)).isomorphic(graph(OTHERS))


def test_other_languages_of_a_title_stay() -> None:
    two = OTHERS.replace(b'Old</rdf:li>', b'Old</rdf:li><rdf:li xml:lang="sv">Hamn</rdf:li>')
    read = graph(packet(FULL, two))
    assert set(members(read, read.value(URIRef("http://example.org/"), DC.title))) == {
        Literal("Harbour & <Quay>", lang="x-default"), Literal("Hamn", lang="sv")}


@given(st.text(min_size=1, max_size=40), st.text(max_size=20))
def test_any_text_comes_back(title: str, creator: str) -> None:
    """Read back by the project's own reader and by rdflib; what XML cannot hold becomes a replacement sign."""
    data = packet(Description(title, creator))
    of_file, of_artwork = facts(data)
    legal = re.sub("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "\ufffd", title)
    normal = legal.replace("\r\n", "\n").replace("\r", "\n").strip()
    assert of_file.get("title", "").replace("\r\n", "\n").replace("\r", "\n") == normal
    assert of_artwork.get("title") == of_file.get("title")
    graph(data)


@pytest.mark.parametrize("bad", [b"<x", b"<html/>", b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>"])
def test_what_cannot_be_understood_is_left_alone(bad: bytes) -> None:
    with pytest.raises(Refused, match=r"The existing (file|XMP)"):
        packet(FULL, bad)


def test_sidecars_of_a_piece(db: Database, store: Store, write: Write, take_up: TakeUp, tmp_path: Path) -> None:
    master = write("Ada Quill/Harbour/master.tif", scene(1, 60, 40), folder="masters")
    write("Ada Quill/Harbour/master.jpg.tif", scene(2, 60, 40), folder="masters")
    take_up(store)
    digest = hashlib.sha256(master.read_bytes()).hexdigest()
    piece = pieces.matching(db, "Harbour")[0]
    with transaction(db):
        db.execute("UPDATE piece SET inventory_number = 'AQ-17', width_mm = 300, height_mm = 420")
    targets = files_to_describe(db, piece.id)
    assert master.with_suffix(".xmp") == sidecar_path(master)
    master.with_suffix(".xmp").write_bytes(OTHERS)
    written = write_sidecars(db, targets, description_of(db, piece.id, "© Ada Quill"))
    assert not any(w.trouble for w in written)
    of_file, of_artwork = facts(master.with_suffix(".xmp").read_bytes())
    assert (of_file["title"], of_file["creator"], of_file["rights"]) == ("Harbour", "Ada Quill", "© Ada Quill")
    assert of_artwork["inventory_number"] == "AQ-17"
    assert of_artwork["physical_description"] == "300 × 420 mm"
    assert b"own:drawer" in master.with_suffix(".xmp").read_bytes()
    assert hashlib.sha256(master.read_bytes()).hexdigest() == digest
    assert any(e.type == "metadata modification" and "sidecar" in e.detail for e in recorded.events(db))
    master.with_suffix(".xmp").write_bytes(b"not xmp")
    troubles = [w.trouble for w in write_sidecars(db, targets, FULL) if w.path.endswith("master.xmp")]
    assert "cannot be read" in troubles[0]
    assert master.with_suffix(".xmp").read_bytes() == b"not xmp"


def test_a_twin_of_the_same_stem_gets_its_own_sidecar(tmp_path: Path) -> None:
    for name in ("a.tif", "a.jpg", "b.tif"):
        (tmp_path / name).touch()
    assert sidecar_path(tmp_path / "a.tif").name == "a.tif.xmp"
    assert sidecar_path(tmp_path / "b.tif").name == "b.xmp"


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("big", [False, True])
def test_a_described_copy_has_the_same_pixels_and_every_other_tag(tmp_path: Path, order: str, big: bool) -> None:
    """tifffile and Pillow are the readers; the copy begins with the very bytes of the source but for the pointer."""
    source, target = tmp_path / "a.tif", tmp_path / "b.tif"
    pixels = np.random.default_rng(1).integers(0, 65535, (37, 51, 3), dtype=np.uint16)
    with tifffile.TiffWriter(source, bigtiff=big, byteorder=order) as out:
        out.write(pixels, photometric="rgb", compression="zlib", predictor=True, metadata=None, description="two pages",
                  resolution=(600, 600), extratags=[(700, 1, len(OTHERS), OTHERS, True), (315, "s", 0, "Old", True)])
        out.write(pixels[::2, ::2], photometric="rgb", metadata=None)
    before = source.read_bytes()
    digest = described_copy(source, target, FULL, sha256=hashlib.sha256(before).hexdigest())
    after = target.read_bytes()
    assert hashlib.sha256(after).hexdigest() == digest
    assert source.read_bytes() == before
    pointer = slice(8, 16) if big else slice(4, 8)
    assert after[:pointer.start] + before[pointer] + after[pointer.stop:len(before)] == before
    with tifffile.TiffFile(source) as old, tifffile.TiffFile(target) as new:
        assert np.array_equal(new.asarray(key=0), pixels)
        assert np.array_equal(new.asarray(key=1), pixels[::2, ::2])
        others = {t.code: t.value for t in old.pages[0].tags if t.code not in (700, 315)}
        assert {t.code: t.value for t in new.pages[0].tags if t.code not in (700, 315, 33432)} == others
        assert [t.code for t in new.pages[0].tags] == sorted(t.code for t in new.pages[0].tags)
        assert new.pages[0].tags[315].value == "Ada Quill"
        data = bytes(new.pages[0].tags[700].value)
    assert graph(data).value(URIRef("http://example.org/"), PHOTOSHOP.City) == Literal("Lund")
    meta = read_file(target).metadata
    assert (meta.title, meta.creator, meta.inventory_number) == ("Harbour & <Quay>", "Ada Quill", "AQ-17")
    if not big:  # Pillow reads no BigTIFF of this kind
        with Image.open(target) as shown:
            assert shown.tag_v2[33432].encode("latin-1").decode() == "© Ada Quill"  # Pillow takes it for Latin-1


def test_a_copy_whose_pixels_would_differ_never_gets_its_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    source, target = tmp_path / "a.tif", tmp_path / "b.tif"
    tifffile.imwrite(source, scene(1, 50, 40), photometric="rgb")

    def harm(file: Any, *_: object) -> None:
        file.seek(-100, 2)
        file.write(b"\x01" * 50)

    monkeypatch.setattr(embedding, "embed", harm)
    with pytest.raises(Damaged, match="pixels"):
        described_copy(source, target, FULL, sha256=hashlib.sha256(source.read_bytes()).hexdigest())
    assert [p.name for p in tmp_path.iterdir()] == ["a.tif"]


def test_only_a_tiff_takes_metadata_inside(tmp_path: Path) -> None:
    Image.new("RGB", (20, 20), "red").save(tmp_path / "a.png")
    with pytest.raises(Refused, match="TIFF"):
        described_copy(tmp_path / "a.png", tmp_path / "b.png", FULL,
                       sha256=hashlib.sha256((tmp_path / "a.png").read_bytes()).hexdigest())
    assert not (tmp_path / "b.png").exists()


def test_described_copies_go_outside_the_stores(
        db: Database, store: Store, write: Write, take_up: TakeUp, tmp_path: Path) -> None:
    write("Ada Quill/Harbour/master.tif", scene(1, 60, 40), folder="masters")
    take_up(store)
    piece = pieces.matching(db, "Harbour")[0]
    targets = files_to_describe(db, piece.id)
    with pytest.raises(InsideStore):
        write_described_copies(db, targets, FULL, tmp_path / "masters/out")
    (written,) = write_described_copies(db, targets, FULL, tmp_path / "out")
    assert not written.trouble
    assert read_file(written.path).metadata.title == "Harbour & <Quay>"
