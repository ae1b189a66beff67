"""``catalogue piece``: what a person says of an original."""

from typing import TYPE_CHECKING, Any

import click

from catalogue.commands.session import Session, json_option
from catalogue.commands.show import find_piece

if TYPE_CHECKING:
    from catalogue.commands.printing import Printer


@click.group("piece")
def command() -> None:
    """Pieces: title, year, series, inventory number, the original's measures, notes."""


@command.command("set")
@click.argument("piece", nargs=-1, required=True)
@click.option("--title", help="Another title.")
@click.option("--year")
@click.option("--series")
@click.option("--inventory", help="Inventory number.")
@click.option("--size", help="The original as measured: 60x80 (cm) or 600x800mm.")
@click.option("--relief", type=click.FloatRange(0, 500), help="Depth of its relief in mm.")
@click.option("--notes")
@json_option
@click.pass_obj
def set_(session: Session, /, piece: tuple[str, ...], **given: Any) -> None:
    """Note what you know of the original of PIECE; what is not given stays."""
    from catalogue.errors import Refused
    from catalogue.ledger import values
    from catalogue.records import pieces
    from catalogue.records.database import transaction

    db = session.existing()
    with transaction(db):
        known = find_piece(db, " ".join(piece))
        try:
            width, height = values.size_mm(given["size"]) if given["size"] else (known.width_mm, known.height_mm)
        except ValueError as error:
            raise Refused(f"Nothing was noted: {error}.") from error

        def said(name: str, before: Any) -> Any:
            return before if given[name] is None else given[name]

        if given["title"] is not None and not given["title"].strip():
            raise Refused("A piece has a title.")
        if given["title"] is not None and pieces.folded(given["title"]) != pieces.folded(known.title) and (
                pieces.known_piece(db, known.artist, given["title"]) is not None):
            raise Refused(f"{known.artist} has a piece called {given['title']!r} already.")
        pieces.describe(db, known.id, year=said("year", known.year), series=said("series", known.series),
                        inventory_number=said("inventory", known.inventory_number), width_mm=width, height_mm=height,
                        relief_mm=said("relief", known.relief_mm), notes=said("notes", known.notes))
        if given["title"] is not None:
            pieces.rename(db, known.id, given["title"])
        noted = pieces.by_id(db, known.id)
    assert noted is not None

    def text(out: "Printer") -> None:
        out.print(f"{noted.artist}: {noted.title}")
        size = values.shown_size(noted.width_mm, noted.height_mm) if noted.width_mm and noted.height_mm else ""
        for name, value in (("year", noted.year), ("series", noted.series), ("inventory", noted.inventory_number),
                            ("original", size), ("relief", f"{noted.relief_mm:g} mm" if noted.relief_mm else ""),
                            ("notes", noted.notes)):
            if value:
                out.field(name, value)

    session.emit(noted, text)
