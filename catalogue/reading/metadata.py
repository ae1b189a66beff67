"""The descriptive facts of a file, merged from every place that states them."""

from .model import Metadata, Stated
from .source import Statements

FIELDS = frozenset(
    {"title", "creator", "created", "captured", "modified", "rights", "description", "inventory_number",
     "physical_description", "make", "model", "software"}
)


def merge(statements: Statements) -> Metadata:
    """One record; where places disagree the preferred one is taken and all are kept."""
    stated = [Stated(name, value, "TIFF") for name, value in statements.tags.items() if value]
    stated += [Stated(name, value, "Exif") for name, value in statements.exif.items() if value]
    chosen: dict[str, str] = {}
    for item in stated:
        if item.field in FIELDS:
            chosen.setdefault(item.field, item.value)
    return Metadata(**chosen, stated=tuple(stated))  # type: ignore[arg-type]
