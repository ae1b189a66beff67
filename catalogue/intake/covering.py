"""How many tiles an original needs, and which parts of its stitched master no tile covers."""

from dataclasses import dataclass

from catalogue.intake.grouping import Group
from catalogue.intake.mosaic import TileMap
from catalogue.intake.overlap import Arrangement, Views, overlap
from catalogue.likeness import tiles
from catalogue.records import pieces
from catalogue.records.database import Database
from catalogue.settings import Settings

BARE = 0.005  # share of the master under no tile that is still a matter of edges


@dataclass(frozen=True, slots=True)
class Cover:
    """The tiles' positions in their master, in scanning order, and the warnings."""

    map: TileMap | None = None
    warnings: tuple[str, ...] = ()


def cover_of(group: Group, views: Views) -> Cover:
    """The tiles of a group laid on the newest of its stitched masters; empty if there is none."""
    if not group.tiles or not group.stitched:
        return Cover()
    master = group.stitched[-1]
    whole, picture = views(master), master.reading.picture
    if whole is None or picture is None:
        return Cover()
    positions, astray = [], []
    for tile in group.members:
        part = views(tile)
        laid = overlap(part, whole) if part else None
        if laid is None or laid.arrangement not in (Arrangement.WITHIN, Arrangement.SAME):
            astray.append(tile.path.name)
        else:
            positions.append(tiles.TilePosition(tile.path.name, laid.corners, laid.rotation))
    aspect = picture.width / picture.height
    coverage = tiles.coverage(positions, aspect)
    warnings = [f"{name} could not be found in {master.path.name}" for name in astray]
    if 1 - coverage.covered > BARE:
        spots = "; ".join(f"{left:.0%}–{right:.0%} across, {top:.0%}–{bottom:.0%} down"
                          for left, top, right, bottom in coverage.missing[:4])
        warnings.append(f"{1 - coverage.covered:.0%} of {master.path.name} is covered by no tile ({spots})")
    return Cover(TileMap(tuple(positions), aspect) if positions else None, tuple(warnings))


def count_warning(db: Database, settings: Settings, piece_id: int | None, taken: int) -> str:
    """Whether fewer tiles came than the original's size asks for; "" if enough did, or no size is known."""
    piece = pieces.by_id(db, piece_id) if piece_id is not None else None
    if piece is None or not piece.width_mm or not piece.height_mm:
        return ""
    width, height = piece.width_mm, piece.height_mm
    fewest = min(((*tiles.expected((width, height), (float(bed.size_mm[0]), float(bed.size_mm[1])),
                                   settings.tile_overlap), bed) for bed in settings.all_beds),
                 key=lambda plan: plan[0] * plan[1])
    across, down, bed = fewest
    if taken >= across * down:
        return ""
    return (f"{taken} tiles arrived; {across} × {down} are expected for {width:g} × {height:g} mm on a bed of"
            f" {bed.size_mm[0]} × {bed.size_mm[1]} mm with {settings.tile_overlap:.0%} overlap")
