"""Why a file does not count as a copy, in words. Separate from records.copies, which start-up loads, because it
reads files and findings."""

from catalogue.records import files, findings
from catalogue.records.copies import DOUBTS, Holder
from catalogue.records.paths import display_path
from catalogue.records.rows import Database

_UNREAD = {files.UNREAD: "it has changed since it was read",
           files.NOT_READ_HERE: "it has not been read since its store moved to this disk"}


def doubts(db: Database, file_id: int, store_id: int, path: str) -> tuple[str, ...]:
    """Why a file is not intact: from its open findings, otherwise from the last failed read."""
    reasons = tuple(f"{f.kind}: {f.detail}" for f in findings.open_at(db, store_id, path, DOUBTS))
    if reasons:
        return reasons
    known = files.by_id(db, file_id)
    return (_UNREAD.get(known.failure if known is not None else "", "it could not be read the last time"),)


def why_not_intact(db: Database, holder: Holder) -> str:
    """``"nas: Ada/Harbour.tif is missing"``, or the doubts about it."""
    name = f"{holder.store}: {display_path(holder.path)}"
    if not holder.present:
        return f"{name} is missing"
    return f"{name} is in doubt ({'; '.join(doubts(db, holder.file_id, holder.store_id, holder.path))})"
