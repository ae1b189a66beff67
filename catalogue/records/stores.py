"""Store rows: the root folders that hold scans."""

from dataclasses import dataclass

from catalogue.errors import AlreadyExists, NotFound, Refused, required
from catalogue.records.files import NOT_READ_HERE
from catalogue.records.rows import Database, fetch, fetch_one, insert_row, now

KINDS = ("primary", "copy", "off-site")


@dataclass(frozen=True, slots=True)
class Store:
    id: int
    name: str
    root: str
    kind: str
    marker: str
    added: str
    one_reader: int
    forgotten: str | None


@dataclass(frozen=True, slots=True)
class Holding:
    """What one store holds, as last seen; ``unread``: files that were read on another disk, and not on this one."""

    files: int
    bytes: int
    missing: int
    oldest_check: str | None
    unread: int


def add(db: Database, name: str, root: str, kind: str, marker: str) -> Store:
    """A new store; one forgotten under the same marker is taken up again with its files."""
    known = fetch_one(db, Store, "SELECT * FROM store WHERE marker = ?", [marker])
    if known and known.forgotten is None:
        raise Refused(f"This folder is already the store {known.name!r}.", path=root)
    other = fetch_one(db, Store, "SELECT * FROM store WHERE name = ? AND marker <> ?", [name, marker])
    if other and other.forgotten is None:
        raise AlreadyExists(f"There is already a store called {name!r}.", hint="Choose another name.", path=root)
    if other:
        db.execute("UPDATE store SET name = ? WHERE id = ?", [f"{other.name} (retired, {other.id})", other.id])
    if known:
        db.execute("UPDATE store SET name = ?, root = ?, kind = ?, forgotten = NULL WHERE id = ?",
                   [name, root, kind, known.id])
        return by_name(db, name)
    insert_row(db, "store", {"name": name, "root": root, "kind": kind, "marker": marker, "added": now()})
    return by_name(db, name)


def listed(db: Database) -> list[Store]:
    """Stores in use, primary ones first: what is there names a piece better than a copy's folders do."""
    return fetch(db, Store, "SELECT * FROM store WHERE forgotten IS NULL ORDER BY kind <> 'primary', name")


def by_name(db: Database, name: str) -> Store:
    """The store called so; raises NotFound with the known names."""
    store = fetch_one(db, Store, "SELECT * FROM store WHERE name = ? AND forgotten IS NULL", [name])
    if store is None:
        known = ", ".join(s.name for s in listed(db)) or "none yet"
        raise NotFound(f"There is no store called {name!r}.", hint=f"Known stores: {known}.")
    return store


def by_id(db: Database, store_id: int) -> Store:
    """The store of that id. Raises NotFound."""
    return required(fetch_one(db, Store, "SELECT * FROM store WHERE id = ?", [store_id]),
                    f"There is no store number {store_id}.")


def move(db: Database, store_id: int, root: str) -> None:
    """Note the store's present mount point."""
    db.execute("UPDATE store SET root = ? WHERE id = ?", [root, store_id])


def forget(db: Database, store_id: int) -> None:
    """Retire a store: its findings are closed until it returns. Nothing on the disk is touched, and its rows are
    kept."""
    db.execute("UPDATE store SET forgotten = ? WHERE id = ?", [now(), store_id])


def set_one_reader(db: Database, store_id: int, one_reader: bool) -> None:
    """A spinning disk is read by one reader at a time."""
    db.execute("UPDATE store SET one_reader = ? WHERE id = ?", [int(one_reader), store_id])


def holding(db: Database, store_id: int) -> Holding:
    """Counts over the store's files."""
    row = fetch_one(db, Holding, """
        SELECT count(*) AS files, coalesce(sum(size), 0) AS bytes,
               coalesce(sum(state = 'missing'), 0) AS missing, min(coalesce(checked_at, read_at)) AS oldest_check,
               coalesce(sum(state = 'present' AND failure = ?), 0) AS unread
        FROM file WHERE store_id = ?""", [NOT_READ_HERE, store_id])
    return row or Holding(0, 0, 0, None, 0)
