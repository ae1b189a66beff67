"""A page as PDF, where the optional library for it is installed."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from catalogue.errors import CatalogueError


def pdf_available() -> bool:
    """Whether the library, and the text library of the system it needs, can be loaded."""
    try:
        with _pillow_kept_strict():
            import weasyprint  # noqa: F401 - whether it loads is the question
    except (ImportError, OSError):
        return False
    return True


@contextmanager
def _pillow_kept_strict() -> Iterator[None]:
    """Importing WeasyPrint makes Pillow tolerate missing data, so damaged masters would be read as sound; this
    undoes it."""
    from PIL import ImageFile

    before = ImageFile.LOAD_TRUNCATED_IMAGES
    try:
        yield
    finally:
        ImageFile.LOAD_TRUNCATED_IMAGES = before


def as_pdf(html: str, target: Path) -> Path:
    """Write a page as PDF; nothing is fetched from anywhere.

    Raises CatalogueError if the library, or the text library of the system it needs, is not there.
    """
    try:
        with _pillow_kept_strict():
            from weasyprint import HTML
            from weasyprint.urls import URLFetcher
    except (ImportError, OSError) as error:
        raise CatalogueError("PDF needs a library that is not installed.", path=target,
                             hint="pip install 'master-scan-catalogue[pdf]', or print the HTML page to PDF.") from error
    try:
        HTML(string=html, url_fetcher=URLFetcher(allowed_protocols=("data",))).write_pdf(target)
    except OSError as error:
        raise CatalogueError(f"The PDF cannot be written: {error}.", path=target) from error
    return target
