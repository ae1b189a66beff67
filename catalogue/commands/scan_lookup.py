"""The one scan that a person's words mean."""

from catalogue.errors import Ambiguous, NotFound
from catalogue.records import scans
from catalogue.records.database import Database
from catalogue.records.scans import Scan

DIGITS_LEAST = 4    # digits of a SHA-256; fewer are only looked up as a file's name


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
