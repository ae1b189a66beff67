"""Changing the place rules of a catalogue in use: shown first, then done, and taken back."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from catalogue.indexing.corrections import Correction
from catalogue.operations import correcting
from catalogue.operations.place_rules import (
    Named,
    RulesChanged,
    change_place_rules,
    named_on_record,
    preview_refiling,
    undo_place_rules,
)
from catalogue.operations.wording import counted, number
from catalogue.progress import Cancelled, Report
from catalogue.records.database import Database
from catalogue.screens.actions.correcting import announce_correction
from catalogue.screens.dialogs.confirm import ConfirmDialog
from catalogue.screens.pages.names import NamesPage, Reading, reading_of
from catalogue.screens.texts.formats import safe
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.indexing.refiling import Refiled
    from catalogue.screens.app import CatalogueApp

MOST_MOVES = 14     # lines of the preview


def open_names(shop: "CatalogueApp") -> None:
    """Show how the names of all that is on record are read."""
    home = shop.home

    def source(rules: Sequence[str]) -> Callable[[Database], Named]:
        return lambda db: named_on_record(db, home, rules)

    def use(reading: Reading) -> None:
        _use(shop, reading, page)

    page = NamesPage("How scans on record are filed by names and tags. What you entered stays as it is.",
                     source, shop.threads["names"], reading_of(home.settings.place_rules), use,
                     take_back=lambda: _take_back(shop, page))
    shop.push_screen(page)


def _use(shop: "CatalogueApp", reading: Reading, page: NamesPage) -> None:
    """State the names of artists and pieces, and show what other rules would move; then ask."""
    def joined(done: Correction) -> None:
        announce_correction(shop, done)
        look()

    def look() -> None:
        if reading.rules == shop.home.settings.place_rules:
            if not (reading.names or reading.titles):
                shop.say("Nothing was changed.")
            if shop.screen is page:
                shop.pop_screen()
            return
        _preview(shop, reading.rules, page)

    if reading.names or reading.titles:
        names = dict(reading.names)
        shop.writes.add("the names of artists and pieces",
                        lambda db: correcting.state_names(db, names, reading.titles), joined, holds=page)
    else:
        look()


def _preview(shop: "CatalogueApp", rules: tuple[str, ...], page: NamesPage) -> None:
    home = shop.home

    def job(db: Database, report: Report, cancelled: Cancelled) -> "Refiled":
        return preview_refiling(db, home, rules, report=report, cancelled=cancelled)

    def ask_person(found: "Refiled") -> None:
        shop.push_screen(ConfirmDialog("File by these rules from now on?", preview_text(found), yes="Refile",
                                  no="Not yet", careful=True),
                         lambda yes: _change(shop, rules, page) if yes else None)

    shop.begin("Checking what would be refiled", job, lambda found: f"{counted(found.looked, 'scan')} looked at.",
               ask_person)


def preview_text(found: "Refiled") -> str:
    """From which name to which, how many scans; what a person stated is not among them."""
    counts = list(found.counts.items())
    roles = sum(move.role_before != move.role_after for move in found.moves)
    lines = [f"{count:>5}  {safe(before or 'not filed')} → {safe(after or 'not filed')}"
             for (before, after), count in counts[:MOST_MOVES]]
    if len(counts) > MOST_MOVES:
        lines.append(f"       and {number(len(counts) - MOST_MOVES)} more")
    if not found.moves:
        lines.append("Nothing on record would be filed differently. New scans will be filed by these rules.")
    else:
        lines.append(f"{counted(sum(found.counts.values()), 'scan')} would be filed differently, "
                     f"{number(roles)} would get another role. What you entered stays. This can be undone.")
    return "\n".join(lines)


def _change(shop: "CatalogueApp", rules: tuple[str, ...], page: NamesPage) -> None:
    home = shop.home

    def job(db: Database, report: Report, cancelled: Cancelled) -> RulesChanged:
        return change_place_rules(db, home, rules, report=report, cancelled=cancelled)

    def told(done: RulesChanged) -> str:
        return (f"{counted(sum(done.refiled.counts.values()), 'scan')} refiled. To undo: 6, n, then r.")

    def done(found: RulesChanged) -> None:
        _now_under(shop, found.home)
        if shop.screen is page:
            shop.pop_screen()

    shop.begin("Refiling", job, told, done)


def _take_back(shop: "CatalogueApp", page: NamesPage) -> None:
    home = shop.home

    def job(db: Database, _: Report, __: Cancelled) -> tuple[Home, int]:
        return undo_place_rules(db, home)

    def done(found: tuple[Home, int]) -> None:
        _now_under(shop, found[0])
        if shop.screen is page:
            shop.pop_screen()

    def answered(yes: bool | None) -> None:
        if yes:
            shop.begin("Undoing the refiling", job, lambda found: f"{counted(found[1], 'scan')} as before.", done)

    shop.push_screen(ConfirmDialog("Undo the last refiling?",
                                   "Rules and guesses go back to what they were. What you entered since then stays.",
                                   yes="Undo", careful=True), answered)


def _now_under(shop: "CatalogueApp", home: Home) -> None:
    shop.home, shop.vocabulary = home, None
    shop.changed()
