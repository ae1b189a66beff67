"""A page written for the person, such as a job sheet: read here, opened, printed, saved, one key each."""

from asyncio import wrap_future
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from catalogue.errors import CatalogueError
from catalogue.records.database import Database
from catalogue.screens.actions.files import DISK_PATIENCE, text_of
from catalogue.screens.background.jobs import panel_text, start_print_files
from catalogue.screens.background.threads import start_worker
from catalogue.screens.page import Dialog
from catalogue.screens.system_viewer import start_program, viewer
from catalogue.screens.texts.formats import safe
from catalogue.settings import Home

if TYPE_CHECKING:
    from catalogue.operations.print_files import PrintFilesMade


@dataclass(frozen=True, slots=True)
class Sheet:
    """A page as files: ``page`` in HTML, ``text`` the same to read in a terminal. ``words`` are shown."""

    page: Path
    words: str
    text: Path | None = None


def read_sheet(files: tuple[Path, ...]) -> Sheet:
    """The sheet among files just written: the HTML page, and its plain text where there is one.

    Raises CatalogueError if there is no page, or the text cannot be read.
    """
    page = next((path for path in files if path.suffix == ".html"), None)
    text = next((path for path in files if path.suffix == ".txt"), None)
    if page is None:
        raise CatalogueError("No page was written.")
    try:
        return Sheet(page, text.read_text(encoding="utf-8") if text else "", text)
    except OSError as error:
        raise CatalogueError(f"The sheet cannot be read: {error.strerror}.", path=text) from error


def job_sheet_panel(home: Home, line_id: int, name: str) -> "JobSheetPanel":
    """The job sheet of an order line, written when the panel opens. ``name`` is what the panel calls it."""
    return JobSheetPanel(line_id, name, lambda db: write_job_sheet(db, home, line_id))


def write_job_sheet(db: Database, home: Home, line_id: int) -> Sheet:
    """Write the job sheet of an order line into its job folder, and read it."""
    from catalogue.operations.job_sheets import write_job_sheets

    return read_sheet(write_job_sheets(db, home, [line_id])[0].files)


class SheetPanel(Dialog[None]):
    """Writes a page off the screen's thread, then shows it with what can be done with it.

    ``title`` names it, ``write`` makes it. Keys wait for the page as long as a disk usually takes, then go ahead.
    """

    KEY_CONTEXT = "sheet"
    PANEL = "tall"

    def __init__(self, title: str, write: Callable[[Database], Sheet]) -> None:
        super().__init__(title)
        self._write = write
        self._sheet: Sheet | None = None
        self._words = Static("Writing the sheet …", id="sheet-words", markup=False)
        self._scroll = VerticalScroll(self._words, id="sheet-scroll")
        self._path = Static("", id="sheet-path", classes="quiet", markup=False)
        self._said = Static("", id="sheet-said", markup=False)

    def body(self) -> Iterable[Widget]:
        yield from (self._scroll, self._path, self._said)

    def on_mount(self) -> None:
        self._scroll.focus()
        self._write_sheet()

    def _write_sheet(self) -> None:
        """Have the page written, and show it once it is."""
        answer = self.app.threads["disks"].submit(self._write)

        async def show() -> None:
            try:
                sheet = await wrap_future(answer)
            except Exception:
                if self.is_attached:
                    self._words.update("The sheet was not written.")
                raise
            await self.app.gate.between_keys()
            if self.is_attached:
                self._show(sheet)

        self.app.gate.hold(self, start_worker(self, show, group="sheet"), DISK_PATIENCE)

    def _show(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._words.update("\n".join(safe(line) for line in sheet.words.splitlines()))
        self._path.update(text_of(sheet.page))

    def _tell(self, text: str) -> None:
        """Show a message in the panel, or at the edge of the screen once it is closed."""
        if self.is_attached and self.is_current:
            self._said.update(safe(text))
        else:
            self.app.say(safe(text))

    def _written(self) -> Sheet | None:
        if self._sheet is None:
            self._tell("The sheet has not been written yet.")
        return self._sheet

    def action_open_page(self) -> None:
        sheet = self._written()
        if sheet is None:
            return
        command = viewer(sheet.page, "")
        try:
            start_program(command, "Open the page in a browser; its path is shown here.")
        except CatalogueError as error:
            self._tell(str(error))
        else:
            self._tell(f"Started {command[0]}.")

    def action_print_page(self) -> None:
        from catalogue.operations.pages import print_page, summarize

        self._in_background("Sending it to the printer …", lambda sheet: summarize(print_page(sheet.page, sheet.text)))

    def action_save_pdf(self) -> None:
        from catalogue.operations.pages import save_as_pdf, summarize

        self._in_background("Making the PDF …", lambda sheet: summarize(save_as_pdf(sheet.page)))

    def _in_background(self, doing: str, job: Callable[[Sheet], list[str]]) -> None:
        """Run ``job`` on the panel's thread, in order, and show its result, even after the panel is closed."""
        sheet = self._written()
        if sheet is None:
            return
        self._tell(doing)
        answer = self.app.plain_threads["printer"].submit(lambda _: job(sheet))

        async def tell() -> None:
            try:
                lines = await wrap_future(answer)
            except CatalogueError as error:
                lines = [str(error)]
            self._tell(" ".join(lines))

        start_worker(self.app, tell, group="printer", exclusive=False)

    def action_copy_path(self) -> None:
        sheet = self._written()
        if sheet is not None:
            self.app.copy_to_clipboard(text_of(sheet.page))
            self._tell("The path was sent to your terminal's clipboard; not every terminal accepts it.")


class JobSheetPanel(SheetPanel):
    """The job sheet of an order line, from which its print file is made too."""

    KEY_CONTEXT = "job_sheet"

    def __init__(self, line_id: int, name: str, write: Callable[[Database], Sheet]) -> None:
        super().__init__(f"Job sheet: {name}", write)
        self._line_id = line_id

    def action_print_file(self) -> None:
        """Make the print file as the long work; the sheet is then written again and names it."""
        if start_print_files(self.app, [self._line_id], self._show_made):
            self._tell("Writing the print file …")

    def _show_made(self, done: "PrintFilesMade") -> None:
        from catalogue.operations.print_files import summarize

        if self.is_attached:
            lines = summarize(done, self.app.home.settings.dates)
            self._said.update(panel_text(lines))
            self._write = lambda db: write_job_sheet(db, self.app.home, self._line_id)
            self._write_sheet()

    def action_stop_work(self) -> None:
        self.app.action_stop_work()
