"""The forms of artists, pieces and scans: fields, completion, and what saving them records."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from catalogue.indexing.corrections import Correction
from catalogue.ledger import values
from catalogue.operations import correcting
from catalogue.operations.editions import open_edition
from catalogue.operations.wording import counted
from catalogue.records import pieces, search
from catalogue.records.database import Database
from catalogue.records.editions import Edition
from catalogue.records.folding import fold_name
from catalogue.records.pieces import Artist, Piece
from catalogue.records.provenance import NONE, STATED, Origin
from catalogue.records.scans import ROLES, Scan
from catalogue.screens.dialogs.form import MOST_MATCHES, Field, Filled, FormDialog, Match

SAID = ("title", "year", "series", "inventory_number", "medium")
_EDITION = re.compile(r"(?P<limit>\d+)\s*(?:\+\s*(?P<proofs>\d+)\s*(?:a\.?p\.?|e\.?a\.?|proofs?)?)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class PieceFacts:
    """A piece as its form shows it."""

    piece: Piece
    origins: dict[str, Origin]
    editions: tuple[Edition, ...]


@dataclass(frozen=True, slots=True)
class ScanFacts:
    """A scan as its form shows it; ``piece`` None if it is filed under none."""

    scan: Scan
    piece: Piece | None
    origins: dict[str, Origin]


# Completion


def artist_matches(db: Database, typed: str, _: Mapping[str, str]) -> list[Match]:
    """Artists whose names fit, and before them what was typed, as a new one, where no artist is called so."""
    matches = existing_artists(db, typed, _)
    if typed and pieces.artist_named(db, typed) is None:
        return [Match(typed, "a new artist"), *matches][:MOST_MATCHES]
    return matches


def existing_artists(db: Database, typed: str, _: Mapping[str, str]) -> list[Match]:
    """Artists whose names fit; one called exactly so comes first."""
    named = pieces.artist_named(db, typed) if typed else None
    matches = [Match(hit.name, counted(hit.pieces, "piece"), hit.id)
             for hit in search.search(db, typed, MOST_MATCHES).artists if named is None or hit.id != named.id]
    if named is not None:
        matches.insert(0,
                     Match(named.name, "" if fold_name(named.name) == fold_name(typed) else "same name", named.id))
    return matches


def piece_matches(db: Database, typed: str, texts: Mapping[str, str]) -> list[Match]:
    """Pieces whose titles fit, those of the artist in the form first; and what was typed, as a new one of theirs, where
    the artist has no piece called so."""
    if not typed:
        return []
    artist = texts.get("artist", "").strip()
    own = pieces.known_piece(db, artist, typed) if artist else None
    known = [piece for piece_id in pieces.titled(db, typed)[:MOST_MATCHES] if (piece := pieces.by_id(db, piece_id))]
    seen = {piece.id for piece in known}
    matches = [Match(p.title, ", ".join(filter(None, (p.artist, p.year))), p.id)
             for p in sorted(known, key=lambda piece: piece.id != own)]
    matches += [Match(hit.title, ", ".join(filter(None, (hit.artist, hit.year))), hit.id)
              for hit in search.search(db, typed, MOST_MATCHES).pieces if hit.id not in seen]
    if own is None:
        matches.insert(0, Match(typed, f"a new piece by {artist}" if artist else "a new piece"))
    return matches[:MOST_MATCHES]


def role_matches(_: Database, typed: str, __: Mapping[str, str]) -> list[Match]:
    """All roles where one is named, else those that begin so."""
    fitting = [role for role in ROLES if role.startswith(typed.casefold())]
    return [Match(role) for role in (ROLES if typed in ROLES else fitting)]


# The forms


def artist_form(artist: Artist, origins: Mapping[str, Origin]) -> FormDialog:
    """The form of one artist."""
    def origin(name: str) -> Origin:
        return Origin(STATED) if getattr(artist, name) else NONE

    fields = [Field("name", "Name", artist.name, origins.get("name", NONE)),
              Field("join", "Merge into", matches=existing_artists, only=True, hint="the spelling to keep"),
              *(Field(name, label, getattr(artist, name), origin(name), fixed="\n" in getattr(artist, name))
                for name, label in (("contact", "Contact"), ("terms", "Terms"), ("notes", "Notes")))]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        goal = filled.chosen.get("join")
        if goal is not None and goal.id == artist.id:
            raise ValueError("An artist cannot be merged with themselves")
        if "name" in filled.changed and not filled.changed["name"]:
            raise ValueError("An artist needs a name")
        facts: dict[str, str] = {name: filled.changed.get(name, "") for name in ("contact", "terms", "notes")
                                 if name in filled.changed or name in filled.given_back}
        name = "" if "name" in filled.given_back else filled.changed.get("name")
        return lambda db: correcting.correct_artist(db, artist.id, name=name, join_into=goal.id if goal else None,
                                                    facts=facts)

    return FormDialog(f"Artist: {artist.name}", fields, save,
                      clash="If they are the same artist, enter that name under Merge into.")


def piece_form(facts: PieceFacts) -> FormDialog:
    """The form of one piece."""
    piece, origins = facts.piece, facts.origins
    size = values.shown_size(piece.width_mm, piece.height_mm)
    whole = [known for known in facts.editions if known.scope == "all sizes" and not known.medium]
    several = len(facts.editions) > len(whole)
    fields = [
        Field("artist", "Artist", piece.artist, origins.get("artist", NONE), artist_matches, id=piece.artist_id),
        *(Field(name, label, getattr(piece, name), origins.get(name, NONE)) for name, label in zip(
            SAID, ("Title", "Year", "Series", "Inventory no", "Medium"), strict=True)),
        Field("size", "Size", size, origins.get("width_mm", NONE), hint="e.g. 60 x 80 cm"),
        Field("relief_mm", "Relief mm", f"{piece.relief_mm:g}" if piece.relief_mm else "",
              origins.get("relief_mm", NONE), hint="e.g. 1.5"),
        Field("edition", "Edition", "by size or medium, see below" if several else edition_text(whole[0]) if whole
              else "", Origin(STATED, "to change it: catalogue edition set" if several else "") if facts.editions
              else NONE, fixed=several, hint="e.g. 25, or 25 + 3 with proofs")]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        stated: dict[str, object] = {name: filled.changed[name] for name in SAID if name in filled.changed}
        stated |= dict.fromkeys(name for name in (*SAID, "relief_mm") if name in filled.given_back)
        if "artist" in filled.given_back:
            stated["artist_id"] = None
        if "size" in filled.changed or "size" in filled.given_back:
            stated["width_mm"], stated["height_mm"] = size_of(filled.changed.get("size", ""))
        if "relief_mm" in filled.changed:
            stated["relief_mm"] = values.margin_mm(filled.changed["relief_mm"]) or None
        edition = edition_of(filled.changed["edition"]) if "edition" in filled.changed else None
        artist = named_artist(filled)
        return lambda db: correcting.describe_pieces(db, [piece.id], stated, artist=artist, edition=edition)

    return FormDialog(f"Piece: {piece.title}, {piece.artist}", fields, save,
                      clash="If they are the same piece, mark both in Browse with Space and press m.")


def pieces_form(marked: Sequence[Piece]) -> FormDialog:
    """The form of several pieces: what is typed is stated of each."""
    fields = [Field("artist", "Artist", common([piece.artist for piece in marked]), matches=artist_matches,
                    hint="unchanged"),
              *(Field(name, label, common([getattr(piece, name) for piece in marked]), hint="unchanged")
                for name, label in (("year", "Year"), ("series", "Series"), ("medium", "Medium")))]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        stated = {name: filled.changed[name] for name in SAID if name in filled.changed}
        artist = named_artist(filled)
        return lambda db: correcting.describe_pieces(db, [piece.id for piece in marked], stated, artist=artist)

    return FormDialog(counted(len(marked), "piece"), fields, save,
                      clash="If they are the same piece, mark both in Browse with Space and press m.")


def scans_form(marked: Sequence[ScanFacts], name: str) -> FormDialog:
    """The form of one scan, called ``name``, or of several: what is typed is stated of each."""
    single = marked[0] if len(marked) == 1 else None
    role = common([facts.scan.role for facts in marked])
    artist = common([facts.piece.artist if facts.piece else "" for facts in marked])
    filed = {facts.piece.id: facts.piece for facts in marked if facts.piece}
    piece = next(iter(filed.values())) if len(filed) == 1 and all(facts.piece for facts in marked) else None
    several = "" if single else "unchanged"
    fields = [Field("role", "Role", role, single.origins.get("role", NONE) if single else NONE, role_matches, only=True,
                    hint=several),
              Field("artist", "Artist", artist, matches=artist_matches, hint=several,
                    id=piece.artist_id if piece else None),
              Field("piece", "Piece", piece.title if piece else "",
                    single.origins.get("piece", NONE) if single else NONE, piece_matches,
                    id=piece.id if piece else None, hint=several or "title of the piece it shows")]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        digests = [facts.scan.sha256 for facts in marked]
        title, chosen = filled.changed.get("piece"), filled.chosen.get("piece")
        if title == "" or filled.changed.get("artist") == "" or filled.changed.get("role") == "":
            raise ValueError("A field is empty: fill it in, or press Esc")
        new_piece, only_artist = None, None
        if title is not None and (chosen is None or chosen.id is None):
            if not filled.texts["artist"]:
                raise ValueError("A new piece needs an artist")
            new_piece = (filled.texts["artist"], title)
        elif title is None and "artist" in filled.changed:
            only_artist = named_artist(filled)
        piece_id = chosen.id if title is not None and chosen is not None else None
        return lambda db: correcting.describe_scans(
            db, digests, role=filled.changed.get("role"), piece_id=piece_id, new_piece=new_piece, artist=only_artist,
            to_guess=filled.given_back)

    return FormDialog(f"Scan: {name}" if single else counted(len(marked), "scan"), fields, save,
                      clash="Choose it from the list of matches.")


def new_piece_form(artist: str = "") -> FormDialog:
    """A piece that has no scan yet, by ``artist`` unless another is named."""
    fields = [Field("artist", "Artist", artist, matches=artist_matches), Field("title", "Title"), Field("year", "Year"),
              Field("medium", "Medium"), Field("size", "Size", hint="e.g. 60 x 80 cm"),
              Field("edition", "Edition", hint="e.g. 25, or 25 + 3 with proofs")]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        texts = filled.texts
        if not texts["artist"] or not texts["title"]:
            raise ValueError("A new piece needs an artist and a title")
        stated: dict[str, object] = {name: texts[name] for name in ("year", "medium") if texts[name]}
        if texts["size"]:
            stated["width_mm"], stated["height_mm"] = size_of(texts["size"])
        edition = edition_of(texts["edition"]) if texts["edition"] else None
        return lambda db: correcting.add_piece(db, texts["artist"], texts["title"], stated, edition=edition)

    return FormDialog("A new piece", fields, save, clash="Open it and correct it with e.")


def new_edition_form(piece: Piece, day_form: str) -> FormDialog:
    """An edition of a piece, of all sizes or of one; of a size that has one already its limit is changed."""
    fields = [Field("edition", "Edition", hint="e.g. 25, or 25 + 3 with proofs"),
              Field("size", "Only this size", hint="all sizes"), Field("medium", "Only this medium", hint="any medium")]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        if not filled.texts["edition"]:
            raise ValueError("Say how many prints the edition has: 25, or 25 + 3 with three proofs")
        limit, proofs = edition_of(filled.texts["edition"])
        width, height = values.size_mm(filled.texts["size"]) if filled.texts["size"] else (None, None)
        medium = filled.texts["medium"]
        return lambda db: open_edition(db, piece.id, limit, dates=day_form, proofs=proofs, width_mm=width,
                                       height_mm=height, medium=medium)

    return FormDialog(f"A new edition: {piece.title}, {piece.artist}", fields, save,
                      clash="Choose another size or medium.")


def common(texts: Sequence[str]) -> str:
    """The value all of them share, otherwise empty."""
    return texts[0] if texts and len(set(texts)) == 1 else ""


def named_artist(filled: Filled) -> str | None:
    """The artist named in a form, None if that was not changed. Raises ValueError for an empty name."""
    if "artist" not in filled.changed:
        return None
    if not filled.changed["artist"]:
        raise ValueError("An artist needs a name")
    return filled.changed["artist"]


def size_of(text: str) -> tuple[float | None, float | None]:
    """Width and height in mm; none where nothing is typed. Raises ValueError."""
    return values.size_mm(text) if text else (None, None)


def edition_text(edition: Edition) -> str:
    return f"{edition.size_limit}" + (f" + {edition.proofs}" if edition.proofs else "")


def edition_of(text: str) -> tuple[int, int]:
    """Limit and proofs. Raises ValueError."""
    match = _EDITION.fullmatch(text)
    if match is None:
        raise ValueError(f"{text!r} is not an edition: write 25, or 25 + 3 with three proofs" if text else
                         "An edition cannot be removed; it can be closed")
    return int(match["limit"]), int(match["proofs"] or 0)
