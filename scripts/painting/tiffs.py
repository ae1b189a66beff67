"""Writing a TIFF with the tags a scanning shop leaves in it: TIFF 6.0 and BigTIFF through tifffile.

The Exif IFD (Exif 2.32, tag 34665) is appended by hand, as tifffile writes no sub-IFD of that kind.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

import tifffile

from .capture import Samples
from .profiles import profile

_PHOTOMETRIC = {"sRGB": "rgb", "wide": "rgb", "grey": "minisblack", "cmyk": "separated", "lab": "cielab"}
_PROFILES = {"sRGB": "sRGB", "wide": "Wide RGB test profile", "grey": "Grey gamma 2.2", "cmyk": "Paint recipe CMYK"}

_EXIF_SEAT = 34666  # unassigned: keeps the place of 34665 in the sorted directory until the Exif IFD is there


@dataclass(frozen=True)
class Form:
    """How the samples lie in the file."""

    compression: str = "lzw"  # none, lzw, deflate, zstd, packbits, jpeg
    bits: int = 8
    space: str = "sRGB"
    tiled: bool = False
    big: bool = False
    order: str = "<"
    profiled: bool = True
    alpha: bool = False
    layers: bool = False
    quality: int = 88  # of jpeg
    cm: bool = False  # resolution in pixels per centimetre

    @property
    def profile_name(self) -> str | None:
        return _PROFILES.get(self.space) if self.profiled else None


@dataclass(frozen=True)
class Tags:
    """What the file says about itself."""

    title: str | None = None
    artist: str | None = None
    inventory: str | None = None
    captured: datetime | None = None
    digitized: datetime | None = None
    maker: str | None = None
    model: str | None = None
    software: str | None = None
    keywords: str | None = None
    xmp: bool = True
    artwork: bool = False
    exif: bool = True
    names_in_tiff: bool = True


def xmp_packet(tags: Tags) -> bytes:
    """An XMP packet with dc:title, dc:creator and, if asked, Iptc4xmpExt:ArtworkOrObject."""
    title, artist = escape(tags.title or ""), escape(tags.artist or "")
    work = ""
    if tags.artwork:
        work = (
            '<Iptc4xmpExt:ArtworkOrObject><rdf:Bag><rdf:li rdf:parseType="Resource">'
            f'<Iptc4xmpExt:AOTitle><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li>'
            "</rdf:Alt></Iptc4xmpExt:AOTitle>"
            f"<Iptc4xmpExt:AOCreator><rdf:Seq><rdf:li>{artist}</rdf:li></rdf:Seq></Iptc4xmpExt:AOCreator>"
            f"<Iptc4xmpExt:AOSourceInvNo>{escape(tags.inventory or '')}</Iptc4xmpExt:AOSourceInvNo>"
            "</rdf:li></rdf:Bag></Iptc4xmpExt:ArtworkOrObject>"
        )
    subject = (
        f"<dc:subject><rdf:Bag><rdf:li>{escape(tags.keywords)}</rdf:li></rdf:Bag></dc:subject>" if tags.keywords else ""
    )
    tool = f" xmp:CreatorTool={quoteattr(tags.software)}" if tags.software else ""
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about=""'
        ' xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/"'
        f' xmlns:Iptc4xmpExt="http://iptc.org/std/Iptc4xmpExt/2008-02-29/"{tool}>'
        f'<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>'
        f"<dc:creator><rdf:Seq><rdf:li>{artist}</rdf:li></rdf:Seq></dc:creator>{subject}{work}"
        '</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="w"?>'
    ).encode()


def _ascii(code: int, text: str | None) -> list[tuple[int, int, int, object, bool]]:
    if not text:
        return []
    raw = text.encode() + b"\0"
    return [(code, 2, len(raw), raw, True)]


def _stamp(when: datetime) -> str:
    return when.strftime("%Y:%m:%d %H:%M:%S")


def write_tiff(
    path: Path, pixels: Samples, form: Form, ppi: float, tags: Tags, layers: Sequence[tuple[str, Samples]] = ()
) -> None:
    """Write `pixels` (h, w) or (h, w, n) to `path`; `layers` follow as named pages."""
    path.parent.mkdir(parents=True, exist_ok=True)
    extra: list[tuple[int, int, int, object, bool]] = []
    if tags.names_in_tiff:
        extra += _ascii(315, tags.artist)
    extra += _ascii(271, tags.maker) + _ascii(272, tags.model)
    if tags.xmp and (tags.title or tags.artist):
        packet = xmp_packet(tags)
        extra.append((700, 1, len(packet), packet, True))
    dated = tags.exif and tags.captured is not None
    if dated:
        extra.append((_EXIF_SEAT, 4, 1, 0, True))
    how: dict[str, Any] = {
        "photometric": _PHOTOMETRIC[form.space],
        "resolution": (ppi / 2.54,) * 2 if form.cm else (ppi,) * 2,
        "resolutionunit": "CENTIMETER" if form.cm else "INCH",
        "software": tags.software or False,
        "datetime": _stamp(tags.digitized) if tags.digitized else None,
        "iccprofile": profile(form.profile_name) if form.profile_name else None,
        "metadata": None,
    }
    if form.compression == "jpeg":
        how |= {"compression": "jpeg", "compressionargs": {"level": form.quality}}
        if form.space in ("sRGB", "wide"):
            how["subsampling"] = (2, 2)  # stored as YCbCr
    elif form.compression != "none":
        how["compression"] = {"deflate": "adobe_deflate"}.get(form.compression, form.compression)
        if form.compression in ("lzw", "deflate", "zstd"):
            how["predictor"] = True
    if form.tiled:
        how["tile"] = (256, 256)
    else:
        how["rowsperstrip"] = 64
    if form.alpha:
        how["extrasamples"] = ["unassalpha"]
    title = tags.title.encode() if tags.title and tags.names_in_tiff else None
    with tifffile.TiffWriter(path, byteorder=form.order, bigtiff=form.big) as out:
        out.write(pixels, description=title, extratags=extra, **how)
        for name, page in layers:
            out.write(page, extratags=_ascii(285, name), **how)
    if dated and tags.captured:
        _append_exif(path, tags.captured, tags.digitized or tags.captured, form)


def _append_exif(path: Path, captured: datetime, digitized: datetime, form: Form) -> None:
    o, big = form.order, form.big
    with path.open("r+b") as f:
        f.seek(8 if big else 4)
        first = struct.unpack(o + ("Q" if big else "I"), f.read(8 if big else 4))[0]
        f.seek(first)
        count = struct.unpack(o + ("Q" if big else "H"), f.read(8 if big else 2))[0]
        width, head = (20, 8) if big else (12, 2)
        at = next(
            first + head + i * width
            for i in range(count)
            if struct.unpack(o + "H", _peek(f, first + head + i * width, 2))[0] == _EXIF_SEAT
        )
        end = f.seek(0, 2)
        end += f.write(bytes(end % 2))
        stamps = [(36867, _stamp(captured)), (36868, _stamp(digitized))]
        data = end + head + len(stamps) * width + (8 if big else 4)
        body = struct.pack(o + ("Q" if big else "H"), len(stamps))
        for i, (code, _) in enumerate(stamps):
            body += struct.pack(o + ("HHQQ" if big else "HHII"), code, 2, 20, data + 20 * i)
        body += bytes(8 if big else 4) + b"".join(text.encode("ascii") + b"\0" for _, text in stamps)
        f.write(body)
        f.seek(at)
        f.write(struct.pack(o + "H", 34665))
        f.seek(at + (12 if big else 8))
        f.write(struct.pack(o + "I", end))


def _peek(f: Any, at: int, size: int) -> bytes:
    f.seek(at)
    return bytes(f.read(size))
