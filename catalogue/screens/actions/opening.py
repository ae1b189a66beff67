"""From anywhere: a piece's page, the form that repeats an order, and the job sheet of what was recorded."""

from typing import TYPE_CHECKING

from catalogue.errors import CatalogueError
from catalogue.screens.background.screen_cache import cached_screen
from catalogue.screens.background.threads import run_in_thread

if TYPE_CHECKING:
    from catalogue.records.orders import Line
    from catalogue.screens.app import CatalogueApp
    from catalogue.screens.dialogs.search import Hit


def open_piece(app: "CatalogueApp", piece_id: int, sha256: str | None = None) -> None:
    """The piece's page, over the present one; drawn once all of it is known. The cursor on that scan, if named."""
    from catalogue.screens.pages.piece import PiecePage
    from catalogue.screens.pages.piece_view import PieceView, piece_view

    asking = app.changes.seen()

    def show(view: PieceView) -> None:
        if app.screen is not asking:
            return  # the person has gone on to something else
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


async def open_hit(app: "CatalogueApp", hit: "Hit | None") -> None:
    """The piece that a search found, or the artist's pieces; None: nothing was chosen."""
    from catalogue.screens.pages.browse import BrowsePage

    if hit is None:
        return
    if hit.piece_id is not None:
        open_piece(app, hit.piece_id, hit.sha256)
    elif hit.artist_id is not None:
        await app.switch_mode("browse")
        while len(app.screen_stack) > 1:
            await app.pop_screen()
        if isinstance(app.screen, BrowsePage):
            app.screen.go_to_artist(hit.artist_id)


def offer_repeat(app: "CatalogueApp", *, line_id: int | None = None, piece_id: int | None = None) -> None:
    """Offer to repeat a line, or a piece's last one. Told where another seat has just removed it."""
    from catalogue.screens.dialogs.repeat import RepeatDialog
    from catalogue.screens.pages.piece_view import why_gone

    dialog = cached_screen(app, RepeatDialog)

    def close_if_gone(reason: CatalogueError | None) -> None:
        if reason is not None and app.screen is dialog:
            dialog.dismiss(None)
            app.failed(reason)

    run_in_thread(app.screen, app.threads["read"], lambda db: why_gone(db, line_id=line_id, piece_id=piece_id),
                  close_if_gone, group="still there", holds=app)
    dialog.begin(line_id=line_id, piece_id=piece_id)
    app.push_screen(dialog, lambda line: open_job_sheet(app, line))


def open_job_sheet(app: "CatalogueApp", line: "Line | None") -> None:
    """An order was recorded: its job sheet comes up."""
    if line is not None:
        from catalogue.operations.orders import summarize
        from catalogue.screens.background.jobs import notice
        from catalogue.screens.dialogs.sheet import job_sheet_panel

        app.say(notice(summarize(line)))
        app.vocabulary = None
        app.changed()
        app.push_screen(job_sheet_panel(app.home, line.id, f"{line.number}, {line.title}"))
