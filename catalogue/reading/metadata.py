"""Descriptive facts of a file merged from all sources in it; disagreements are kept, not resolved."""

from catalogue.reading import iptc, xmp
from catalogue.reading.model import Metadata, Note, Stated
from catalogue.reading.source import Statements

# Which place is believed first. The artwork-or-object fields speak of the piece itself, the rest of the file; the
# scanner's own facts are surest in the tags the scanner wrote. Common practice, no source.
BY_PEOPLE = ("XMP artwork", "XMP", "IPTC", "Exif", "TIFF")
BY_MACHINES = ("Exif", "TIFF", "IPTC", "XMP")
PREFERENCE = {
    "title": BY_PEOPLE, "creator": BY_PEOPLE, "rights": BY_PEOPLE, "description": BY_PEOPLE, "created": BY_PEOPLE,
    "inventory_number": BY_PEOPLE, "physical_description": BY_PEOPLE, "captured": BY_MACHINES,
    "modified": BY_MACHINES, "make": BY_MACHINES, "model": BY_MACHINES, "software": BY_MACHINES,
}
DATES = ("captured", "modified")
CUT_BY_IPTC = {"title": 64, "creator": 32, "rights": 128, "description": 2000}  # octets, IPTC-IIM 4.2


def merge(statements: Statements) -> tuple[Metadata, tuple[Note, ...]]:
    """One record of all sources, with a note if one could not be read."""
    notes: tuple[Note, ...] = ()
    sources = [(statements.tags_source, statements.tags), ("Exif", statements.exif),
               ("IPTC", iptc.facts(statements.iptc))]
    try:
        of_file, of_artwork = xmp.facts(statements.xmp)
        sources += [("XMP", of_file), ("XMP artwork", of_artwork)]
    except xmp.UnreadableXmp as error:
        notes = (Note("metadata unreadable", f"the XMP packet cannot be read: {error}"),)
    stated = tuple(
        Stated(field, _clean(value), source)
        for source, values in sources
        for field, value in values.items()
        if field in PREFERENCE and _clean(value)
    )
    chosen: dict[str, str] = {}
    conflicts = []
    for field, order in PREFERENCE.items():
        field_statements = sorted((s for s in stated if s.field == field), key=lambda s: order.index(s.source)
                       if s.source in order else len(order))
        if field_statements:
            chosen[field] = field_statements[0].value
            if any(not _agree(field, field_statements[0].value, other.value) for other in field_statements[1:]):
                conflicts.append(field)
    return Metadata(**chosen, stated=stated, conflicts=tuple(conflicts)), notes


def _clean(value: str) -> str:
    """Without control characters, which a file may carry and a screen must not; line ends and spaces of every kind
    are kept as such, so that no two words become one."""
    lines = "\n".join(value.splitlines())   # CR, CR LF, NEL and Unicode's separators too
    return "".join(" " if c.isspace() and c not in "\n\t" else c
                   for c in lines if c.isprintable() or c.isspace()).strip()


def _agree(field: str, first: str, second: str) -> bool:
    if field in DATES:  # to the second; a zone may be stated in one place only
        first, second = first[:19].replace(" ", "T"), second[:19].replace(" ", "T")
        return first.startswith(second) or second.startswith(first)
    first_words, second_words = " ".join(first.casefold().split()), " ".join(second.casefold().split())
    if first_words == second_words:
        return True
    limit = CUT_BY_IPTC.get(field)
    short, long = sorted((first_words, second_words), key=len)
    return limit is not None and len(short.encode()) >= limit - 3 and long.startswith(short)
