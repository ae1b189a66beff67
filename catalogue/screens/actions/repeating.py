"""Repeating an order from anywhere, and the job sheet of what was recorded."""

from typing import TYPE_CHECKING

from catalogue.screens.background.screen_cache import cached_screen

if TYPE_CHECKING:
    from catalogue.records.orders import Line
    from catalogue.screens.app import CatalogueApp


def offer_repeat(app: "CatalogueApp", *, line_id: int | None = None, piece_id: int | None = None) -> None:
    """Offer to repeat a line, or a piece's last one."""
    from catalogue.screens.dialogs.repeat import RepeatDialog

    dialog = cached_screen(app, RepeatDialog)
    dialog.begin(line_id=line_id, piece_id=piece_id)
    app.push_screen(dialog, lambda line: open_job_sheet(app, line))


def open_job_sheet(app: "CatalogueApp", line: "Line | None") -> None:
    """Open the job sheet of the order just recorded."""
    if line is not None:
        app.last_order = line
        from catalogue.operations.orders import summarize
        from catalogue.screens.background.jobs import notice
        from catalogue.screens.dialogs.sheet import job_sheet_panel

        app.say(notice(summarize(line)))
        app.changed()
        app.push_screen(job_sheet_panel(app.home, line.id, f"{line.number}, {line.title}"))
