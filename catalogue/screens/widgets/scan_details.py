"""Details of an original or a watched scan: text with the map of its tiles, and a picture."""

from typing import TYPE_CHECKING

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from catalogue.intake.proposals import Proposal
from catalogue.progress import data_size
from catalogue.reading.model import Reading
from catalogue.records.paths import display_path, escape_path
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.formats import line, lines
from catalogue.screens.widgets.intake_tables import DOUBTFUL, STATES, WatchedScan, map_with

if TYPE_CHECKING:
    from catalogue.intake.mosaic import TileMap

MAP_ROWS = 16
BEFORE = ("Type the folder, then press Enter to check it, or Esc and w to watch it while you scan. Nothing is copied "
          "until you agree, every copy is read back and compared, and the folder itself is left unchanged unless you "
          "choose otherwise.")

WATCHING = ("Watching. Scan the first tile: it appears here once it is complete. Problems are reported at once, on "
            "every page. Press w to stop and see the plan.")


class ScanDetails(Horizontal):
    """Words on the left, the picture on the right."""

    def __init__(self, *, id: str) -> None:
        self._words = Static("", id="proposal-words", markup=False)
        self._scroll = VerticalScroll(self._words, id="proposal-scroll")
        self._picture = Picture(id="proposal-picture")
        super().__init__(self._scroll, self._picture, id=id)

    def say(self, text: Content) -> None:
        """Show this text, from its start."""
        self._words.update(text)
        self._scroll.scroll_home(animate=False)

    @property
    def _room(self) -> tuple[int, int]:
        """Columns and rows for the map of tiles: all of it to be seen, and on a large screen what stands below too."""
        size = self._scroll.size
        return max(20, size.width - 1), min(max(8, size.height - 1), MAP_ROWS)

    def show(self, row: WatchedScan | Proposal, watched: list[WatchedScan]) -> None:
        """Show an original, or a scan of those ``watched``, for the present room."""
        if isinstance(row, WatchedScan):
            self.say(watched_words(watched, row, *self._room))
            self.show_picture(row.arrival.reading if row.arrival else None,
                              row.map if row.state == "complete" else None)
            return
        self.say(proposal_words(row, *self._room))
        whole = next((i for i in reversed(row.items) if i.role == "master"), None) if row.tiles else None
        seen = next((i.arrival.reading for i in ([whole] if whole else row.items) if i.arrival.reading.preview), None)
        self.show_picture(seen, row.tiles if whole else None)

    def show_picture(self, seen: Reading | None, tiles: "TileMap | None") -> None:
        """A scan's preview, with its tiles outlined where it is their stitched master."""
        picture = seen.picture if seen else None
        self._picture.show(seen.preview if seen else None, "", (picture.width, picture.height) if picture else None,
                           tuple(position.box for position in tiles.positions) if tiles else ())


def proposal_words(proposal: Proposal, columns: int, rows: int) -> Content:
    """What it is and why, what to answer, its tiles in so many columns and rows, from where to where."""
    parts = [line((proposal.kind.value, "bold"))]
    parts += [line(("? ", "bold $warning"), question) for question in proposal.questions]
    parts += [line(("! ", "bold $warning"), warning) for warning in proposal.warnings]
    parts += map_lines(proposal.tiles, columns, rows)
    parts += [line((reason, "$quiet")) for reason in proposal.reasons]
    for item in proposal.items:
        parts.append(line(display_path(escape_path(item.arrival.inside)), (f"  {item.role}", "$quiet")))
        if item.target:
            parts.append(line(("  → ", "$quiet"), (display_path(item.target), "$primary")))
    if proposal.take and proposal.capture:
        notes = ", ".join(f"{name} {value}" for name, value in proposal.capture)
        parts.append(line(("Capture notes  ", "bold"), notes))
    return lines(parts)


def watched_words(rows: list[WatchedScan], row: WatchedScan, columns: int, height: int) -> Content:
    """All that was reported of one scan, and the tiles of its original by now."""
    parts = []
    for kind, text in sorted(row.texts, key=lambda entry: entry[0] not in DOUBTFUL):
        sign, _ = STATES[kind]
        grave = kind in DOUBTFUL
        parts.append(line((f"{sign} ", "bold $warning" if grave else "bold"), (text, "bold" if grave else "")))
    if row.arrival and (picture := row.arrival.reading.picture):
        parts.append(line((f"{picture.width} × {picture.height} px, {data_size(row.arrival.reading.size)}", "$quiet")))
    return lines([*parts, *map_lines(map_with(rows, row), columns, height)])


def map_lines(tiles: "TileMap | None", columns: int, rows: int) -> list[Content]:
    """The map, small enough for the room."""
    return [line(row) for row in tiles.drawn(columns, rows).splitlines()] if tiles else []
