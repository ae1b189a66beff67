"""What is known of an original or a scan at intake: words with the map of its tiles, and a picture."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from catalogue.intake.proposals import Proposal
from catalogue.reading.model import Reading
from catalogue.screens.pictures.picture import Picture
from catalogue.screens.texts.intake import proposal_words, watched_words
from catalogue.screens.widgets.intake_tables import WatchedScan

if TYPE_CHECKING:
    from catalogue.intake.mosaic import TileMap

MAP_ROWS = 16


class ScanDetails(Horizontal):
    """Words on the left, the picture on the right."""

    def compose(self) -> Iterable[Widget]:
        yield VerticalScroll(Static("", id="proposal-words", markup=False), id="proposal-scroll")
        yield Picture(id="proposal-picture")

    def say(self, text: Content) -> None:
        """Show these words, from their start."""
        self.query_one("#proposal-words", Static).update(text)
        self.query_one("#proposal-scroll").scroll_home(animate=False)

    @property
    def _room(self) -> tuple[int, int]:
        """Columns and rows for the map of tiles: all of it to be seen, and on a large screen what stands below too."""
        size = self.query_one("#proposal-scroll").size
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
        self.query_one(Picture).show(seen.preview if seen else None, "",
                                     (picture.width, picture.height) if picture else None,
                                     tuple(place.box for place in tiles.places) if tiles else ())
