"""Counts for the preservation levels, and the answers people gave."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from catalogue.reading.notes import NEED_NO_PROFILE
from catalogue.records.copies import DOUBTS, Copies, of_masters
from catalogue.records.events import agent
from catalogue.records.rows import Database, fetch, fetch_int, fetch_text, now, save_row

_BAD = ", ".join(f"'{kind}'" for kind in DOUBTS)


@dataclass(frozen=True, slots=True)
class Facts:
    """Counts over the whole catalogue. Times are ISO 8601, "" if there is none."""

    stores: int
    off_site_stores: int
    masters: int
    in_two: int                # masters with sound files in at least two stores
    in_three: int
    on_one_disk: int           # those in two stores whose sound files all are on one device
    crowded: int               # those in three stores whose sound files are on fewer than three devices
    off_site: int
    files: int
    without_digest: int
    never_checked: int         # since they were read into the catalogue
    oldest_check: str
    broken: int                # open findings of damage or loss
    verified_copies: int
    events: int
    last_review: str
    in_store_manifests: int
    newest_manifest: str
    masters_without_piece: int
    masters_without_profile: int
    masters_without_names: int
    undecoded: int
    formats: dict[str, int]
    finished_audits: int
    recoveries: int


@dataclass(frozen=True, slots=True)
class Answer:
    """What a person said about a question: ``answer`` begins with ``yes`` or ``no``."""

    question: str
    answer: str
    given: str
    agent: str


def facts(db: Database, reviewed: str, masters: Sequence[Copies] | None = None) -> Facts:
    """Gather the facts; ``reviewed`` is how events of a review of the log begin, ``masters`` the copies of all masters
    where they are known already."""
    copies = of_masters(db) if masters is None else masters
    count, text = partial(fetch_int, db), partial(fetch_text, db)
    return Facts(
        stores=count("SELECT count(*) FROM store WHERE forgotten IS NULL"),
        off_site_stores=count("SELECT count(*) FROM store WHERE forgotten IS NULL AND kind = 'off-site'"),
        masters=len(copies), in_two=sum(c.stores >= 2 for c in copies), in_three=sum(c.stores >= 3 for c in copies),
        on_one_disk=sum(c.stores >= 2 > c.disks for c in copies),
        crowded=sum(c.stores >= 3 > c.disks for c in copies),
        off_site=sum(c.off_site >= 1 for c in copies),
        files=count(f"SELECT count(*) FROM {_FILES}"),
        without_digest=count(f"SELECT count(*) FROM {_FILES} WHERE f.scan_id IS NULL"),
        never_checked=count(f"""SELECT count(*) FROM {_FILES} WHERE f.scan_id IS NOT NULL
                            AND f.id NOT IN (SELECT file_id FROM fixity_turn)"""),
        oldest_check=text(f"SELECT min(coalesce(f.checked_at, f.read_at)) FROM {_FILES} WHERE f.scan_id IS NOT NULL"),
        broken=count(f"SELECT count(*) FROM finding WHERE resolved IS NULL AND kind IN ({_BAD})"),
        verified_copies=count("SELECT count(*) FROM event WHERE type IN ('replication', 'ingestion') AND sha256 <> ''"),
        events=count("SELECT count(*) FROM event"),
        last_review=text("SELECT max(at) FROM event WHERE type = 'validation' AND detail LIKE ? || '%'", [reviewed]),
        in_store_manifests=count("SELECT count(*) FROM manifest_export WHERE written IS NOT NULL"),
        newest_manifest=text("SELECT max(written) FROM manifest_export"),
        masters_without_piece=count("SELECT count(*) FROM scan WHERE role = 'master' AND piece_id IS NULL"),
        masters_without_profile=count("""SELECT count(*) FROM scan WHERE role = 'master' AND profile_digest = '' AND
            photometric NOT IN (SELECT value FROM json_each(?))""", [json.dumps(NEED_NO_PROFILE)]),
        masters_without_names=count("""SELECT count(*) FROM scan WHERE role = 'master' AND piece_id IS NULL
                                   AND (title = '' OR creator = '')"""),
        undecoded=count("""SELECT count(*) FROM finding WHERE resolved IS NULL
                       AND kind IN ('undecoded', 'reader crashed', 'damaged', 'not a picture', 'truncated')"""),
        formats={str(row[0]) or "unknown": int(row[1]) for row in db.execute(
            "SELECT format, count(*) FROM scan GROUP BY format ORDER BY count(*) DESC")},
        finished_audits=count("""SELECT count(*) FROM run
                             WHERE kind IN ('audit', 'spot check') AND outcome = 'finished'"""),
        recoveries=count("SELECT count(*) FROM event WHERE type = 'recovery' AND sha256 <> ''"))


_FILES = "file f JOIN store s ON s.id = f.store_id AND s.forgotten IS NULL"


def answers(db: Database) -> dict[str, Answer]:
    """Answers by question."""
    return {a.question: a for a in fetch(db, Answer, "SELECT * FROM answer")}


def save_answer(db: Database, question: str, answer: str) -> None:
    """Keep a person's answer to a question of the levels, in place of an earlier one."""
    save_row(db, "answer", {"question": question}, {"answer": answer, "given": now(), "agent": agent()})
