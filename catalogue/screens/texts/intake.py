"""What intake says: of a proposal, of a scan under watch, and of what became of the files imported."""

from typing import TYPE_CHECKING

from textual.content import Content

from catalogue.intake.proposals import Proposal
from catalogue.progress import data_size
from catalogue.records.paths import display_path, escape_path
from catalogue.screens.texts.formats import line, lines
from catalogue.screens.widgets.intake_tables import DOUBTFUL, STATES, WatchedScan, map_with

if TYPE_CHECKING:
    from catalogue.intake.mosaic import TileMap

BEFORE = ("Type the folder, then press Enter to check it, or Esc and w to watch it while you scan. Nothing is copied "
          "until you agree, every copy is read back and compared, and the folder itself is left unchanged unless you "
          "choose otherwise.")

WATCHING = ("Watching. Scan the first tile: it appears here once it is complete. Problems are reported at once, on "
            "every page. Press w to stop and see the plan.")


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
    for kind, text in sorted(row.texts, key=lambda told: told[0] not in DOUBTFUL):
        sign, _ = STATES[kind]
        grave = kind in DOUBTFUL
        parts.append(line((f"{sign} ", "bold $warning" if grave else "bold"), (text, "bold" if grave else "")))
    if row.arrival and (picture := row.arrival.reading.picture):
        parts.append(line((f"{picture.width}×{picture.height} px, {data_size(row.arrival.reading.size)}", "$quiet")))
    return lines([*parts, *map_lines(map_with(rows, row), columns, height)])


def map_lines(tiles: "TileMap | None", columns: int, rows: int) -> list[Content]:
    """The map, small enough for the room."""
    return [line(row) for row in tiles.drawn(columns, rows).splitlines()] if tiles else []
