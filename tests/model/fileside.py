"""The real services over real small files, driven beside :mod:`reference` and compared with it after every step.

To add rules for another part of the archive (statements, orders), write a mixin with its own part of the reference and
its own ``@invariant``, and join it with :class:`FileRules` in the machine that the test and the script run.
"""

import builtins
import errno
import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import tifffile
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from reference import OnDisk, Reference, StoreModel

from catalogue.errors import CatalogueError
from catalogue.fixity import copies as copying
from catalogue.fixity import restore
from catalogue.fixity.advice import accept
from catalogue.fixity.audit import audit
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.records import copies, files, findings, fixity, scans, stores
from catalogue.records.database import open_database
from catalogue.records.fixity import wanted_by
from catalogue.settings import Home, Settings

STORES = {"main": "primary", "nas": "copy"}
PATHS = ("Ada/Harbour/a.tif", "Ada/Harbour/b.tif", "Ada/Quay/a.tif", "Ben/Boats/c.tif", "loose.tif")
LOOSE, LOOSE_PICTURE = "loose.tif", "p5"  # this picture alone lies there, and nowhere else: no rule says what it is
PICTURES = 5
SECOND = 1_000_000_000

DEEDS = ("edit", "empty", "letter", "cut", "cut keeping its time", "flip", "flip", "touch", "move", "move", "clone",
         "delete", "delete", "refuse", "allow")

a_number = st.integers(0, 59)
a_store = st.sampled_from(sorted(STORES))
a_path = st.sampled_from(PATHS)
a_picture = st.integers(1, PICTURES).map(lambda number: f"p{number}")


def threads(workers: int) -> Executor:
    """Reading in this process, one file after another in their order."""
    return ThreadPoolExecutor(min(workers, 1))


