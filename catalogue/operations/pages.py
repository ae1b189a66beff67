"""Printing a written page (a job sheet, a statement), and saving it as PDF."""

from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError
from catalogue.sheets.pdf import as_pdf, pdf_available
from catalogue.sheets.printer import send_to_printer


@dataclass(frozen=True, slots=True)
class Printed:
    """A file that the printing system took. ``answer`` is in its own words; ``plain``: as text, without the picture."""

    path: Path
    answer: str
    plain: bool


@dataclass(frozen=True, slots=True)
class SavedAsPdf:
    """A page's PDF, beside it."""

    path: Path


def save_as_pdf(page: Path) -> SavedAsPdf:
    """The HTML file ``page`` as PDF beside it, in place of an earlier one.

    Raises CatalogueError: the library is not installed, or a disk failed.
    """
    try:
        html = page.read_text(encoding="utf-8")
    except OSError as error:
        raise CatalogueError(f"The page cannot be read: {error.strerror}.", path=page) from error
    return SavedAsPdf(as_pdf(html, page.with_suffix(".pdf")))


def print_page(page: Path, text: Path | None = None) -> Printed:
    """Print the HTML file ``page`` on the system's printer, as PDF; where none can be made, its plain text ``text``.

    Raises CatalogueError: no printer, or nothing that it could print.
    """
    plain = not pdf_available()
    if plain and text is None:
        raise CatalogueError("The library that makes the PDF for printing is not installed.", path=page,
                             hint="pip install 'master-scan-catalogue[pdf]', or open the page and print it from there.")
    path = text if plain and text is not None else save_as_pdf(page).path
    return Printed(path, send_to_printer(path, page.stem), plain)


def summarize(result: Printed | SavedAsPdf) -> list[str]:
    """What was sent or saved."""
    if isinstance(result, SavedAsPdf):
        return [f"Saved as PDF: {result.path}"]
    lines = [f"Sent to the printer: {result.answer}" if result.answer else "Sent to the printer."]
    if result.plain:
        lines.append("Printed as text, without the picture. For the whole page: pip install"
                     " 'master-scan-catalogue[pdf]'.")
    return lines
