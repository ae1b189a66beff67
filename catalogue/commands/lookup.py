"""The one piece, artist or scan that a person's words mean."""

from catalogue.errors import Ambiguous, NotFound
from catalogue.ledger.editions import label
from catalogue.records import editions, pieces, scans
from catalogue.records.database import Database
from catalogue.records.pieces import Artist, Piece
from catalogue.records.scans import Scan
from catalogue.records.search import search

ID, TITLE = "id:", "title:"  # before a piece's number, or its title, where both could be meant
ID_DIGITS = 18  # SQLite's integers have 64 bits
DIGITS_LEAST = 4    # of a SHA-256, below which they are taken for a file's name alone


def find_piece(db: Database, words: str) -> Piece:
    """The one piece meant by its number, its title, or words; ``id:3`` and ``title:3`` say which.

    Raises NotFound, or Ambiguous with the pieces that fit.
    """
    meant = meant_pieces(db, words)
    if len(meant) == 1:
        return meant[0][1]
    if meant:
        listed = "; ".join(f"{typed} for {p.artist}: {p.title}" for typed, p in meant[:8])
        raise Ambiguous(f"{words!r} is the number of one piece and the title of another.", hint=f"Write {listed}.")
    if words.startswith(ID):
        raise NotFound(f"There is no piece number {words.removeprefix(ID)}.", hint="Try: catalogue find WORDS.")
    words = words.removeprefix(TITLE)
    fitting = pieces.matching(db, words) or [
        piece for hit in search(db, words, 20).pieces if (piece := pieces.by_id(db, hit.id))]
    if not fitting:
        raise NotFound(f"No piece matches {words!r}.", hint="Try: catalogue find WORDS.")
    if len(fitting) > 1:
        listed = "; ".join(f"{p.id} {p.artist}: {p.title}" for p in fitting[:8])
        raise Ambiguous(f"{len(fitting)} pieces match {words!r}.", hint=f"Give the number: {listed}.")
    return fitting[0]


def meant_pieces(db: Database, words: str) -> list[tuple[str, Piece]]:
    """Pieces that a number stands for, each with the way to say that it is meant: by its id, and by its title."""
    number = words.removeprefix(ID)
    if not (number.isascii() and number.isdigit() and len(number) <= ID_DIGITS):
        return []
    by_id = pieces.by_id(db, int(number))
    meant = [(f"{ID}{number}", by_id)] if by_id else []
    if number == words:
        meant += [(f"{ID}{piece.id}", piece) for piece_id in pieces.titled(db, words)
                  if (piece := pieces.by_id(db, piece_id)) and piece != by_id]
    return meant


def find_edition(db: Database, words: str) -> int:
    """The id of the edition meant: its number in the list of editions, or the piece that has one edition only.

    Raises NotFound, or Ambiguous with the piece's editions.
    """
    if words.isascii() and words.isdigit() and len(words) <= ID_DIGITS:
        return int(words)
    piece = find_piece(db, words)
    of_piece = editions.of_piece(db, piece.id)
    if not of_piece:
        raise NotFound(f"{piece.artist}: {piece.title} has no edition.", hint="Set one: catalogue edition set.")
    if len(of_piece) > 1:
        raise Ambiguous(f"{piece.artist}: {piece.title} has {len(of_piece)} editions.",
                        hint=f"Give the number: {'; '.join(f'{each.id} {label(each)}' for each in of_piece)}.")
    return of_piece[0].id


def find_artist(db: Database, words: str) -> Artist:
    """The one artist meant; raises NotFound, or Ambiguous with those who fit."""
    fitting = pieces.artists_matching(db, words) or [
        artist for hit in search(db, words, 20).artists if (artist := pieces.artist_by_id(db, hit.id))]
    if not fitting:
        raise NotFound(f"No artist matches {words!r}.", hint="Try: catalogue artist list.")
    if len(fitting) > 1:
        raise Ambiguous(f"{len(fitting)} artists match {words!r}.", hint="; ".join(a.name for a in fitting[:8]) + ".")
    return fitting[0]


def find_scan(db: Database, words: str) -> Scan:
    """The one scan meant by a file's path or bare name, or by the first digits of its SHA-256.

    Raises NotFound, or Ambiguous with the files or digests that fit.
    """
    digits = words.lower()
    is_digest = len(digits) >= DIGITS_LEAST and not set(digits) - set("0123456789abcdef")
    fitting = scans.starting_with(db, digits) if is_digest else []
    by_file = scans.in_files_called(db, words)
    matches = {scan.id: scan for scan in (*fitting, *(scan for _, scan in by_file))}
    if not matches:
        raise NotFound(f"No scan matches {words!r}.",
                       hint="Give a file's path as `catalogue show` prints it, or the first digits of its SHA-256.")
    if len(matches) > 1:
        named = [path for path, _ in by_file[:6]] or [scan.sha256[:16] for scan in fitting]
        raise Ambiguous(f"{len(matches)} scans match {words!r}.", hint="; ".join(named) + ".")
    return next(iter(matches.values()))


def scan_of_digest(db: Database, digits: str) -> Scan:
    """The one scan whose SHA-256 begins with these digits. Raises NotFound, Ambiguous."""
    matches = scans.starting_with(db, digits.lower())
    if not matches:
        raise NotFound(f"No scan's SHA-256 begins with {digits}.")
    if len(matches) > 1:
        raise Ambiguous(f"{len(matches)} scans begin with {digits}.", hint="Give more digits.")
    return matches[0]
