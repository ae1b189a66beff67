"""What was stated, as plain facts and the log of their changes; what artists, pieces, scans and prints follow from it.

A fact is ``(kind, id, name): value``; what nobody said is not there. Kinds are artist, piece, scan, pair, store,
edition, order, line, print and handover. A statement is the facts it changed, each with what it was before and after.

The rules, and nothing else:

* a statement changes what it says and nothing besides; an undoing puts back exactly that, or is refused
* it is refused where one of those facts was changed since, or another statement would be left without its ground
* of a piece or artist that a statement names, the names by which it was known then are kept, and a guess finds it so
* a scan is filed as a person said, else as its first path suggests, else where confirmed pairs, then sure pairs, tie it
* one number of an edition is one print at a time; free again only if it was never printed
* a line is collected once all its prints were handed over, an order once its lines are; in part neither is cancelled
"""

from collections.abc import Hashable, Iterator
from copy import copy
from dataclasses import dataclass, field
from typing import Any

Key = tuple[str, Any, str]
Names = tuple[str, str]
Label = int | str  # an artist: number of one spoken of, or the name that is guessed
PIECE_FACTS = ("artist", "title", "year", "notes", "width_mm", "current", "joined")
CARRIED = ("year", "width_mm", "notes", "current")


class RefusedByModel(Exception):
    """The rules do not allow it."""


