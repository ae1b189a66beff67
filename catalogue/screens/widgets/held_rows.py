"""The rows that a table holds: which are marked, and which one has left the list while the cursor is on it."""

from collections.abc import Callable, Iterable, Sequence
from typing import Generic, TypeVar

from catalogue.errors import Refused

ROW_GONE = "That row is no longer in the list: another workstation or a job has changed it."
R = TypeVar("R")


def id_of(row: object) -> object:
    """The row itself."""
    return row


class HeldRows(Generic[R]):
    """``rows`` as they are drawn. Marks and expected removals go by identity: what a row is, however often it is read.

    A row that leaves the list while the cursor is on it stays among ``rows``, as ``departed``, until the cursor leaves
    it, so that no key meant for it acts on its neighbour. Marks outlast paging and reading the list again.
    """

    def __init__(self, identity: Callable[[R], object]) -> None:
        self.rows: list[R] = []
        self.identity = identity
        self.departed: R | None = None
        self._marks: dict[object, R] = {}       # in the order they were made
        self._expected: set[object] = set()     # what leaves the list because the person said so

    def set_rows(self, rows: Sequence[R]) -> None:
        """Hold these rows."""
        self.rows = list(rows)
        if not any(row is self.departed for row in self.rows):
            self.departed = None
        if self._marks:
            self._marks |= {mark: row for row in self.rows if (mark := self.identity(row)) in self._marks}

    # Marks

    @property
    def marked(self) -> list[R]:
        return list(self._marks.values())

    def is_marked(self, row: R) -> bool:
        return bool(self._marks) and self.identity(row) in self._marks

    def toggle_mark(self, row: R) -> None:
        identity = self.identity(row)
        if self._marks.pop(identity, None) is None:
            self._marks[identity] = row

    def unmark_all(self) -> None:
        self._marks.clear()

    # Rows that leave the list

    def present(self, row: R | None) -> R | None:
        """The row under the cursor. Raises Refused if it is drawn but has left the list."""
        if self.departed is not None:
            raise Refused(ROW_GONE, hint="Nothing was changed. Choose a row again.")
        return row

    def expect_removal(self, rows: Iterable[R]) -> None:
        """The person has dealt with these rows: when one leaves the list, the cursor moves to the next."""
        self._expected.update(map(self.identity, rows))

    def forget_expected(self) -> None:
        self._expected.clear()

    def position(self, row: R, rows: Sequence[R]) -> int | None:
        """Where a row stands among ``rows``, which were read again."""
        wanted = self.identity(row)
        return next((at for at, other in enumerate(rows) if self.identity(other) == wanted), None)

    def with_departed(self, rows: list[R], at: int, before: R) -> list[R]:
        """``rows`` with ``before``, the row under the cursor, put in at ``at`` where another workstation has removed
        it."""
        if self.identity(before) in self._expected or not rows:
            return rows
        self.departed = before
        return [*rows[:at], before, *rows[at:]]

    def drop_departed(self) -> int:
        """Drop the row that has left the list, once the cursor leaves it; returns its former position."""
        at = next(i for i, row in enumerate(self.rows) if row is self.departed)
        del self.rows[at]
        self.departed = None
        return at
