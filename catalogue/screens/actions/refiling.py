"""Changing the place rules of a catalogue in use: previewed, then done, and undoable."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from catalogue.indexing.corrections import Correction
from catalogue.operations import correcting, place_rules
from catalogue.operations.place_rules import Named, RulesChanged, named_on_record
from catalogue.operations.wording import counted, number
from catalogue.progress import Cancelled, Report
from catalogue.records.database import Database
from catalogue.screens.actions.correcting import announce_correction
from catalogue.screens.dialogs.confirm import confirm
from catalogue.screens.pages.names import NamesPage, Reading, reading_of
from catalogue.screens.texts.formats import safe
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.indexing.refiling import Refiled
    from catalogue.screens.app import CatalogueApp

MOST_MOVES = 14     # lines of the preview


def open_names(app: "CatalogueApp") -> None:
    """Show how the names of everything on record are read."""
    home = app.home

    def source(rules: Sequence[str]) -> Callable[[Database], Named]:
        return lambda db: named_on_record(db, home, rules)

    page = NamesPage("How scans on record are filed by names and tags. What you entered stays.",
                     source, app.threads["names"], reading_of(home.settings.place_rules),
                     lambda reading: _use(app, reading, page), take_back=lambda: _take_back(app, page))
    app.push_screen(page)


def _use(app: "CatalogueApp", reading: Reading, page: NamesPage) -> None:
    """State the names of artists and pieces, preview what other rules would move, then ask."""
    def look() -> None:
        if reading.rules != app.home.settings.place_rules:
            _preview(app, reading.rules, page)
            return
        if not (reading.names or reading.titles):
            app.say("Nothing was changed.")
        _close(app, page)

    def joined(done: Correction) -> None:
        announce_correction(app, done)
        look()

    if reading.names or reading.titles:
        names = dict(reading.names)
        page.record("the names of artists and pieces",
                    lambda db: correcting.state_names(db, names, reading.titles), joined)
    else:
        look()


def _preview(app: "CatalogueApp", rules: tuple[str, ...], page: NamesPage) -> None:
    home = app.home

    def job(db: Database, report: Report, cancelled: Cancelled) -> "Refiled":
        return place_rules.preview_refiling(db, home, rules, report=report, cancelled=cancelled)

    def ask_person(preview: "Refiled") -> None:
        confirm(app, "File by these rules from now on?", preview_text(preview), lambda: _change(app, rules, page),
                yes="Refile", no="Not yet", careful=True)

    app.begin("Checking what would be refiled", job, lambda preview: f"{counted(preview.looked, 'scan')} checked.",
              ask_person)


def preview_text(preview: "Refiled") -> str:
    """How many scans move from which name to which; what a person stated is not among them."""
    if not preview.moves:
        return "Nothing on record would be filed differently. New scans will be filed by these rules."
    counts = list(preview.counts.items())
    roles = sum(move.role_before != move.role_after for move in preview.moves)
    lines = [f"{count:>5}  {safe(before or 'not filed')} → {safe(after or 'not filed')}"
             for (before, after), count in counts[:MOST_MOVES]]
    if len(counts) > MOST_MOVES:
        lines.append(f"       and {number(len(counts) - MOST_MOVES)} more")
    lines.append(f"{counted(sum(preview.counts.values()), 'scan')} would be filed differently, "
                 f"{number(roles)} would get a different role. What you entered stays. This can be undone.")
    return "\n".join(lines)


def _change(app: "CatalogueApp", rules: tuple[str, ...], page: NamesPage) -> None:
    home = app.home

    def job(db: Database, report: Report, cancelled: Cancelled) -> RulesChanged:
        return place_rules.change_place_rules(db, home, rules, report=report, cancelled=cancelled)

    app.begin("Refiling", job, lambda done: f"{counted(sum(done.refiled.counts.values()), 'scan')} refiled. "
              "To undo: 6, n, then r.", lambda done: _close(app, page, done.home))


def _take_back(app: "CatalogueApp", page: NamesPage) -> None:
    home = app.home

    def job(db: Database, _: Report, __: Cancelled) -> tuple[Home, int]:
        return place_rules.undo_place_rules(db, home)

    def undo() -> None:
        app.begin("Undoing the refiling", job, lambda done: f"{counted(done[1], 'scan')} filed as before.",
                  lambda done: _close(app, page, done[0]))

    confirm(app, "Undo the last refiling?",
            "Rules and guesses go back to what they were. What you entered since then stays.", undo, yes="Undo",
            careful=True)


def _close(app: "CatalogueApp", page: NamesPage, home: Home | None = None) -> None:
    """Leave the page, if it is still seen; ``home``: with its rules from now on."""
    if home is not None:
        app.home = home
        app.changed()
    if app.screen is page:
        app.pop_screen()
