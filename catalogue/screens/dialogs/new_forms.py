"""The forms by which a piece and an edition are begun."""

from collections.abc import Callable

from catalogue.indexing.corrections import Correction
from catalogue.ledger import values
from catalogue.operations import correcting, editions
from catalogue.records.database import Database
from catalogue.records.pieces import Piece
from catalogue.screens.dialogs.correction_forms import artist_matches, edition_of, size_of
from catalogue.screens.dialogs.form import Field, Filled, FormDialog


def new_piece_form(artist: str = "") -> FormDialog:
    """A piece that has no scan yet, by ``artist`` unless another is named."""
    fields = [Field("artist", "Artist", artist, matches=artist_matches), Field("title", "Title"), Field("year", "Year"),
              Field("medium", "Medium"), Field("size", "Size", hint="e.g. 60 x 80 cm"),
              Field("edition", "Edition", hint="e.g. 25, or 25 + 3 with proofs")]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        texts = filled.texts
        if not texts["artist"] or not texts["title"]:
            raise ValueError("A new piece needs an artist and a title")
        said: dict[str, object] = {name: texts[name] for name in ("year", "medium") if texts[name]}
        if texts["size"]:
            said["width_mm"], said["height_mm"] = size_of(texts["size"])
        edition = edition_of(texts["edition"]) if texts["edition"] else None
        return lambda db: correcting.add_piece(db, texts["artist"], texts["title"], said, edition=edition)

    return FormDialog("A new piece", fields, save, clash="Open it and correct it with e.")


def new_edition_form(piece: Piece) -> FormDialog:
    """An edition of a piece, of all sizes or of one; of a size that has one already its limit is changed."""
    fields = [Field("edition", "Edition", hint="e.g. 25, or 25 + 3 with proofs"),
              Field("size", "Only of size", hint="every size"), Field("medium", "Only on", hint="every medium")]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        if not filled.texts["edition"]:
            raise ValueError("Say how many prints the edition has: 25, or 25 + 3 with three proofs")
        limit, proofs = edition_of(filled.texts["edition"])
        width, height = values.size_mm(filled.texts["size"]) if filled.texts["size"] else (None, None)
        medium = filled.texts["medium"]
        return lambda db: editions.open_edition(db, piece.id, limit, proofs=proofs, width_mm=width, height_mm=height,
                                                medium=medium)

    return FormDialog(f"A new edition: {piece.title}, {piece.artist}", fields, save,
                      clash="Choose another size or medium.")
