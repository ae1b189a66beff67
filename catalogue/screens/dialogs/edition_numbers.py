"""The page of an edition: the location of each numbered print."""

from collections.abc import Sequence

from catalogue.ledger.editions import State, label
from catalogue.ledger.whereabouts import place_in_words, whereabouts
from catalogue.operations.exporting import write_edition_page
from catalogue.records.database import Database
from catalogue.records.numbers import numbers_text
from catalogue.screens.dialogs.confirm import Choice
from catalogue.screens.dialogs.sheet import Sheet, SheetPanel
from catalogue.screens.page import Page
from catalogue.screens.texts.formats import day
from catalogue.settings import Home


def show_numbers(host: Page, title: str, editions: Sequence[State]) -> None:
    """Open the page of the one edition of a piece, or ask which of several."""
    shop = host.app

    def show(edition_id: int | None) -> None:
        if edition_id is not None:
            shop.push_screen(edition_panel(shop.home, edition_id, title))

    if not editions:
        shop.say("This piece has no edition. Press n to add one.", "warning")
    elif len(editions) == 1:
        show(editions[0].edition.id)
    else:
        shop.push_screen(Choice("Which edition?", [
            (state.edition.id, label(state.edition), f"{state.numbers_out} issued") for state in editions]), show)


def edition_panel(home: Home, edition_id: int, title: str) -> SheetPanel:
    """The numbered list of an edition, written when the panel opens."""
    def write(db: Database) -> Sheet:
        words = []
        for held in whereabouts(db, edition_id):
            since = f", since {day(held.since, home.settings.dates)}" if held.since else ""
            notes = f", {held.notes}" if held.notes else ""
            words.append(f"{numbers_text([held.number]):<8}{place_in_words(held)}{since}{notes}")
        return Sheet(write_edition_page(db, home, edition_id), "\n".join(words) or "No number has been issued yet.")

    return SheetPanel(f"Edition: {title}", write)
