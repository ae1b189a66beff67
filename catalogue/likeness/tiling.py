"""The tiles of one piece for display: a map, gaps, turned tiles, and the expected number."""

from dataclasses import dataclass

import cv2

from catalogue.errors import Damaged
from catalogue.likeness import feature_cache, tiles
from catalogue.likeness.service import tile_positions
from catalogue.records.database import Database
from catalogue.records.pieces import Piece
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class Tiling:
    """``size_mm``: width and height of the original where known; ``expected``: captures across and down on the shop's
    bed; ``weave``: degrees by which the weave departs from the upright, where the master shows it."""

    master: str
    positions: tuple[tiles.TilePosition, ...]
    coverage: tiles.Coverage
    turned: tuple[str, ...]
    aspect: float
    size_mm: tuple[float, float] | None
    expected: tuple[int, int] | None
    weave: float | None

    def text(self) -> str:
        """The map with its legend, for the terminal."""
        lines = [tiles.draw(self.positions, self.aspect)]
        for number, position in enumerate(self.positions, 1):
            left, top, right, bottom = position.box
            odd = "  TURNED against the others: the weave will not match" if position.tile in self.turned else ""
            across, down = f"{_share(left)}–{_share(right)} across", f"{_share(top)}–{_share(bottom)} down"
            lines.append(f"{number:>3}  {position.tile[:12]}  {across}, {down}, "
                         f"turned {round(position.rotation, 2) + 0.0:.2f}°{odd}")
        lines.append(
            f"{self.coverage.covered:.1%} of the master {self.master[:12]} is covered by {len(self.positions)} tiles."
        )
        for left, top, right, bottom in self.coverage.missing:
            lines.append(f"Missing: {left:.0%}–{right:.0%} across, {top:.0%}–{bottom:.0%} down.")
        if self.expected and self.size_mm:
            wide, high = self.expected
            lines.append(
                f"An original of {self.size_mm[0]:.0f} × {self.size_mm[1]:.0f} mm needs about {wide} × {high} = "
                f"{wide * high} captures on this bed."
            )
        if self.weave is not None:
            lines.append(f"The weave is {self.weave:+.1f}° off vertical.")
        return "\n".join(lines)


def _share(value: float) -> str:
    return f"{min(1.0, max(0.0, value)):.1%}"


def tiling(db: Database, home: Home, piece: Piece) -> Tiling | None:
    """The tiles of a piece; ``None`` if none is known. Sizes come from the piece, else from the master's ppi."""
    located_tiles = tile_positions(db, piece.id)
    if located_tiles is None:
        return None
    master, positions = located_tiles
    aspect = (master.width or 1) / (master.height or 1)
    size = _size(piece, master.width, master.height, master.ppi_x)
    settings = home.settings
    woven = _weave(home, master.sha256)
    return Tiling(
        master.sha256, tuple(positions), tiles.coverage(positions, aspect), tuple(tiles.turned(positions)), aspect,
        size, tiles.expected(size, settings.bed_mm, settings.tile_overlap) if size else None,
        woven[0] if woven else None,
    )


def _weave(home: Home, sha256: str) -> tuple[float, float] | None:
    try:
        return tiles.weave(cv2.cvtColor(feature_cache.preview(home, sha256), cv2.COLOR_RGB2GRAY))
    except Damaged:
        return None  # the map is worth showing without it


def _size(piece: Piece, width: int | None, height: int | None, ppi: float | None) -> tuple[float, float] | None:
    if piece.width_mm and piece.height_mm:
        return piece.width_mm, piece.height_mm
    if width and height and ppi:
        return width / ppi * 25.4, height / ppi * 25.4
    return None
