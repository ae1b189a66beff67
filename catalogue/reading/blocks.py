"""Image resource blocks ("8BIM"): tag 34377 of TIFF, APP13 of JPEG, a section of PSD. Only those a shop can use."""

import struct

RESOLUTION, IPTC, PROFILE, EXIF, XMP, VERSION = 1005, 1028, 1039, 1058, 1060, 1057


def blocks_of(data: bytes) -> dict[int, bytes]:
    """Blocks by number, the first of each, IPTC's joined; stops quietly at the first one that is cut short."""
    blocks: dict[int, bytes] = {}
    at = 0
    while at + 12 <= len(data) and data[at : at + 4] in (b"8BIM", b"MeSa", b"AgHg", b"PHUT", b"DCSR"):
        number, name_length = struct.unpack_from(">HB", data, at + 4)
        at += 6 + (name_length + 2) // 2 * 2
        if at + 4 > len(data):
            break
        size = struct.unpack_from(">I", data, at)[0]
        at += 4
        if at + size > len(data):
            break
        body = data[at : at + size]
        if number == IPTC and number in blocks:
            body = blocks[number] + body
            del blocks[number]
        blocks.setdefault(number, body)
        at += size + size % 2
    return blocks


def resolution_of(block: bytes) -> tuple[float | None, float | None]:
    """Pixels per inch across and down of a ResolutionInfo block (always per inch, whatever unit is displayed)."""
    if len(block) < 16:
        return None, None
    across, down = struct.unpack_from(">I", block, 0)[0] / 65536, struct.unpack_from(">I", block, 8)[0] / 65536
    return across or None, down or None