@dataclass
class Stated:
    facts: dict[Key, Any] = field(default_factory=dict)
    log: dict[int, dict[Key, tuple[Any, Any]]] = field(default_factory=dict)
    guesses: dict[str, Names | None] = field(default_factory=dict)  # of every content that is a scan, in their order
    sure: set[frozenset[str]] = field(default_factory=set)          # pairs found to be alike beyond doubt
    pairs: set[frozenset[str]] = field(default_factory=set)         # all that were found
    moment: int = 0                                                 # of verdicts and prints: each has its own
    known_numbers: set[str] = field(default_factory=set)            # order numbers on paper
    once: dict[int, str] = field(default_factory=dict)              # by what name each artist was ever spoken of

    def trial(self) -> "Stated":
        other = copy(self)
        other.facts = dict(self.facts)
        return other

    def take(self, trial: "Stated", event: int | None) -> None:
        """What was tried holds, under the number of its event."""
        changed = {key: (self.facts.get(key), trial.facts.get(key)) for key in {**self.facts, **trial.facts}
                   if self.facts.get(key) != trial.facts.get(key)}
        self.facts, self.moment = trial.facts, trial.moment
        if event is not None:
            self.log[event] = changed
        else:
            assert not changed, f"stated and not logged: {changed}"

    def get(self, kind: str, key: Hashable, name: str) -> Any:
        return self.facts.get((kind, key, name))

    def put(self, kind: str, key: Hashable, **values: Any) -> None:
        for name, value in values.items():
            if (kind, name) == ("artist", "known") and value is not None:
                self.once[key] = value
            if value is None:
                self.facts.pop((kind, key, name), None)
            else:
                self.facts[kind, key, name] = value

    def ids(self, kind: str) -> list[Any]:
        return sorted({k[1] for k in self.facts if k[0] == kind})

    def row(self, kind: str, key: Hashable) -> dict[str, Any]:
        return {k[2]: value for k, value in self.facts.items() if k[:2] == (kind, key)}

    def judge(self, pair: frozenset[str], verdict: str | None) -> None:
        """A verdict is another than the same one given before: it has its own moment."""
        if verdict != self.get("pair", pair, "verdict"):
            self.moment += 1
            self.put("pair", pair, verdict=verdict, moment=self.moment if verdict else None)

    # -- undoing -------------------------------------------------------------------------------------------------

    def undo(self, event: int) -> None:
        changes = self.log[event]
        said = {key: change for key, change in changes.items() if key[2] != "known"}
        if any(self.facts.get(key) != after for key, (_, after) in said.items()):
            raise RefusedByModel("changed since")
        for (kind, key, name), (before, _) in said.items():
            self.put(kind, key, **{name: before})
        for (kind, key, _), (before, _) in sorted(changes.items() - said.items(), key=lambda c: c[0][0], reverse=True):
            if before is None and not self._still_known(kind, key, changes):  # pieces first: they refer to artists
                self.put(kind, key, known=None)
            elif before is not None and self.get(kind, key, "known") is None:
                self.put(kind, key, known=before)
        for kind, key, name in said:
            if (kind, name, self.get(kind, key, name)) == ("print", "state", "reserved"):
                self._keep_made(key)
        self._ground()

    def _keep_made(self, key: Any) -> None:
        """A print that later statements made, too, stays made; of a cancelled line none is only reserved."""
        line = self.get("print", key, "line")
        order = self.get("line", line, "order")
        if self.get("line", line, "cancelled") or self.get("order", order, "status") == "cancelled":
            raise RefusedByModel("cancelled since")
        numbers = {other[:3] for other in self.ids("print") if self.get("print", other, "line") == line}
        if line is not None and len(numbers) > self.get("line", line, "quantity"):
            raise RefusedByModel("fewer are wanted now")
        if self.get("order", order, "status") in ("printed", "collected") or any(
                key in self.get("handover", each, "prints") for each in self.handovers_of(line)):
            self.put("print", key, state="printed")

    def _still_known(self, kind: str, key: Any, changes: dict[Key, tuple[Any, Any]]) -> bool:
        if set(self.row(kind, key)) != {"known"}:
            return True
        if kind == "piece":
            return self.referred(key)
        if any(k[0] == "piece" and k[2] == "artist" and value == key for k, value in self.facts.items()):
            return True
        said = changes.get((kind, key, "name"))
        return said is not None and said[1] is not None and said[1] != changes[kind, key, "known"][1]

    def referred(self, piece: int) -> bool:
        return any(name in ("piece", "joined") and value == piece and kind in ("line", "edition", "scan", "piece")
                   for (kind, _, name), value in self.facts.items())

    def _ground(self) -> None:
        """Every statement has what it refers to."""
        def there(kind: str, key: Any) -> bool:
            return any(k[:2] == (kind, key) for k in self.facts)

        for kind, key, name in self.facts:
            onto, seen = key, set[Any]()
            while name == "joined" and (onto := self.get(kind, onto, "joined")) is not None:
                if onto in seen:
                    raise RefusedByModel("joined in a circle")
                seen.add(onto)
        for (kind, key, name), value in self.facts.items():
            if (kind, name) in (("line", "piece"), ("edition", "piece")) and self.get("piece", value, "joined"):
                raise RefusedByModel("the piece is another's part")
            if (kind, name) in (("line", "edition"), ("line", "order"), ("print", "line"), ("handover", "line")) \
                    and not there(name, value):
                raise RefusedByModel(f"{name} {value} is not there")
            if (kind, name) == ("line", "quantity") and value < self.handed(key):
                raise RefusedByModel("more were handed over")
            if (kind, name) == ("line", "repeats") and not there("line", value):
                raise RefusedByModel("the line it repeats is not there")
            if (kind, name) == ("print", "state"):
                edition, series, number, nth = key
                limit = self.get("edition", edition, "limit" if series == "number" else "proofs")
                if limit is None or number > limit:
                    raise RefusedByModel("beyond the edition")
                if nth > 1 and self.get("print", (edition, series, number, nth - 1), "state") != "destroyed":
                    raise RefusedByModel("a later print of the number is on record")

    # -- artists -------------------------------------------------------------------------------------------------

    def root(self, kind: str, key: Any) -> Any:
        while (onto := self.get(kind, key, "joined")) is not None:
            key = onto
        return key

    def artist_name(self, label: Label) -> str:
        if isinstance(label, str):
            return label
        return str(self.get("artist", label, "name") or self.get("artist", label, "known"))

    def _bearing(self, name: str) -> int | None:
        return next((a for a in self.ids("artist") if self.get("artist", a, "joined") is None
                     and self.artist_name(a) == name), None)

    def _known_as(self, name: str) -> int | None:
        known = [a for a in self.ids("artist") if self.get("artist", a, "known") == name]
        known.sort(key=lambda a: (self.get("artist", a, "joined") is None, a))
        return self.root("artist", known[0]) if known else None

    def guessed_artist(self, name: str) -> Label:
        """Whom a path means by a name."""
        known = self._known_as(name)
        bearing = self._bearing(name) if known is None else known
        return name if bearing is None else bearing

    def named_artist(self, name: str) -> Label | None:
        """Whom a person means by a name; None where there is nobody of it."""
        bearing = self._bearing(name)
        if bearing is not None:
            return bearing
        if any(artist == name for artist, _ in self.pieces()):
            return name
        return self._known_as(name)

    def keep_artist(self, number: int, name: str) -> None:
        if self.get("artist", number, "known") is None:
            self.put("artist", number, known=name)

    # -- pieces --------------------------------------------------------------------------------------------------

    def keep_piece(self, number: int, names: Names) -> None:
        if self.get("piece", number, "known") is None:
            led = [(self.get("artist", a, "joined") is not None, nth, a) for nth, guess in enumerate(
                self.guesses.values()) if guess and self.guessed_piece(guess) == names
                for a in self.ids("artist") if self.get("artist", a, "known") == guess[0]]
            known = self.get("artist", min(led)[2], "known") if led else self.known_artist(names[0])
            self.put("piece", number, known=(known, names[1]))

    def known_artist(self, name: str) -> str:
        """By what name guesses find the artist of a name."""
        number = self._bearing(name)
        return name if number is None else str(self.get("artist", number, "known"))

    def names(self, piece: int) -> Names:
        """Of a piece that a person has spoken of."""
        label = self.get("piece", piece, "artist")
        known = self.get("piece", piece, "known")
        if label is None:
            label = self.guessed_artist(known[0])
        elif isinstance(label, str):
            label = self.guessed_artist(label)
        elif self.get("artist", label, "known") is None:  # what was said of them was undone
            label = self.guessed_artist(self.once[label])
        else:
            label = self.root("artist", label)
        return self.artist_name(label), self.get("piece", piece, "title") or known[1]

    def spoken_of(self) -> list[int]:
        return [p for p in self.ids("piece") if self.get("piece", p, "joined") is None]

    def contradicts(self) -> bool:
        """Two pieces of one name, or two artists: which gives way is no matter of these rules."""
        names = [self.names(p) for p in self.spoken_of()]
        artists = [self.artist_name(a) for a in self.ids("artist") if self.get("artist", a, "joined") is None]
        return len(set(names)) < len(names) or len(set(artists)) < len(artists)

    def guessed_piece(self, guess: Names) -> Names:
        artist, title = guess
        label = self.guessed_artist(artist)
        fitting = [p for p in self.ids("piece") if self.get("piece", p, "known")[1] == title and (
            self.get("piece", p, "known")[0] == artist
            or self.guessed_artist(self.get("piece", p, "known")[0]) == label)]
        if fitting:
            best = min(fitting, key=lambda p: (self.get("piece", p, "known")[0] != artist, p))
            return self.names(self.root("piece", best))
        names = self.artist_name(label), title
        bore = [p for p in self.ids("piece") if self.get("piece", p, "joined") is not None and self.names(p) == names]
        if bore and all(self.names(p) != names for p in self.spoken_of()):
            return self.names(self.root("piece", min(bore)))
        return names

    def filed(self, content: str) -> Names | None:
        """By a person's word or a guess."""
        piece = self.get("scan", content, "piece")
        if piece is not None:
            return self.names(self.root("piece", piece))
        guess = self.guesses.get(content)
        return self.guessed_piece(guess) if guess else None

    def _tied(self, content: str, confirmed: bool) -> Iterator[str]:
        for pair in self.pairs:
            if content in pair:
                verdict = self.get("pair", pair, "verdict")
                if verdict == "confirmed" or (not confirmed and verdict is None and pair in self.sure):
                    yield next(iter(pair - {content}))

    def _near(self, content: str, confirmed: bool) -> tuple[set[Names], set[Names]]:
        """The pieces tied most closely, and all."""
        seen, ring, nearest, found = {content}, {content}, set[Names](), set[Names]()
        while ring:
            following = {other for one in ring for other in self._tied(one, confirmed)} - seen
            seen |= following
            at = {names for one in following if (names := self.filed(one))}
            nearest = nearest or at
            found |= at
            ring = {one for one in following if self.filed(one) is None}
        return nearest, found

    def places(self, content: str) -> set[Names | None]:
        """Where a scan may be filed: one place, but for a tie between confirmed pairs."""
        own = self.filed(content)
        if own is not None:
            return {own}
        nearest, _ = self._near(content, confirmed=True)
        if nearest:
            return set(nearest)
        _, found = self._near(content, confirmed=False)
        return set(found) if len(found) == 1 else {None}

    def pieces(self) -> set[Names]:
        """All there are."""
        return {self.names(p) for p in self.spoken_of()} | {
            names for content in self.guesses if (names := self.filed(content))}

    def piece_of(self, names: Names) -> int | None:
        return next((p for p in self.spoken_of() if self.names(p) == names), None)

    def fact(self, names: Names, name: str) -> Any:
        piece = self.piece_of(names)
        return None if piece is None else self.get("piece", piece, name)

    def role(self, content: str) -> str:
        return str(self.get("scan", content, "role") or "master")

    def join(self, keep: int, gone: int, gone_names: Names) -> None:
        """The other's facts go along: where both say something, the other's into the notes."""
        others = []
        for name in CARRIED:
            value, own = self.get("piece", gone, name), self.get("piece", keep, name)
            if name == "notes" or value in (None, "") or value == own:
                continue
            if own in (None, ""):
                self.put("piece", keep, **{name: value})
            else:
                words = {"current": "chosen master", "width_mm": "width"}.get(name, name)
                others.append((("year", "width_mm", "current").index(name),
                               f"{words} {value:g} mm" if isinstance(value, float) else f"{words} {value}"))
        own, its = self.get("piece", keep, "notes") or "", self.get("piece", gone, "notes") or ""
        said = f"From {': '.join(gone_names)}: {'; '.join(text for _, text in sorted(others))}." if others else ""
        notes = "\n".join(filter(None, [own, its if its != own else "", said]))
        if notes != own:
            self.put("piece", keep, notes=notes)
        self.put("piece", gone, joined=keep)
        for kind in ("line", "edition"):
            for one in self.ids(kind):
                if self.get(kind, one, "piece") == gone:
                    self.put(kind, one, piece=keep)

    def editions_of(self, piece: int | None) -> list[int]:
        return [e for e in self.ids("edition") if self.get("edition", e, "piece") == piece and piece is not None]

    # -- the ledger ----------------------------------------------------------------------------------------------

    def next_order(self) -> str:
        numbers = [*self.ids("order"), *self.known_numbers]
        return f"2026-{1 + max((int(n[5:]) for n in numbers), default=0):04d}"

    def prints(self, edition: int, series: str) -> dict[int, int]:
        """Every number that is not free, and how many prints of it there were."""
        found: dict[int, int] = {}
        for e, s, number, nth in self.ids("print"):
            if (e, s) == (edition, series):
                found[number] = max(nth, found.get(number, 0))
        return found

    def issue(self, edition: int, series: str, count: int, line: int, printed: bool) -> None:
        limit = self.get("edition", edition, "limit" if series == "number" else "proofs")
        out = self.prints(edition, series)
        free = [n for n in range(1, limit + 1) if n not in out][:count]
        if self.get("edition", edition, "closed") or len(free) < count:
            raise RefusedByModel("too few numbers left")
        for number in free:
            self._print(edition, series, number, 1, line, printed)

    def _print(self, edition: int, series: str, number: int, nth: int, line: int, printed: bool) -> None:
        self.moment += 1  # one that is issued again later is another
        self.put("print", (edition, series, number, nth), line=line, state="printed" if printed else "reserved",
                 day="", issued=self.moment)

    def replace(self, edition: int, series: str, number: int, line: int, printed: bool) -> None:
        nth = self.prints(edition, series).get(number, 0)
        if nth == 0 or self.get("print", (edition, series, number, nth), "state") != "destroyed":
            raise RefusedByModel("not destroyed")
        self._print(edition, series, number, nth + 1, line, printed)

    def destroy(self, edition: int, series: str, number: int, day: str) -> None:
        nth = self.prints(edition, series).get(number, 0)
        key = (edition, series, number, nth)
        if nth == 0 or self.get("print", key, "state") == "destroyed":
            raise RefusedByModel("no such print")
        self.put("print", key, state="destroyed", day=day)

    def lines_of(self, order: str) -> list[int]:
        return [line for line in self.ids("line") if self.get("line", line, "order") == order]

    def _move_prints(self, lines: list[int], status: str) -> None:
        for key in self.ids("print"):
            if self.get("print", key, "line") in lines and self.get("print", key, "state") == "reserved":
                if status == "cancelled":
                    self.put("print", key, line=None, state=None, day=None, issued=None)
                elif status in ("printed", "collected"):
                    self.put("print", key, state="printed")

    def set_status(self, order: str, status: str) -> None:
        if self.get("order", order, "status") == "cancelled" != status:
            raise RefusedByModel("a cancelled order stays so")
        if status == "cancelled":
            self._refuse_if_partly([line for line in self.lines_of(order) if self.line_status(line) != "cancelled"])
        self.put("order", order, status=status)
        self._move_prints([line for line in self.lines_of(order) if not self.get("line", line, "cancelled")], status)
        if self.order_status(order) != status:
            raise RefusedByModel("all was handed over")

    def _refuse_if_partly(self, lines: list[int]) -> None:
        counts = [(self.handed(line), self.get("line", line, "quantity"), self.line_status(line)) for line in lines]
        gone = sum(count if status == "collected" else handed for handed, count, status in counts)
        if 0 < gone < sum(count for _, count, _ in counts):
            raise RefusedByModel("some of it was handed over")

    def hand_over(self, line: int, count: int) -> None:
        """Of a numbered line the lowest numbers go; they are printed from then on."""
        whole, before = self.get("line", line, "quantity"), self.handovers_of(line)
        if self.line_status(line) in ("cancelled", "collected") or count > whole - self.handed(line):
            raise RefusedByModel("not so many are left")
        taken = sorted(key for key in self.ids("print") if self.get("print", key, "line") == line)
        went = {key for each in before for key in self.get("handover", each, "prints")}
        left = [key for key in taken if self.get("print", key, "state") != "destroyed" and key not in went]
        unnumbered = whole - len(taken) - self.handed(line) + len(went)
        if count > len(left) + unnumbered:
            raise RefusedByModel("not so many are in the shop")
        for key in left[:count]:
            self.put("print", key, state="printed")
        self.put("handover", 1 + max(self.ids("handover"), default=0), line=line, quantity=count,
                 prints=tuple(left[:count]))

    def handovers_of(self, line: int) -> list[int]:
        return [each for each in self.ids("handover") if self.get("handover", each, "line") == line]

    def handed(self, line: int) -> int:
        return sum(self.get("handover", each, "quantity") for each in self.handovers_of(line))

    def cancel_line(self, line: int) -> None:
        order = self.get("line", line, "order")
        if self.line_status(line) != "cancelled":
            self._refuse_if_partly([line])
        self.put("line", line, cancelled=True)
        self._move_prints([line], "cancelled")
        if self.get("order", order, "status") == "cancelled" or all(
                self.get("line", one, "cancelled") for one in self.lines_of(order)):
            self.set_status(order, "cancelled")

    def correct_line(self, line: int, piece: int, count: int) -> None:
        """Another piece or number of prints; numbers not printed yet follow."""
        was = self.get("line", line, "piece")
        made = [key for key in self.ids("print") if self.get("print", key, "line") == line]
        waits = self.line_status(line) in ("requested", "approved")
        if (piece, count) == (was, self.get("line", line, "quantity")):
            return
        if count < self.handed(line) or (piece != was and self.handed(line)):
            raise RefusedByModel("handed over")
        waiting = sorted(key for key in made if self.get("print", key, "state") == "reserved")
        if piece == was and len(waiting) < len(made) == self.get("line", line, "quantity") \
                and len(made) - len(waiting) <= count < len(made):
            for key in waiting[count - len(made) + len(waiting):]:
                self.put("print", key, line=None, state=None, day=None, issued=None)
            self.put("line", line, quantity=count)
            return
        if (piece != was and not waits) or any(
                self.get("print", key, "state") != "reserved" or key[3] > 1 for key in made):
            raise RefusedByModel("it was printed")
        edition = self.get("line", line, "edition")
        before, after = (min(self.editions_of(each), default=None) for each in (was, piece))
        self.put("line", line, piece=piece, quantity=count)
        if piece != was:
            self.put("line", line, repeats=None)
        if not waits:
            return
        if not made and before is not None:     # unnumbered on purpose
            self.put("line", line, edition=after if edition is not None else None)
            return
        self.put("line", line, edition=after)
        proof = bool(made) and made[0][1] == "proof"
        stays = sorted(made)[:count] if after == edition else []
        for key in set(made) - set(stays):
            self.put("print", key, line=None, state=None, day=None, issued=None)
        if after is not None:
            self.issue(after, "proof" if proof else "number", count - len(stays), line, False)

    def line_status(self, line: int) -> str:
        status = str(self.get("order", self.get("line", line, "order"), "status"))
        if self.get("line", line, "cancelled"):
            return "cancelled"
        whole = self.handed(line) >= self.get("line", line, "quantity")
        return "collected" if whole and status != "cancelled" else status

    def order_status(self, order: str) -> str:
        status = str(self.get("order", order, "status"))
        lines = [line for line in self.lines_of(order) if not self.get("line", line, "cancelled")]
        whole = bool(lines) and all(self.line_status(line) == "collected" for line in lines)
        return "collected" if whole else status
