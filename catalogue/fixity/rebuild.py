"""Rebuilding a lost catalogue from the stores and the checksum manifests.

The stores are indexed again. The manifests then say what each file was: one with other bytes was damaged while no
catalogue watched, and one that is gone is missing, although the new catalogue never saw it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from catalogue.errors import CatalogueError, NotFound, Refused
from catalogue.fixity import copies, log, manifest
from catalogue.fixity.log import Head
from catalogue.fixity.manifest import Manifest
from catalogue.fixity.profiles import bring_back_profiles
from catalogue.fixity.recovery import PutBack, finish, prepare, remove_staged, staging_path
from catalogue.indexing.locating import marker_facts, read_marker
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.indexing.workers import Executors, processes
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.records import events, files, findings, fixity, pieces, runs, scans, stores
from catalogue.records.backup import condition, hold
from catalogue.records.database import Database, open_database, recovered_path, transaction
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.untrusted import shell_word


@dataclass(frozen=True, slots=True)
class RebuiltStore:
    """One store read again. ``listed`` is how many files its manifest names; None if there is no manifest."""

    store: str
    files: int
    listed: int | None
    differ: int = 0
    missing: int = 0
    unlisted: int = 0


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """What a rebuild did; ``aside`` is where the former catalogue lies, None if there was none. ``put_back`` is what
    the journal and the old file gave of orders, editions and all else that was stated. ``passed_over``: manifests
    that could not be read, what of the closing steps failed, and profiles that are not back, in words."""

    stores: tuple[RebuiltStore, ...]
    aside: Path | None
    put_back: PutBack
    passed_over: tuple[str, ...] = ()


def rebuild(home: Home, roots: Sequence[Path], *, report: Report = ignore_progress,
            cancelled: Cancelled = never_cancelled, executors: Executors = processes) -> Rebuilt:
    """Make the catalogue again from the stores at ``roots``. Writes into no store.

    Raises Refused: there is a sound catalogue with files in it. NotFound: no root was given.
    """
    if not roots:
        raise NotFound("Name the stores' folders.", hint="catalogue recover --rebuild FOLDER…")
    present = condition(home.database)
    if not present.faults and present.files:
        raise Refused("There is already a sound catalogue here.", path=home.database,
                      hint="Rebuild into another folder: catalogue --catalogue FOLDER recover --rebuild …")
    home.folder.mkdir(parents=True, exist_ok=True)
    before = log.kept_head(home)
    if recovered_path(home.database).exists():
        finish(home)
    with hold(home.database):
        part = staging_path(home)
        remove_staged(part)
        try:
            open_database(part, detached=True).close()
            put_back = prepare(home, part, "the stores", report)
            part.replace(recovered_path(home.database))
        finally:
            remove_staged(part)
        aside = finish(home).aside
    db = open_database(home.database)
    try:
        kindless: list[str] = []
        known = [(store, _manifest_of(home, store, Path(store.root))) for store in _stores(db, home, roots, kindless)]
        index(db, home, [store for store, _ in known], report=report, cancelled=cancelled, executors=executors)
        compared = tuple(_compare_store(db, store, stored_manifest) for store, stored_manifest in known)
        with transaction(db):
            passed_over = [words for store, _ in known if (words := manifest.note_unreadable(
                db, store, manifest.of_store(Path(store.root))))]
        _note(db, len(compared), [before, *(stored_manifest.head for _, stored_manifest in known if stored_manifest)])
        trouble = [*_closing_trouble(db, home), *bring_back_profiles(db, home, home.backups)]
    except CatalogueError as error:
        whole = "" if put_back.lost else ", no event is lost"
        error.hint = f"The catalogue is back{whole}, but its stores were not all read and compared. {error.hint}" \
                     " Then run `catalogue index` and `catalogue audit`."
        raise
    finally:
        db.close()
    skipped = [f"{path.name} beside the catalogue was skipped. {listed.unreadable}"
                for path, listed in _all_beside(home) if listed.unreadable]
    return Rebuilt(compared, aside, put_back, (*passed_over, *skipped, *_kind_questions(kindless), *trouble))


def _kind_questions(names: Sequence[str]) -> list[str]:
    return [f"{name} is taken for a primary store, since nothing says what kind it was. If it is a copy or off-site:"
            f" catalogue store retire {shell_word(name)}, then catalogue store add {shell_word(name)} FOLDER"
            " --kind off-site (or copy)." for name in names] if len(names) > 1 else []


def _closing_trouble(db: Database, home: Home) -> list[str]:
    """Count copies and write the log's head. Failures are reported, not raised: the catalogue already exists."""
    trouble = []
    for failure, step in (("Copies could not be recounted", lambda: copies.review(db, home.settings)),
                       ("The end of the event log could not be noted",
                        lambda: log.keep_head(db, home, replace_lost=True))):
        try:
            step()
        except CatalogueError as error:
            trouble.append(f"{failure}. {error} Run `catalogue audit` once there is room.")
    return trouble


