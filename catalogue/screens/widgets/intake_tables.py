"""The lists of intake: the originals of a plan, and the scans that came while the folder was watched."""

from dataclasses import dataclass, field
from pathlib import Path

from catalogue.intake.arrivals import Arrival
from catalogue.intake.mosaic import TileMap
from catalogue.intake.proposals import Plan, Proposal
from catalogue.intake.watching import News
from catalogue.progress import data_size
from catalogue.records.paths import display_path, escape_path
from catalogue.screens.texts.formats import counted
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable

# Sign and words by the kind of news, the gravest last.
STATES = {"arrived": ("✓", "arrived"), "complete": ("■", "stitched master"), "alone": ("?", "no overlap with earlier "
                                                            "tiles"),
          "warning": ("!", "check this"), "unfit": ("✗", "cannot be used"), "gone": ("–", "removed")}
DOUBTFUL = ("warning", "unfit", "alone")


@dataclass(slots=True)
class WatchedScan:
    """One scan that came: what it is by now, and all that was reported of it."""

    path: Path
    state: str
    texts: list[tuple[str, str]] = field(default_factory=list)  # kind, text
    arrival: Arrival | None = None
    map: TileMap | None = None


def add_news(rows: list[WatchedScan], news: News) -> WatchedScan:
    """Add the news to the scan it is of; one scanned again under its name begins again."""
    row = next((r for r in rows if r.path == news.path), None)
    if row is None:
        row = WatchedScan(news.path, news.kind)
        rows.append(row)
    if news.kind == "joined":
        row.texts, row.map, row.state = [("arrived", news.text)], news.map, "arrived"
        return row
    if news.kind in ("warning", "gone"):
        row.texts.append((news.kind, news.text))
    else:
        row.texts, row.arrival, row.map = [(news.kind, news.text)], news.arrival, news.map
        rows.remove(row)
        rows.append(row)
    row.state = news.kind
    return row


def map_with(rows: list[WatchedScan], row: WatchedScan) -> TileMap | None:
    """The newest map on which this scan lies."""
    for other in reversed(rows):
        if other.map and (other is row or any(position.tile == row.path.name for position in other.map.positions)):
            return other.map
    return None


class WatchedTable(RowTable[WatchedScan]):
    """One row a scan, the newest last; the cursor goes along with what comes unless it was moved up."""

    def __init__(self, *, id: str) -> None:
        super().__init__(
            [Column("", 1, lambda row: STATES[row.state][0]),
             Column("Scan", 0, lambda row: display_path(escape_path(row.path.name))),
             Column("State", 19, lambda row: STATES[row.state][1]),
             Column("Size", 9, lambda row: data_size(row.arrival.reading.size) if row.arrival else "", right=True)],
            lambda row: row.path, id=id)
        self.scans: list[WatchedScan] = []

    def begin(self, folder: Path) -> None:
        """Start a new watch."""
        self.scans = []
        self._watching = folder.name or str(folder)
        self._show(0)

    def add(self, news: News) -> None:
        """Add a report on a scan."""
        following = self.cursor_row >= len(self.scans) - 1
        before = self.highlighted
        row = add_news(self.scans, news)
        at = row if before is None or (following and news.kind != "joined") else before
        self._show(next(number for number, scan in enumerate(self.scans) if scan is at))

    def _show(self, cursor: int) -> None:
        present = [row for row in self.scans if row.state != "gone"]
        doubtful = sum(1 for row in present if row.state in DOUBTFUL)
        self.set_title(f"Watching {self._watching}: {counted(len(present), 'scan')}"
                     + (f", {doubtful} to check" if doubtful else ""))
        self.announce_again()
        self.set_rows(self.scans, cursor=cursor)


def identity(proposal: Proposal) -> object:
    """What an original is known by, whatever is answered about it: its files."""
    return tuple(item.arrival.path for item in proposal.items)


class ProposalTable(RowTable[Proposal]):
    """What each original is taken for, and whether it is ready."""

    def __init__(self, *, id: str) -> None:
        super().__init__(
            [Column("", 1, lambda p: "✓" if p.ready else "?" if p.questions else "–"),
             Column("What", 24, lambda p: p.kind.value, least=60), Column("Artist", 0, lambda p: p.artist.value),
             Column("Piece", 0, lambda p: p.piece.value), Column("Files", 5, lambda p: len(p.items), right=True),
             Column("Size", 9, lambda p: data_size(p.size), least=70, right=True)], identity, id=id)
        self.set_title("New scans")

    def clear(self) -> None:
        """Show that nothing is proposed yet."""
        self.set_rows([])
        self.set_title("New scans")

    def show_plan(self, plan: Plan, *, keep: bool) -> None:
        """Show a plan; with ``keep`` the cursor stays on its original."""
        ready = sum(len(p.items) for p in plan.proposals if p.ready)
        self.set_title(f"New scans: {counted(ready, 'file')} ready" if plan.proposals else "No pictures there")
        self.show_rows(plan.proposals, keep=keep)
