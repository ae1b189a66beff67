"""Facts from IPTC-IIM 4.2, record 2."""

import re
import struct
from collections.abc import Iterator

from catalogue.reading.structure import decode_text

FIELDS = {5: "title", 80: "creator", 116: "rights", 120: "description"}
DATE_CREATED, TIME_CREATED = 55, 60


def datasets(data: bytes) -> Iterator[tuple[int, int, bytes]]:
    """``(record, dataset, value)`` until the data end or stop making sense."""
    at = 0
    while True:
        while data[at : at + 1] == b"\0":   # padding of a block, where several were joined
            at += 1
        if at + 5 > len(data) or data[at] != 0x1C:
            return
        record, number, size = struct.unpack_from(">BBH", data, at + 1)
        at += 5
        if size & 0x8000:  # extended: the low bits say how many bytes hold the size
            width = size & 0x7FFF
            if width > 4:
                return
            size = int.from_bytes(data[at : at + width], "big")
            at += width
        if at + size > len(data):
            return
        yield record, number, data[at : at + size]
        at += size


def facts(data: bytes) -> dict[str, str]:
    """Metadata fields; several creators are joined by a semicolon."""
    if len(data) >= 8 and data[0] != 0x1C and data[3] == 0x1C:  # written as 32-bit words in the other byte order
        data = b"".join(data[i : i + 4][::-1] for i in range(0, len(data), 4))
    values_of: dict[str, list[str]] = {}
    date = clock = ""
    for record, number, value in datasets(data):
        if record != 2:
            continue
        text = decode_text(value.strip(b"\0"))
        if number in FIELDS and text:
            values_of.setdefault(FIELDS[number], []).append(text)
        elif number == DATE_CREATED:
            date = text
        elif number == TIME_CREATED:
            clock = text
    facts = {name: "; ".join(values) for name, values in values_of.items()}
    if re.fullmatch("[0-9]{8}", date) and date != "00000000":
        facts["captured"] = f"{date[:4]}-{date[4:6]}-{date[6:]}"
        if re.match("[0-9]{6}", clock):
            zone = f"{clock[6:9]}:{clock[9:11]}" if len(clock) == 11 else ""
            facts["captured"] += f"T{clock[:2]}:{clock[2:4]}:{clock[4:6]}{zone}"
    return facts
