"""Confirming an import, and separately the removal of files from the source folder."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from catalogue.intake.proposals import Kind, Plan, Proposal
from catalogue.intake.removing import copies_required
from catalogue.progress import data_size
from catalogue.records.paths import display_path, escape_path
from catalogue.screens.dialogs.confirm import ConfirmDialog, confirm
from catalogue.screens.texts.formats import counted, safe

if TYPE_CHECKING:
    from catalogue.screens.app import CatalogueApp


def confirm_import(app: "CatalogueApp", plan: Plan, also: Sequence[str], begin: Callable[[bool], object], *,
                   removing: bool) -> None:
    """Copy what is ready into the plan's store and those of ``also``, after a yes: ``begin`` is told whether to remove
    from the folder what is held, which takes another yes."""
    ready = [p for p in plan.proposals if p.ready]
    held = [p for p in plan.proposals if p.kind is Kind.HELD]
    if not ready:
        if removing and held:
            _confirm_removal(app, plan, held, begin)
        else:
            app.say("Nothing is ready to import yet.", "warning")
        return
    waiting = sum(1 for p in plan.proposals if p.questions)
    after = "you will be asked again before anything is removed" if removing else "the folder is left unchanged"
    text = f"{_amount(ready)}, into {safe(', '.join([plan.store, *also]))}. " \
           f"Every copy is read back and compared; {after}."
    if waiting:
        text += f"\n{counted(waiting, 'original')} with open questions will be skipped."

    confirm(app, "Import these scans?", text, lambda: _confirm_removal(app, plan, [*ready, *held], begin) if removing
            else begin(False), yes="Import")


def _confirm_removal(app: "CatalogueApp", plan: Plan, meant: list[Proposal], begin: Callable[[bool], object]) -> None:
    """Ask the second question; if it is declined, the folder is left unchanged and new scans are imported all the
    same."""
    settings = app.home.settings
    on_different_disks = "" if settings.copies_on_one_disk else ", on different disks,"
    required = f"{counted(copies_required(settings), 'store')}{on_different_disks}"
    text = f"{_amount(meant)}, from {safe(display_path(escape_path(str(plan.folder))))}\n\n" \
           f"Each is removed only once {required} hold a copy of it, every " \
           "copy read back and compared at that moment. Whatever is not proven safe stays, and the reason is shown. " \
           "A removed file cannot be brought back."

    def answered(yes: bool | None) -> None:
        if yes or any(p.ready for p in meant):
            begin(bool(yes))

    app.push_screen(ConfirmDialog("Remove these from the folder afterwards?", text, yes="Remove them",
                                  no="Leave the folder unchanged", careful=True), answered)


def _amount(proposals: Sequence[Proposal]) -> str:
    return f"{counted(sum(len(p.items) for p in proposals), 'file')}, {data_size(sum(p.size for p in proposals))}"