def _pictures() -> dict[str, bytes]:
    """Every content a file can have, by its name in the reference."""
    made = {"empty": b"", "letter": b"Dear printer, this is no picture."}
    with tempfile.TemporaryDirectory() as folder:
        for number in range(1, PICTURES + 1):
            pixels = np.random.default_rng(number).integers(0, 255, (24, 32, 3), dtype=np.uint8)
            tifffile.imwrite(Path(folder) / "p.tif", pixels, photometric="rgb", metadata=None, rowsperstrip=4)
            data = (Path(folder) / "p.tif").read_bytes()
            made[f"p{number}"] = data
            made[f"flip p{number}"] = data[:-5] + bytes([data[-5] ^ 1]) + data[-4:]
            made[f"cut p{number}"] = data[:len(data) // 2]
    return made


def fits(path: str, content: str) -> bool:
    """Whether a content may lie at a path."""
    return content[0] in "le" or (path == LOOSE) == content.endswith(LOOSE_PICTURE)


CONTENTS = _pictures()
DIGESTS = {name: hashlib.sha256(data).hexdigest() for name, data in CONTENTS.items()}
NAMES = {sha256: name for name, sha256 in DIGESTS.items()}


class FileRules(RuleBasedStateMachine):
    """What may happen to files, how they may be looked at, and what must then be known."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="archive-model-"))
        self.home = Home(self.folder / "home", Settings(place_rules=("{artist}/{piece}/**/*",)))
        self.db = open_database(self.home.database)
        self.reference = Reference({name: StoreModel(name, kind, partial(self.inode_of, name))
                                    for name, kind in STORES.items()})
        self.stamp = 1_700_000_000
        for name, kind in STORES.items():
            (self.folder / name).mkdir()
            add_store(self.db, name, self.folder / name, kind, consent=True)
        for path, content in zip(PATHS, ("p1", "p2", "p3"), strict=False):
            self.put("main", path, content)
        self.look("main", "index")
        self.copy()

    def teardown(self) -> None:
        if hasattr(self, "folder"):
            self.db.close()
            shutil.rmtree(self.folder)

    # -- the disk ------------------------------------------------------------------------------------------------

    def at(self, store: str, path: str) -> Path:
        model = self.reference.stores[store]
        return self.folder / (store if model.here else f"{store} away") / path

    def inode_of(self, store: str, path: str) -> int | None:
        place = self.at(store, path)
        return place.stat().st_ino if place.exists() else None

    def put(self, store: str, path: str, content: str, stamp: int | None = None) -> None:
        """A new stamp unless one is given."""
        if stamp is None:
            self.stamp += 10
            stamp = self.stamp
        place = self.at(store, path)
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(CONTENTS[content])
        os.utime(place, ns=(stamp * SECOND, stamp * SECOND))
        self.reference.stores[store].disk[path] = OnDisk(content, stamp)

    def lying(self, store: str, path: str) -> OnDisk | None:
        return self.reference.stores[store].disk.get(path)

    def some_file(self, number: int) -> tuple[str, str] | None:
        """One of the files that lie anywhere, the ``number``-th so to speak."""
        lying = [(name, path) for name, store in sorted(self.reference.stores.items()) for path in sorted(store.disk)]
        return lying[number % len(lying)] if lying else None

    @rule(store=a_store, path=a_path, content=a_picture)
    def add_or_edit(self, store: str, path: str, content: str) -> None:
        self.put(store, LOOSE if content == LOOSE_PICTURE else path if path != LOOSE else PATHS[0], content)

    @rule(number=a_number, deed=st.sampled_from(DEEDS), onto=a_path, content=a_picture)
    def change(self, number: int, deed: str, onto: str, content: str) -> None:
        """Something happens to a file that is there."""
        chosen = self.some_file(number)
        if chosen is None:
            return
        store, path = chosen
        model, lying = self.reference.stores[store], self.reference.stores[store].disk[path]
        match deed:
            case "edit" if fits(path, content):
                self.put(store, path, content)
            case "empty" | "letter":
                self.put(store, path, deed)
            case "cut" | "cut keeping its time" | "flip" if lying.content[0] == "p":
                new = f"{deed.split(maxsplit=1)[0]} {lying.content}"
                self.put(store, path, new, None if deed == "cut" else lying.stamp)
            case "touch":
                self.put(store, path, lying.content)
            case "move" if path != onto and fits(onto, lying.content):
                self.at(store, onto).parent.mkdir(parents=True, exist_ok=True)
                self.at(store, path).replace(self.at(store, onto))
                del model.disk[path]
                model.disk[onto] = lying
            case "clone" if path != onto and fits(onto, lying.content):
                self.put(store, onto, lying.content, lying.stamp)
            case "delete":
                self.at(store, path).unlink()
                del model.disk[path]
            case "refuse" | "allow":
                model.disk[path] = OnDisk(lying.content, lying.stamp, deed == "refuse")

    @rule(store=a_store, wrong=st.booleans())
    def plug_or_unplug(self, store: str, wrong: bool) -> None:
        """A disk goes, perhaps with another in its place, or comes back."""
        model = self.reference.stores[store]
        root, away = self.folder / store, self.folder / f"{store} away"
        if model.here:
            root.rename(away)
            if wrong:
                root.mkdir()
                (root / "another.tif").write_bytes(CONTENTS["p1"])
        else:
            shutil.rmtree(root, ignore_errors=True)
            away.rename(root)
        model.here = not model.here

    # -- looking -------------------------------------------------------------------------------------------------

    @contextmanager
    def refusing(self) -> Iterator[None]:
        """Opening what the reference calls refused fails: made here, for a superuser may open anything."""
        refused = {str(self.at(name, path)) for name, store in self.reference.stores.items()
                   for path, lying in store.disk.items() if lying.refused}
        stats = {(s.st_dev, s.st_ino) for s in map(os.stat, refused)}

        def guarded(real: Callable[..., Any]) -> Callable[..., Any]:
            def opening(file: Any, *given: Any, **named: Any) -> Any:
                if stats and isinstance(file, str | Path) and self._is(file, named.get("dir_fd"), stats):
                    raise PermissionError(errno.EACCES, "Permission denied", str(file))
                return real(file, *given, **named)

            return opening

        descriptors = guarded(os.open)
        with mock.patch.object(builtins, "open", guarded(builtins.open)), mock.patch.object(os, "open", descriptors), \
                mock.patch.object(os, "supports_dir_fd", os.supports_dir_fd | {descriptors}):
            yield

    @staticmethod
    def _is(file: str | Path, folder: int | None, refused: set[tuple[int, int]]) -> bool:
        try:
            found = os.stat(file, dir_fd=folder)
        except OSError:
            return False
        return (found.st_dev, found.st_ino) in refused

    @rule(store=a_store, how=st.sampled_from(["index", "index --again", "audit"]))
    def look(self, store: str, how: str) -> None:
        if self.reference.stores[store].retired:
            return
        known = stores.by_name(self.db, store)
        with self.refusing():
            if how == "audit":
                audit(self.db, self.home, [known])
            else:
                index(self.db, self.home, [known], workers=1, again=how != "index", executors=threads)
        if how == "audit":
            self.reference.stores[store].audit()
        else:
            self.reference.stores[store].index(self.reference.numbers(), again=how != "index")

    @rule(how=st.sampled_from(["index", "index --again", "audit"]))
    def look_at_all(self, how: str) -> None:
        for store in STORES:
            self.look(store, how)

    def _unambiguous(self, content: str) -> bool:
        """One file at most holds it in each store: which of two is tried first is no matter of the rules."""
        return all(sum(row.content == content for row in store.known.values()) <= 1
                   for store in self.reference.stores.values())

    @precondition(lambda self: all(store.here and not store.retired for store in self.reference.stores.values()))
    @rule()
    def copy_to_nas(self) -> None:
        self.copy()

    def copy(self) -> None:
        wanted = self.reference.copied("nas")
        if not all(self._unambiguous(content) for content in wanted):
            return
        target = stores.by_name(self.db, "nas")
        planned = wanted_by(self.db, target)
        assert {NAMES[w.sha256]: w.path for w in planned} == wanted
        with self.refusing():
            copying.copy_to(self.db, self.home, target, planned)
        for content, path in sorted(wanted.items(), key=lambda item: item[1]):
            sha256 = hashlib.sha256(CONTENTS[content]).hexdigest()
            self.reference.bring("nas", content, path, f"{path.removesuffix('.tif')}.{sha256[:8]}.tif")

    @rule(number=a_number)
    def restore(self, number: int) -> None:
        """A file that is not sound, where there is one."""
        if len(self.reference.in_use) < len(STORES):
            return
        known = [(name, path) for name, store in sorted(self.reference.stores.items()) for path in sorted(store.known)]
        bad = [(name, path) for name, path in known if not self.reference.stores[name].sound(path)] or known
        if not bad:
            return
        store, path = bad[number % len(bad)]
        source = next(name for name in STORES if name != store)
        row = self.reference.stores[store].known.get(path)
        if row is None or (row.content is not None and not self._unambiguous(row.content)):
            return
        file = files.by_path(self.db, stores.by_name(self.db, store).id, path)
        assert file is not None
        done = True
        with self.refusing():
            try:
                restore.restore(self.db, self.home.settings,
                                restore.plan(self.db, file.id, stores.by_name(self.db, source)))
            except CatalogueError as error:
                assert row.content is None or "no digest" not in str(error), "a known digest was forgotten"
                done = False
        assert self.reference.restore(store, path, source) == done

    @rule(number=a_number)
    def accept(self, number: int) -> None:
        open_ones = [(name, path, kind) for name, store in sorted(self.reference.stores.items()) if not store.retired
                     for path, place in sorted(store.places.items()) for kind in ("edited", "missing")
                     if kind in place.kinds]
        if not open_ones:
            return
        store, path, kind = open_ones[number % len(open_ones)]
        found = next((f for f in findings.open_at(self.db, stores.by_name(self.db, store).id, path)
                      if f.kind == kind), None)
        if found is not None:  # else it is another of several lost files of one content that was found moved
            accept(self.db, self.home.settings, found.id, "as it should be")
            self.reference.accept(store, path, kind)

    # -- comparing -----------------------------------------------------------------------------------------------

    def _content(self, scan_id: int | None) -> str | None:
        scan = scans.by_id(self.db, scan_id) if scan_id else None
        return NAMES[scan.sha256] if scan else None

    @invariant()
    def known_contents_agree(self) -> None:
        if not hasattr(self, "db"):
            return
        for model in self.reference.in_use:
            store = stores.by_name(self.db, model.name)
            paths = [row[0] for row in files.known(self.db, store.id)]
            rows = {path: file for path in paths if (file := files.by_path(self.db, store.id, path))}
            said = {path: (self._content(file.scan_id), file.state == "present", file.failed_at is not None)
                    for path, file in rows.items()}
            assert said == {path: (row.content, row.present, row.failed) for path, row in model.known.items()}
            listed = {row[0]: NAMES[row[1]] for row in fixity.manifest_rows(self.db, store.id)}
            assert listed == {path: row.content for path, row in model.known.items() if row.content is not None}

    @invariant()
    def findings_agree(self) -> None:
        if not hasattr(self, "db"):
            return
        for model in self.reference.in_use:
            store = stores.by_name(self.db, model.name)
            said: dict[str, set[str]] = {}
            for finding in findings.list_open(self.db, store_id=store.id):
                if finding.path and finding.kind != "no profile":
                    said.setdefault(finding.path, set()).add(finding.kind)
            # which of two lost files of one content a file found is, is no matter of the rules
            expected = {path: place.kinds for path, place in model.places.items() if place.kinds}
            assert {p: _gone(k) for p, k in said.items()} == {p: _gone(k) for p, k in expected.items()}

    @invariant()
    def copies_agree(self) -> None:
        if not hasattr(self, "db"):
            return
        known = {NAMES[row[0]]: row[1] for row in self.db.execute("SELECT sha256, id FROM scan")}
        for content in CONTENTS:
            counted = copies.of_scan(self.db, known[content]).stores if content in known else 0
            assert counted == self.reference.copies(content), (content, counted)


def _gone(kinds: set[str]) -> set[str]:
    return {"missing" if kind == "moved" else kind for kind in kinds}
