"""Facts from an XMP packet (ISO 16684-1), parsed without document types or entities."""

from collections.abc import Iterator
from xml.etree.ElementTree import Element

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring

from catalogue.errors import one_line

RDF = "{http://www.w3.org/1999/02/22-rdf-syntax-ns#}"
DC = "{http://purl.org/dc/elements/1.1/}"
XMP = "{http://ns.adobe.com/xap/1.0/}"
PHOTOSHOP = "{http://ns.adobe.com/photoshop/1.0/}"
EXIF = "{http://ns.adobe.com/exif/1.0/}"
TIFF = "{http://ns.adobe.com/tiff/1.0/}"
EXT = "{http://iptc.org/std/Iptc4xmpExt/2008-02-29/}"
LANGUAGE = "{http://www.w3.org/XML/1998/namespace}lang"

# For a field stated by several properties the first here takes precedence: when the scan was made, before when the
# picture or the file was.
FIELDS = {
    f"{DC}title": "title", f"{DC}creator": "creator", f"{DC}rights": "rights", f"{DC}description": "description",
    f"{XMP}ModifyDate": "modified", f"{XMP}CreatorTool": "software", f"{TIFF}Make": "make", f"{TIFF}Model": "model",
    f"{EXIF}DateTimeOriginal": "captured", f"{PHOTOSHOP}DateCreated": "captured", f"{XMP}CreateDate": "captured",
}
ARTWORK = f"{EXT}ArtworkOrObject"
ARTWORK_FIELDS = {
    f"{EXT}AOTitle": "title", f"{EXT}AOCreator": "creator", f"{EXT}AODateCreated": "created",
    f"{EXT}AOSourceInvNo": "inventory_number", f"{EXT}AOCopyrightNotice": "rights",
    f"{EXT}AOPhysicalDescription": "physical_description",
}


class UnreadableXmp(Exception):
    """The packet is not well-formed XML, or uses entities."""


def facts(packet: bytes) -> tuple[dict[str, str], dict[str, str]]:
    """Metadata fields the packet states of the file, and of the artwork shown. Raises ``UnreadableXmp``."""
    try:
        document = _unicode(packet)
        body = document.strip("\0 \r\n\t\ufeff") if isinstance(document, str) else document.strip(b"\0 \r\n\t")
        if not body:
            return {}, {}
        root = fromstring(body, forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        raise UnreadableXmp(one_line(error)) from error
    stated: dict[str, str] = {}
    artwork: dict[str, str] = {}
    for description in _descriptions(root):
        for name, text in _properties(description):
            if name in FIELDS and text:
                stated.setdefault(name, text)
        for bag in description.findall(ARTWORK):
            for item in bag.iter():
                for name, text in _properties(item):
                    if name in ARTWORK_FIELDS and text:
                        artwork.setdefault(ARTWORK_FIELDS[name], text)
    file_facts: dict[str, str] = {}
    for name, field in FIELDS.items():   # in the table's order, whatever the packet's
        if name in stated:
            file_facts.setdefault(field, stated[name])
    return file_facts, artwork


def _unicode(packet: bytes) -> str | bytes:
    """The packet's text, by its byte order mark or by where its first sign has zeros (XMP part 3, annex A). UTF-8 is
    left to the parser, with the encoding the packet may declare. Raises ``UnicodeDecodeError``."""
    start = packet[:4]
    for mark, encoding in ((b"\xff\xfe\0\0", "utf-32"), (b"\0\0\xfe\xff", "utf-32"), (b"\xff\xfe", "utf-16"),
                           (b"\xfe\xff", "utf-16"), (b"<\0\0\0", "utf-32-le"), (b"\0\0\0<", "utf-32-be"),
                           (b"<\0", "utf-16-le"), (b"\0<", "utf-16-be")):
        if start.startswith(mark):
            return packet[: len(packet) // 4 * 4 if "32" in encoding else len(packet) // 2 * 2].decode(encoding)
    return packet


def _descriptions(root: Element) -> list[Element]:
    """The descriptions of the file itself: children of ``rdf:RDF`` (ISO 16684-1, 7.4). Those further down describe a
    part of a value, such as the title of an ingredient."""
    if root.tag == f"{RDF}Description":
        return [root]
    whole = root if root.tag == f"{RDF}RDF" else root.find(f".//{RDF}RDF")
    return [] if whole is None else whole.findall(f"{RDF}Description")


def _properties(element: Element) -> Iterator[tuple[str, str]]:
    yield from element.attrib.items()
    for child in element:
        if child.tag not in (f"{RDF}li", f"{RDF}Bag", f"{RDF}Seq", f"{RDF}Alt", f"{RDF}Description"):
            yield child.tag, _text(child)


def _text(element: Element) -> str:
    """A simple value, the x-default of alternatives, or a list joined by semicolons."""
    items = [item for item in element.iter(f"{RDF}li") if (item.text or "").strip()]
    if not items:
        return (element.text or "").strip()
    if element.find(f"{RDF}Alt") is not None:
        default = next((item for item in items if item.get(LANGUAGE) == "x-default"), items[0])
        return (default.text or "").strip()
    return "; ".join((item.text or "").strip() for item in items)
