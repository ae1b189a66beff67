"""Search from anywhere, and opening a result."""

from functools import partial
from typing import TYPE_CHECKING

from catalogue.screens.actions.opening import open_piece
from catalogue.screens.background.screen_cache import cached_screen

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.dialogs.search import Hit


def open_search(app: "CatalogueApp") -> None:
    """The search dialog, unless it is open."""
    from catalogue.screens.dialogs.search import SearchDialog

    if not any(isinstance(screen, SearchDialog) for screen in app.screen_stack):
        dialog = cached_screen(app, SearchDialog)
        dialog.begin()
        app.push_screen(dialog, partial(open_hit, app))


async def open_hit(app: "CatalogueApp", hit: "Hit | None") -> None:
    """Open the piece that was found, or the artist's pieces; None: nothing was chosen."""
    from catalogue.screens.pages.browse import BrowsePage

    if hit is None:
        return
    if hit.piece_id is not None:
        open_piece(app, hit.piece_id, hit.sha256)
    elif hit.artist_id is not None:
        if app.current_mode != "browse":
            await app.action_show_page("browse")
        await app.action_show_page("browse")    # again: from what is open over it
        if isinstance(app.screen, BrowsePage):
            app.screen.go_to_artist(hit.artist_id)
