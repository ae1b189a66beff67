"""What the archive must know after each step, as plain rules over plain values. It reads no file and no catalogue.

Contents are names: ``"p3"`` is whole picture 3, ``"cut p3"`` its first half, ``"flip p3"`` that picture with one byte
changed (it still decodes, for nothing in an uncompressed picture says so), ``"letter"`` no picture, ``"empty"`` no
byte.

The rules, and nothing else:

* known content stays until other content was read whole; an edit is content read whole of another size or time, but
  not where what was cut short has grown whole
* a look that did not give the known content is a failed look, repeated by the next index run
* a copy is a file that is there, whose last look did not fail, that has no open doubt, and whose content is whole
* findings are opened by what is seen, and closed only by a look that disproves them
* in a store that comes back, what is not the very file that was read is a failed look
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

SIGHT = frozenset({"missing", "moved", "vanished", "changing"})
DOUBTS = SIGHT | {"changed", "edited", "truncated", "unreadable", "damaged", "empty", "not a picture"}


def whole(content: str) -> bool:
    """Whether reading it gives a whole picture."""
    return content[0] == "p" or content.startswith("flip")


def size_class(content: str) -> int:
    """Order of sizes: all pictures are of one size."""
    return {"empty": 0, "letter": 1, "cut": 2}.get(content.split(maxsplit=1)[0], 3)


def guess(path: str) -> tuple[str, str] | None:
    """Artist and title by the folders, as the first place rule that fits such paths has it."""
    folders = path.split("/")[:-1]
    return (folders[0], folders[1]) if len(folders) > 1 else None


@dataclass(frozen=True)
class OnDisk:
    """``stamp`` stands for the modification time."""

    content: str
    stamp: int
    refused: bool = False


@dataclass(frozen=True)
class Known:
    """One file on record. ``content`` None: never read. ``number`` is its place in the order of first seeing, ``inode``
    what the system called the file that was read."""

    content: str | None
    size: int
    stamp: int
    number: int
    inode: int | None = None
    present: bool = True
    failed: bool = False
    accepted_edit: bool = False


@dataclass
class Place:
    """Open findings of one path: kinds, and for an edit that was read in the content before it."""

    kinds: set[str] = field(default_factory=set)
    former: str | None = None

    def close(self, kinds: frozenset[str] | set[str]) -> None:
        self.kinds -= kinds
        if "edited" not in self.kinds:
            self.former = None


@dataclass
class StoreModel:
    """One store: what lies on the disk, what is known of it, what is found wrong. ``here``: plugged in. ``inode_of``:
    what the system calls the file at a path now, None where there is none."""

    name: str
    kind: str
    inode_of: Callable[[str], int | None]
    disk: dict[str, OnDisk] = field(default_factory=dict)
    known: dict[str, Known] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    here: bool = True
    retired: bool = False
    guesses: dict[str, tuple[str, str] | None] = field(default_factory=dict)

    def place(self, path: str) -> Place:
        return self.places.setdefault(path, Place())

    def intact(self, path: str) -> bool:
        """The last look gave the content on record, and nothing speaks against it."""
        row = self.known.get(path)
        return row is not None and row.content is not None and row.present and not row.failed \
            and not self.place(path).kinds & DOUBTS

    def sound(self, path: str) -> bool:
        content = self.known[path].content if path in self.known else None
        return content is not None and whole(content) and self.intact(path)

    # -- looking -------------------------------------------------------------------------------------------------

    def index(self, numbers: Iterator[int], again: bool = False) -> None:
        if not self.here:
            return
        pending = []
        for path in sorted(self.known):
            if path not in self.disk:
                self.known[path] = replace(self.known[path], present=False)
        for path, lying in sorted(self.disk.items()):
            row = self.known.get(path)
            same = row is not None and (row.size, row.stamp) == (size_class(lying.content), lying.stamp)
            if row is not None and same and not row.failed and not again:
                if not row.present:
                    self.known[path] = replace(row, present=True)
                    self.place(path).close(SIGHT - {"changing"})
            else:
                if row is not None and not row.present:
                    self.known[path] = replace(row, present=True, failed=True)
                pending.append(path)
        for path in pending:
            self._read(path, self.disk[path], numbers)
        for path, row in self.known.items():
            if not row.present:
                self.place(path).kinds.add("missing")

    def _read(self, path: str, lying: OnDisk, numbers: Iterator[int]) -> None:
        row, place = self.known.get(path), self.place(path)
        size = size_class(lying.content)
        if lying.refused:
            if row is None:
                self.known[path] = Known(None, size, lying.stamp, next(numbers), failed=True)
            else:
                self.known[path] = replace(row, present=True, failed=True, accepted_edit=False)
            place.close(SIGHT)
            place.kinds.add("unreadable")
            return
        wrong = self._fault(lying.content)
        if row is not None and row.content is not None and row.content != lying.content:
            silent = (row.size, row.stamp) == (size, lying.stamp)
            pictureless = lying.content in ("letter", "empty")
            if silent or pictureless or (not whole(lying.content) and whole(row.content)):
                self.known[path] = replace(row, present=True, failed=True, accepted_edit=False)
                place.close(SIGHT | {"unreadable"})
                place.kinds.add("changed" if silent else wrong)
                return
        self._hold(path, lying, wrong, numbers)

    def _hold(self, path: str, lying: OnDisk, wrong: str, numbers: Iterator[int]) -> None:
        """The file holds this content from now on."""
        row, place = self.known.get(path), self.place(path)
        content = None if lying.content in ("letter", "empty") else lying.content
        edited, former = "edited" in place.kinds, place.former
        place.close(DOUBTS - {"edited"})
        if wrong:
            place.kinds.add(wrong)
        self.known[path] = Known(content, size_class(lying.content), lying.stamp, row.number if row else next(numbers),
                                 self.inode_of(path))
        if content is not None and self.guesses.setdefault(content, guess(path)) is None:
            self.guesses[content] = guess(path)
        before = row.content if row else None
        grown = before is not None and before.startswith("cut") and content is not None and whole(content)
        if before is not None and before != content and not grown:
            agreed = former or before
            if row is not None and row.accepted_edit:
                pass
            elif content == agreed:
                place.close({"edited"})
            else:
                place.kinds.add("edited")
                place.former = agreed
        elif edited and former in (None, content):
            place.close({"edited"})
        if content is not None and content != before:
            gone = [(r.number, p) for p, r in self.known.items()
                    if not r.present and r.content == content and p != path]
            if gone:
                old = min(gone)[1]
                del self.known[old]
                self.places.pop(old, None)

    @staticmethod
    def _fault(content: str) -> str:
        return {"empty": "empty", "letter": "not a picture", "cut": "truncated"}.get(content.split(maxsplit=1)[0], "")

    def audit(self) -> None:
        """Every file with content on record against its digest."""
        if not self.here:
            return
        for path, row in list(self.known.items()):
            if row.content is None:
                continue
            place, lying = self.place(path), self.disk.get(path)
            if lying is None:
                self.known[path] = replace(row, present=False)
                place.close({"vanished", "changing"})
                if "moved" not in place.kinds:
                    place.kinds.add("missing")
            elif not lying.refused and lying.content == row.content:
                self.known[path] = replace(row, stamp=lying.stamp, inode=self.inode_of(path), present=True,
                                           failed=False, accepted_edit=False)
                own = self._fault(row.content)
                read_in = {"edited"} if place.former is not None else set()
                place.close(DOUBTS - read_in - {own})
            else:
                self.known[path] = replace(row, present=True, failed=True, accepted_edit=False)
                kind = self._audited(row, lying)
                place.close(SIGHT if kind == "unreadable" else SIGHT | {"unreadable"})
                place.kinds.add(kind)
        self._follow_moves()

    @staticmethod
    def _audited(row: Known, lying: OnDisk) -> str:
        size = size_class(lying.content)
        if size == row.size and not lying.refused:
            return "changed" if lying.stamp == row.stamp else "edited"
        if lying.refused:
            return "unreadable"
        if size == 0:
            return "empty"
        # all these small pictures begin alike, so what is left of another one looks like what is left of this one
        cut = size < row.size and (lying.content.startswith("cut ") or lying.stamp == row.stamp)
        return "truncated" if cut else "edited"

    def come_back(self) -> None:
        """After it was retired, when anything may have been done to its files."""
        for path, row in self.known.items():
            inode = self.inode_of(path)
            if row.content is not None:
                self.known[path] = replace(row, inode=inode, failed=row.failed or inode is None or inode != row.inode)

    def _follow_moves(self) -> None:
        lost = {path for path, row in self.known.items() if not row.present and row.content is not None}
        for path, lying in sorted(self.disk.items()):
            if path in self.known or lying.refused:
                continue
            here = sorted(p for p in lost if self.known[p].content == lying.content)
            if here:
                lost.remove(here[0])
                self.place(here[0]).close({"missing"})
                self.place(here[0]).kinds.add("moved")
        for path in lost:
            if "moved" in self.place(path).kinds:
                self.place(path).close({"moved"})
                self.place(path).kinds.add("missing")


@dataclass
class Reference:
    """The stores together."""

    stores: dict[str, StoreModel]
    counted: int = 0
    guesses: dict[str, tuple[str, str] | None] = field(default_factory=dict)  # of every scan, in order of first seeing

    def __post_init__(self) -> None:
        for store in self.stores.values():
            store.guesses = self.guesses

    @property
    def in_use(self) -> list[StoreModel]:
        return [store for store in self.stores.values() if not store.retired]

    def seen_anywhere(self, content: str) -> bool:
        """Whether some file of it was there at the last look."""
        return any(row.content == content and row.present for store in self.in_use for row in store.known.values())

    def numbers(self) -> Iterator[int]:
        while True:
            self.counted += 1
            yield self.counted

    def copies(self, content: str) -> int:
        """How many stores have a sound file of it."""
        return sum(any(row.content == content and store.sound(path) for path, row in store.known.items())
                   for store in self.in_use)

    def holders(self, content: str, but: str = "") -> list[tuple[StoreModel, str]]:
        return [(store, path) for store in self.in_use if store.name != but
                for path, row in store.known.items() if row.content == content and store.intact(path)]

    def copied(self, target: str) -> dict[str, str]:
        """What a copy run has to bring to a store: content to the path it is given there."""
        held = {row.content for path, row in self.stores[target].known.items() if self.stores[target].intact(path)}
        wanted: dict[str, list[str]] = {}
        for store in self.in_use:
            for path, row in store.known.items():
                if store.kind == "primary" and store.name != target and row.content and store.intact(path) \
                        and row.content not in held:
                    wanted.setdefault(row.content, []).append(path)
        return {content: min(paths) for content, paths in wanted.items()}

    def bring(self, target: str, content: str, path: str, other: str) -> None:
        """One scan to a store: under ``path``, or under ``other`` where another picture has that name."""
        store = self.stores[target]
        for name in (path, other):
            lying = store.disk.get(name)
            if lying is not None and not lying.refused and lying.content == content:
                self._arrive(store, name, content, lying.stamp)
                return
            if lying is not None:
                row = store.known.get(name)
                if row is not None and row.content == content:
                    return  # the copy there is damaged: that is for a restore
                continue
            source = self._first_good(content, target)
            if source is not None:
                store.disk[name] = OnDisk(content, source.stamp)
                self._arrive(store, name, content, source.stamp)
            return

    def _first_good(self, content: str, target: str) -> OnDisk | None:
        """The first source that gives the content; those tried before it count no more. One at most is expected."""
        for store, path in self.holders(content, but=target):
            if not store.here:
                continue
            lying = store.disk.get(path)
            if lying is not None and not lying.refused and lying.content == content:
                return lying
            store.known[path] = replace(store.known[path], failed=True, accepted_edit=False)
        return None

    def _arrive(self, store: StoreModel, path: str, content: str, stamp: int) -> None:
        row = store.known.get(path)
        number = row.number if row else next(self.numbers())
        store.known[path] = Known(content, size_class(content), stamp, number, store.inode_of(path))
        store.place(path).close(DOUBTS)

    def restore(self, target: str, path: str, source: str) -> bool:
        """Put a good copy back. False where there is nothing to restore, or nothing to restore it from."""
        store, content = self.stores[target], self.stores[target].known[path].content
        lying = store.disk.get(path)
        if content is None or not store.here or not self.stores[source].here:
            return False
        if lying is not None and not lying.refused and lying.content == content:
            return False
        found = [p for s, p in self.holders(content) if s.name == source and (s.name, p) != (target, path)]
        if not found:
            return False
        at = self.stores[source].disk.get(found[0])
        if at is None or at.refused or at.content != content:
            row = self.stores[source].known[found[0]]
            self.stores[source].known[found[0]] = replace(row, failed=True, accepted_edit=False)
            return False
        store.disk[path] = OnDisk(content, at.stamp)
        self._arrive(store, path, content, at.stamp)
        return True

    def accept(self, name: str, path: str, kind: str) -> None:
        """A person says that an edit, or a loss, is as it should be."""
        store = self.stores[name]
        place = store.place(path)
        if kind == "missing":
            del store.known[path]
            store.places.pop(path, None)
            return
        if place.former is None:
            store.known[path] = replace(store.known[path], failed=True, accepted_edit=True)
        place.close({kind})
