"""Opening a piece's page from anywhere."""

from typing import TYPE_CHECKING

from catalogue.screens.background.screen_cache import cached_screen
from catalogue.screens.background.threads import run_in_thread

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp


def open_piece(app: "CatalogueApp", piece_id: int, sha256: str | None = None) -> None:
    """Open the piece's page over the present one, drawn once all its data is read; the cursor on that scan, if
    given."""
    from catalogue.screens.pages.piece import PiecePage
    from catalogue.screens.pages.piece_view import PieceView, piece_view

    asking = app.changes.seen()

    def show(view: PieceView) -> None:
        if app.screen is not asking:
            return  # the person has moved on to something else
        page = next((screen for screen in app.screen_stack if isinstance(screen, PiecePage)), None)
        if page is not None:
            page.show(view, sha256)
            return
        page = cached_screen(app, PiecePage)
        page.show(view, sha256)
        app.push_screen(page)

    online = dict(app.changes.online)
    run_in_thread(app.screen, app.threads["read"], lambda db: piece_view(db, piece_id, online), show, group="open",
                  holds=app)
