"""Which pieces need a new scan: those whose master is too small for the sizes ordered, most ordered first."""

from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter

from catalogue.ledger.fit import fit_of
from catalogue.records import demand, pieces, scans
from catalogue.records.database import Database
from catalogue.records.demand import Demand
from catalogue.settings import Settings

# Handling originals, common practice, no source.
WEAVE = "Do not turn a canvas between captures, or the weave will not match at the joins."
ORIGINALS = ("Ask the artist's permission before laying an original on the glass, and agree who carries the risk.",
             "Dust the glass and check that it is dry; leave the lid off work with relief, and never press it down.",
             "Carry a canvas by its stretcher; lift it, never slide it.")


@dataclass(frozen=True, slots=True)
class Short:
    """One ordered size for which the master is too small, at its most demanding finish."""

    width_mm: float
    height_mm: float
    prints: int
    ppi: float
    least_ppi: int


@dataclass(frozen=True, slots=True)
class Rescan:
    """One piece to scan again. ``prints`` counts the prints asked for in sizes that fall short.

    ``scan_ppi`` is the resolution on the original at which a new scan would serve them all, where the present master
    states its own; ``sizes`` is empty if the piece has no master at all.
    """

    piece_id: int
    artist: str
    title: str
    prints: int
    last: str
    master_ppi: float | None
    scan_ppi: float | None
    sizes: tuple[Short, ...]


def advice(db: Database, settings: Settings) -> list[Rescan]:
    """Pieces that were ordered and whose current master falls short, or that have none, by demand."""
    rescans = [piece for _, asked in groupby(demand.sizes_ordered(db), key=attrgetter("piece_id"))
             if (piece := _piece(db, list(asked), settings)) is not None]
    return sorted(rescans, key=lambda piece: (-piece.prints, piece.artist, piece.title))


def _piece(db: Database, asked: list[Demand], settings: Settings) -> Rescan | None:
    first = asked[0]
    scan = scans.by_id(db, first.scan_id) if first.scan_id is not None else None
    if scan is None:
        return Rescan(first.piece_id, first.artist, first.title, sum(d.quantity for d in asked),
                      max(d.last for d in asked), None, None, ())
    short: dict[tuple[float, float], Short] = {}
    last = ""
    for demanded in asked:
        fit = fit_of(scan, demanded, settings.print_ppi)
        if fit is not None and not fit.enough:
            size = (demanded.width_mm, demanded.height_mm)
            before = short.get(size, Short(*size, 0, fit.ppi, fit.least_ppi))
            worst = min((before.ppi, before.least_ppi), (fit.ppi, fit.least_ppi), key=lambda p: p[0] / p[1])
            short[size] = Short(*size, before.prints + demanded.quantity, *worst)
            last = max(last, demanded.last)
    if not short:
        return None
    need = max(size.least_ppi / size.ppi for size in short.values())
    ppi = min(filter(None, (scan.ppi_x, scan.ppi_y)), default=None)
    return Rescan(first.piece_id, first.artist, first.title, sum(size.prints for size in short.values()), last, ppi,
                  ppi * need if ppi else None, tuple(sorted(short.values(), key=lambda size: -size.prints)))


@dataclass(frozen=True, slots=True)
class Captures:
    """How many captures an original takes on the shop's bed: across and down, for an original of that size in mm."""

    across: int
    down: int
    width_mm: float
    height_mm: float
    bed_mm: tuple[int, int]
    overlap: float


def captures(db: Database, settings: Settings, piece_id: int) -> Captures | None:
    """The captures to expect; the original's size as measured, else as its master states. None if neither does."""
    from catalogue.likeness.tiles import expected

    piece = pieces.by_id(db, piece_id)
    picture = scans.picture(db, piece.current_scan_id) if piece and piece.current_scan_id else None
    size = ((piece and piece.width_mm) or (picture and picture.width_mm),
            (piece and piece.height_mm) or (picture and picture.height_mm))
    if not size[0] or not size[1]:
        return None
    across, down = expected((size[0], size[1]), settings.bed_mm, settings.tile_overlap)
    return Captures(across, down, size[0], size[1], settings.bed_mm, settings.tile_overlap)
