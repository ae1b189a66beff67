"""Capture notes: how the scan was made, in free fields with units, prefilled from last time and from the file."""

from collections.abc import Sequence

from catalogue.reading.model import Reading
from catalogue.records import intake, pieces
from catalogue.records.database import Database
from catalogue.settings import Settings

# In the order in which a person fills them. The last group differs with every original and is never carried over.
FIELDS = ("device", "bed mm", "ppi", "light", "scanner settings", "relief mm", "tiles taken", "orientation")
_FROM_LAST = frozenset({"light", "scanner settings", "bed mm", "device"})


def initial_notes(db: Database, settings: Settings, readings: Sequence[Reading], artist: str, piece_id: int | None
              ) -> dict[str, str]:
    """Notes to start from: settings of the artist's last scan of like relief, facts from the files over them."""
    piece = pieces.by_id(db, piece_id) if piece_id is not None else None
    relief = piece.relief_mm if piece else None
    known = pieces.artist_named(db, artist) if artist else None
    last = intake.last_capture(db, known.id if known else None, relief)
    notes = {"bed mm": f"{settings.bed_mm[0]}×{settings.bed_mm[1]}"}
    notes |= {name: value for name, value in last.items() if name in _FROM_LAST or name not in FIELDS}
    notes |= _from_files(readings)
    if relief is not None:
        notes["relief mm"] = f"{relief:g}"
    order = {name: rank for rank, name in enumerate(FIELDS)}
    return {name: notes[name] for name in sorted(notes, key=lambda n: (order.get(n, len(order)), n)) if notes[name]}


def _from_files(readings: Sequence[Reading]) -> dict[str, str]:
    devices = {" ".join(filter(None, (r.metadata.make, r.metadata.model))) for r in readings}
    ppi = {f"{r.picture.ppi_x:g}" for r in readings if r.picture and r.picture.ppi_x}
    turned = {r.picture.orientation for r in readings if r.picture}
    notes = {"tiles taken": str(len(readings))}
    if len(devices) == 1 and (device := devices.pop()):
        notes["device"] = device
    if len(ppi) == 1:
        notes["ppi"] = ppi.pop()
    if len(turned) == 1 and (orientation := turned.pop()) != 1:
        notes["orientation"] = str(orientation)
    return notes


def parse_notes(texts: Sequence[str]) -> dict[str, str]:
    """``name=value`` as typed on the command line; an empty value strikes the note out."""
    notes = {}
    for text in texts:
        name, _, value = text.partition("=")
        notes[name.strip()] = value.strip()
    return notes