def _stores(db: Database, home: Home, roots: Sequence[Path], kindless: list[str]) -> list[Store]:
    """The stores at ``roots``; the names of stores of unknown kind are added to ``kindless``."""
    manifests = []
    for root in roots:
        listed = manifest.of_store(root)
        kind = listed.kind if listed else ""
        if not kind:
            beside = _beside(home, _marked_name(root) or root.name)
            kind = beside.kind if beside else ""
        name = _marked_name(root) or root.name
        marker = read_marker(root)
        stated = next((s for s in stores.listed(db) if s.marker == marker), None)  # put back from the journal
        if stated is not None:
            with transaction(db):
                stores.move(db, stated.id, str(root))
            manifests.append(stores.by_id(db, stated.id))
            continue
        if kind not in stores.KINDS:
            kindless.append(name)
        manifests.append(add_store(db, name, root, kind if kind in stores.KINDS else "primary", consent=False))
    return manifests


def _marked_name(root: Path) -> str:
    return marker_facts(root).get("name", "")  # without a marker the folder's name will do


def _manifest_of(home: Home, store: Store, root: Path) -> Manifest | None:
    """The store's own manifest, else the one kept beside the catalogue; the one of more events where there are both."""
    candidates = [m for m in (manifest.of_store(root), _beside(home, store.name)) if m and not m.unreadable]
    return max(candidates, key=lambda m: m.head.id if m.head else 0, default=None)


def _beside(home: Home, name: str) -> Manifest | None:
    return next((listed for _, listed in _all_beside(home) if listed.store == name), None)


def _all_beside(home: Home) -> Iterator[tuple[Path, Manifest]]:
    for path in sorted((home.folder / "manifests").glob("*.sha256")):
        if listed := manifest.read_if_there(path):
            yield path, listed


def _compare_store(db: Database, store: Store, listed: Manifest | None) -> RebuiltStore:
    held = {row[0]: row[4] for row in files.known(db, store.id)}
    if listed and listed.faults:
        count = len(listed.faults)
        with transaction(db):
            findings.record(db, manifest.UNUSABLE, f"{count} {'line' if count == 1 else 'lines'} of the checksum "
                            f"manifest cannot be used: {'; '.join(listed.faults[:5])}", store_id=store.id,
                            path=manifest.NAME, hint="Check it, and who can write to this disk.")
    if listed is None:
        return RebuiltStore(store.name, len(held), None)
    differ = missing = 0
    with transaction(db):
        run_id = runs.start(db, "rebuild", store.id)
        for path, sha256 in listed.digests.items():
            file = files.by_id(db, held[path]) if path in held else None
            scan = scans.by_id(db, file.scan_id) if file and file.scan_id else None
            if scan and scan.sha256 == sha256:
                continue
            # a copy in another store may hold what this file was: then it can be restored
            true_scan = scans.by_digest(db, sha256)
            if file is None:
                missing += 1
                file_id = files.save(db, store.id, path, true_scan.bytes if true_scan else 0, 0,
                                     true_scan.id if true_scan else None, verified=False)
                files.mark_missing(db, [file_id])
                kind, detail = "missing", "the checksum manifest lists it"
            else:
                differ += 1
                file_id = file.id
                if true_scan:
                    files.save(db, store.id, path, file.size, file.mtime_ns, true_scan.id, verified=False)
                    _drop(db, file.scan_id)
                kind, detail = "changed", "its bytes are not those of the checksum manifest"
            findings.record(db, kind, detail, store_id=store.id, path=path, file_id=file_id,
                            scan_id=true_scan.id if true_scan else None,
                            hint="Restore it from a good copy." if true_scan else "Look for another copy.")
            events.append(db, "fixity check", "fail", store=store.name, path=path, sha256=sha256, detail=detail)
        runs.end(db, run_id, "finished", {"listed": len(listed.digests), "differ": differ, "missing": missing})
    return RebuiltStore(store.name, len(held), len(listed.digests), differ, missing,
                        len(held.keys() - listed.digests.keys()))


def _drop(db: Database, scan_id: int | None) -> None:
    """Drop the scan recorded for the damaged bytes."""
    piece_id = fixity.drop_fileless_scan(db, scan_id) if scan_id else None
    if piece_id is not None:
        pieces.propose_current(db, piece_id)


def _note(db: Database, count: int, heads: Sequence[Head | None]) -> None:
    last = max((h for h in heads if h), key=lambda h: h.id, default=None)
    ended = f"; the former event log reached event {last.id} with chain {last.chain}" if last else ""
    with transaction(db):
        events.append(db, "recovery", "success", detail=f"catalogue rebuilt from {count} stores{ended}")
