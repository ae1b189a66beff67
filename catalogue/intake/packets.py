"""XMP packets (ISO 16684-1): our fields set in a new packet or in someone's own, all else in it kept.

Fields and their forms: Dublin Core title and rights (language alternatives) and creator (ordered); IPTC Extension
``ArtworkOrObject`` for the piece itself.
"""

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.etree import ElementTree as tree

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import ParseError, fromstring, iterparse

from catalogue.errors import Refused

NAMESPACES = {
    "x": "adobe:ns:meta/", "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/", "xmp": "http://ns.adobe.com/xap/1.0/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
}
_XML = "http://www.w3.org/XML/1998/namespace"
_BEGIN = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
_ILLEGAL = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, production Char


@dataclass(frozen=True, slots=True)
class Description:
    """What is to be said of a scan and of the piece it shows; empty fields are left as they are."""

    title: str = ""
    creator: str = ""
    rights: str = ""
    created: str = ""               # of the piece: a year, or a date as ISO 8601
    inventory_number: str = ""
    physical_description: str = ""

    def __bool__(self) -> bool:
        return any((self.title, self.creator, self.rights, self.created, self.inventory_number,
                    self.physical_description))


def packet(description: Description, existing: bytes = b"", *, padding: int = 0) -> bytes:
    """A packet, UTF-8, with the description set; ``padding`` blank bytes before its end for later edits in place.

    Raises:
        Refused: ``existing`` is not valid XMP, so it is not touched.
    """
    root = _parsed(existing) if existing.strip(b"\0 \r\n\t") else tree.Element(_name("x", "xmpmeta"))
    home = _find_rdf(root)
    if home is None:
        home = tree.SubElement(root, _name("rdf", "RDF"))
    descriptions = home.findall(_name("rdf", "Description"))
    first = descriptions[0] if descriptions else tree.SubElement(
        home, _name("rdf", "Description"), {_name("rdf", "about"): ""})
    for element, value in (("title", description.title), ("rights", description.rights)):
        if value:
            _alternatives(_property(descriptions, first, _name("dc", element)), value)
    if description.creator:
        _listed(_property(descriptions, first, _name("dc", "creator")), description.creator)
    _artwork(descriptions, first, description)
    for prefix, uri in (NAMESPACES | _prefixes(existing)).items():
        tree.register_namespace(prefix, uri)
    body = tree.tostring(root, encoding="unicode")
    blank = ("\n" + " " * 99) * (padding // 100)
    return f'{_BEGIN}{body}{blank}\n<?xpacket end="w"?>'.encode()


def _name(prefix: str, local: str) -> str:
    return f"{{{NAMESPACES[prefix]}}}{local}"


def _parsed(existing: bytes) -> tree.Element:
    try:
        root = fromstring(existing.strip(b"\0 \r\n\t"), forbid_dtd=True)
    except (ParseError, DefusedXmlException, ValueError, LookupError) as error:
        raise Refused(f"The existing XMP cannot be read: {error}.",
                      hint="It is left as it is; correct or remove it first.") from error
    if not isinstance(root, tree.Element) or _find_rdf(root) is None:
        raise Refused("The existing file is not XMP.", hint="It is left as it is; rename or remove it first.")
    return root


def _find_rdf(root: tree.Element) -> tree.Element | None:
    return root if root.tag == _name("rdf", "RDF") else root.find(_name("rdf", "RDF"))


def _prefixes(existing: bytes) -> dict[str, str]:
    """Prefixes as the present packet has them, so that it comes back as its author wrote it."""
    if not existing.strip(b"\0 \r\n\t"):
        return {}
    prefixes = {}
    for _, (prefix, uri) in iterparse(io.BytesIO(existing.strip(b"\0 \r\n\t")), events=("start-ns",), forbid_dtd=True):
        if prefix and not re.fullmatch(r"ns\d+|xml", prefix):
            prefixes[prefix] = uri
    return prefixes


def _property(descriptions: list[tree.Element], first: tree.Element, name: str) -> tree.Element:
    """The property's element, created if missing; its short form as an attribute is removed."""
    for node in descriptions:
        node.attrib.pop(name, None)
    existing = next((element for node in descriptions if (element := node.find(name)) is not None), None)
    return tree.SubElement(first, name) if existing is None else existing


def _legal(text: str) -> str:
    return _ILLEGAL.sub("\N{REPLACEMENT CHARACTER}", text)


def _alternatives(element: tree.Element, value: str) -> None:
    """Set the default of language alternatives; other languages stay."""
    alternatives = element.find(_name("rdf", "Alt"))
    if alternatives is None:
        _empty(element)
        alternatives = tree.SubElement(element, _name("rdf", "Alt"))
    default = next((li for li in alternatives if li.get(f"{{{_XML}}}lang") == "x-default"), None)
    if default is None:  # the default comes first
        default = tree.Element(_name("rdf", "li"), {f"{{{_XML}}}lang": "x-default"})
        alternatives.insert(0, default)
    default.text = _legal(value)


def _listed(element: tree.Element, value: str) -> None:
    _empty(element)
    tree.SubElement(tree.SubElement(element, _name("rdf", "Seq")), _name("rdf", "li")).text = _legal(value)


def _empty(element: tree.Element) -> None:
    tail = element.tail
    element.clear()
    element.tail = tail


def _artwork(descriptions: list[tree.Element], first: tree.Element, description: Description) -> None:
    fields = list(_artwork_fields(description))
    if not fields:
        return
    bag_name = _name("Iptc4xmpExt", "ArtworkOrObject")
    holder = next((existing for node in descriptions if (existing := node.find(bag_name)) is not None), None)
    if holder is None:
        holder = tree.SubElement(first, bag_name)
    bag = holder.find(_name("rdf", "Bag"))
    if bag is None:
        bag = tree.SubElement(holder, _name("rdf", "Bag"))
    item = bag.find(_name("rdf", "li"))
    if item is None:
        item = tree.SubElement(bag, _name("rdf", "li"), {_name("rdf", "parseType"): "Resource"})
    inner = item.find(_name("rdf", "Description"))
    target = item if inner is None else inner
    for local, kind, value in fields:
        element = _property([target], target, _name("Iptc4xmpExt", local))
        if kind == "Alt":
            _alternatives(element, value)
        elif kind == "Seq":
            _listed(element, value)
        else:
            _empty(element)
            element.text = _legal(value)


def _artwork_fields(description: Description) -> Iterator[tuple[str, str, str]]:
    for local, kind, value in (
            ("AOTitle", "Alt", description.title), ("AOCreator", "Seq", description.creator),
            ("AOCopyrightNotice", "text", description.rights), ("AODateCreated", "text", description.created),
            ("AOSourceInvNo", "text", description.inventory_number),
            ("AOPhysicalDescription", "Alt", description.physical_description)):
        if value:
            yield local, kind, value
