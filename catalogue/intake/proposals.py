"""What intake proposes for a folder of new scans: what each one is, whose, where it goes, and the open questions."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import count
from pathlib import Path

from catalogue.errors import CatalogueError, InsideStore
from catalogue.filing.model import Guessed
from catalogue.indexing.locating import locate_store, offline
from catalogue.indexing.naming import role_of
from catalogue.intake import guessing
from catalogue.intake.arrivals import INLINE_BYTES, Arrival, find_files, read_arrivals
from catalogue.intake.capture import initial_notes
from catalogue.intake.covering import count_warning, cover_of
from catalogue.intake.grouping import Group, grouped
from catalogue.intake.guessing import Likeness, SimilarScan
from catalogue.intake.mosaic import TileMap
from catalogue.intake.overlap import Views
from catalogue.intake.targets import FileNaming, choose_targets
from catalogue.progress import Cancelled, Report, ignore_progress, never_cancelled
from catalogue.reading.model import Reading
from catalogue.records import files, pieces, scans, stores
from catalogue.records.database import Database
from catalogue.records.paths import display_path
from catalogue.records.stores import Store
from catalogue.settings import Home
from catalogue.storage.identity import inside

WHICH_ARTIST, WHICH_TITLE = "Who is the artist?", "What is its title?"
SURE = 0.75  # below it a person is asked


class Kind(StrEnum):
    """What a group of new scans is."""

    HELD = "already held"
    HELD_ELSEWHERE = "held, but not in this store"
    SAME_PICTURE = "same picture, other metadata"
    RESCAN = "re-scan"
    TILES = "tiles"
    TILES_AND_MASTER = "tiles and their stitched master"
    STITCHED = "stitched master of held tiles"
    MASTER = "new master"
    OTHER = "print file or reference"
    UNFIT = "cannot be imported"


@dataclass(frozen=True, slots=True)
class Item:
    """One file of a proposal; ``target`` is its path in the store, empty if it is not taken."""

    arrival: Arrival
    role: str
    number: int = 0
    target: str = ""


@dataclass(frozen=True, slots=True)
class Proposal:
    """One original's new scans. ``questions`` must be answered before it is imported; ``warnings`` need not."""

    kind: Kind
    items: tuple[Item, ...]
    artist: Guessed
    piece: Guessed
    piece_id: int | None = None
    year: str = ""
    capture: tuple[tuple[str, str], ...] = ()
    take: bool = True
    confirmed: bool = False
    reasons: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    tiles: TileMap | None = None  # in their stitched master, or on each other

    @property
    def map(self) -> str:
        """The tiles' places drawn for the terminal; "" if none are known."""
        return self.tiles.drawn() if self.tiles else ""

    @property
    def questions(self) -> tuple[str, ...]:
        """The questions only a person can answer."""
        if not self.take:
            return ()
        asked = []
        if not self.artist.value:
            asked.append(WHICH_ARTIST)
        if not self.piece.value:
            asked.append(WHICH_TITLE)
        if self.confirmed:
            return tuple(asked)
        if self.artist.value and self.artist.certainty < SURE:
            asked.append(f"Is it by {self.artist.value}? ({self.artist.reason})")
        if self.piece.value and self.piece.certainty < SURE:
            asked.append(f"Is it {self.piece.value!r}? ({self.piece.reason})")
        return (*asked, *self.doubts)

    @property
    def ready(self) -> bool:
        return self.take and not self.questions

    @property
    def size(self) -> int:
        return sum(item.arrival.reading.size for item in self.items)


@dataclass(frozen=True, slots=True)
class Plan:
    """An intake as proposed. Frozen: :func:`answered` gives a new one with the names worked out again."""

    folder: Path
    store_id: int
    store: str
    root: Path
    proposals: tuple[Proposal, ...]
    obstacles: tuple[str, ...] = ()

    @property
    def ready(self) -> bool:
        return all(p.ready for p in self.proposals if p.take)


def propose(db: Database, home: Home, folder: Path, store: Store, *, likeness: Likeness | None = None,
            known: Mapping[Path, Reading] | None = None, inline_bytes: int = INLINE_BYTES,
            report: Report = ignore_progress, cancelled: Cancelled = never_cancelled) -> Plan:
    """Look at a folder of new scans and say what to do with them. Writes nothing anywhere.

    ``known`` and ``inline_bytes``: see :func:`catalogue.intake.arrivals.read_arrivals`.

    Raises:
        CatalogueError: no such folder, the store is offline, or the folder lies in a store already.
    """
    root = locate_store(db, store)
    if root is None:
        raise offline(store)
    folder = folder.expanduser().absolute()
    apart_from_stores(db, folder)
    paths, obstacles = find_files(folder, home.settings.ignore)
    arrivals = read_arrivals(paths, report, cancelled, known=known, inline_bytes=inline_bytes)
    return plan_for(db, home, folder, store, root, arrivals, likeness=likeness, report=report, cancelled=cancelled,
                    obstacles=tuple(f"{display_path(o.path)}: {o.detail}" for o in obstacles))


def apart_from_stores(db: Database, folder: Path) -> None:
    """Raises CatalogueError if a folder of new scans is in a store, or contains one."""
    for other in stores.listed(db):
        theirs = Path(other.root)
        if inside(folder, theirs):
            raise InsideStore(other.name, folder, hint="Index the store, or copy from it: catalogue copy.")
        if inside(theirs, folder):
            raise CatalogueError(f"The store {other.name!r} is inside this folder.", hint="Choose the folder that holds"
                                 " only the new scans.", path=folder)


def plan_for(db: Database, home: Home, folder: Path, store: Store, root: Path, arrivals: Sequence[Arrival], *,
             likeness: Likeness | None = None, report: Report = ignore_progress, cancelled: Cancelled = never_cancelled,
             obstacles: tuple[str, ...] = ()) -> Plan:
    """The plan for arrivals already read; what is held is passed over, the rest grouped and guessed."""
    proposals = [Proposal(Kind.UNFIT, (Item(a, "unsorted"),), Guessed(), Guessed(), take=False, reasons=tuple(a.faults))
                 for a in arrivals if a.faults]
    new: list[Arrival] = []
    seen: dict[str, str] = {}
    for arrival in (a for a in arrivals if not a.faults):
        held = _held_proposal(db, store, arrival, seen)
        if held:
            proposals.append(held)
        else:
            seen[arrival.reading.sha256] = arrival.inside
            new.append(arrival)
    views = Views()
    for group in grouped(new, home.settings.tile_overlap, report, cancelled, views):
        proposals.append(_proposal(db, home, folder, group, likeness, views))
    return with_targets(db, home, Plan(folder, store.id, store.name, root, tuple(proposals), obstacles))


def with_answers(db: Database, home: Home, plan: Plan, index: int, *, artist: str | None = None,
                 piece: str | None = None, role: str | None = None, take: bool | None = None,
                 capture: dict[str, str] | None = None, confirmed: bool | None = None) -> Plan:
    """The plan with a person's answer for one proposal; naming artist or piece confirms both."""
    old = plan.proposals[index]
    new = old
    if artist is not None or piece is not None:
        new = replace(new, artist=Guessed(display_path(artist).strip(), 1.0, "as entered") if artist is not None else
                      replace(new.artist, certainty=1.0), piece=Guessed(display_path(piece).strip(), 1.0, "as entered")
                      if piece is not None else replace(new.piece, certainty=1.0), confirmed=True)
        known = guessing.known_piece(db, new.artist.value, new.piece.value)
        new = replace(new, piece_id=known, year=guessing.year_of(db, known))
    if role is not None:
        new = replace(new, items=tuple(replace(i, role=role, number=0) for i in new.items), confirmed=True)
        new = replace(new, items=_number_tiles(new.items))
    if capture is not None:
        new = replace(new, capture=tuple(capture.items()))
    elif new.artist != old.artist:
        new = replace(new, capture=_capture(db, home, new.items, new.artist.value, new.piece_id))
    if take is not None and old.kind not in (Kind.UNFIT, Kind.HELD):
        new = replace(new, take=take)
    if confirmed is not None:
        new = replace(new, confirmed=confirmed)
    return with_targets(db, home, replace(plan, proposals=(*plan.proposals[:index], new, *plan.proposals[index + 1:])))


def with_targets(db: Database, home: Home, plan: Plan) -> Plan:
    """Names worked out by the rule for everything that is taken and has a name, no two alike."""
    wanted: list[FileNaming] = []
    for p in plan.proposals:
        if p.take and p.artist.value and p.piece.value:
            wanted += [FileNaming(i.arrival, p.artist.value, p.piece.value, p.year, i.role, i.number) for i in p.items]
    names = choose_targets(db, home.settings.naming_rule, plan.store_id, plan.root, wanted)
    return replace(plan, proposals=tuple(
        replace(p, items=tuple(replace(i, target=names.get(i.arrival.path, "")) for i in p.items))
        for p in plan.proposals))


def _held_proposal(db: Database, store: Store, arrival: Arrival, seen: dict[str, str]) -> Proposal | None:
    sha256 = arrival.reading.sha256
    if sha256 in seen:
        why = f"the same bytes as {display_path(seen[sha256])}"
    else:
        held = next((c for c in files.present_files(db, sha256) if c.store_id == store.id), None)
        if held is None:
            return None
        why = f"held as {display_path(held.path)} in {held.store}"
    known = scans.by_digest(db, sha256)
    piece = pieces.by_id(db, known.piece_id) if known and known.piece_id is not None else None
    artist, title = (Guessed(text, 1.0, why) for text in ((piece.artist, piece.title) if piece else ("", "")))
    return Proposal(Kind.HELD, (Item(arrival, known.role if known else "unsorted"),), artist, title, take=False,
                    reasons=(why,))


def _proposal(db: Database, home: Home, folder: Path, group: Group, likeness: Likeness | None,
              views: Views) -> Proposal:
    kin = guessing.similar_held(db, group.all, likeness)
    artist, piece = guessing.guess_names(db, home, folder, group.all, kin)
    kind = _kind(group, kin)
    items = _number_tiles(tuple(
        Item(a, "master" if a in group.stitched else "tile" if group.tiles else _role(db, folder, a, kin))
        for a in group.all))
    if kind is Kind.MASTER and all(i.role in ("print file", "reference") for i in items):
        kind = Kind.OTHER
    if kind is Kind.MASTER and all(i.role == "tile" for i in items):
        kind = Kind.TILES
    piece_id = kin[0].piece_id if kin and kin[0].piece_id else guessing.known_piece(db, artist.value, piece.value)
    doubts = []
    if group.tiles and group.certainty < SURE:
        doubts.append(f"Are these {len(group.members)} tiles of one original? ({'; '.join(group.reasons)})")
    if kind is Kind.SAME_PICTURE:
        doubts.append("The same picture is held with other metadata. Import this one too?")
    warnings = list(group.warnings)
    cover = cover_of(group, views)
    warnings.extend(cover.warnings)
    if group.tiles and (warning := count_warning(db, home.settings, piece_id, len(group.members))):
        warnings.append(warning)
    noted = Counter(n.detail for a in group.all for n in a.reading.notes)
    warnings.extend(f"{detail}{f' ({count} files)' if count > 1 else ''}" for detail, count in noted.items())
    return Proposal(
        kind, items, artist, piece, piece_id, guessing.year_of(db, piece_id),
        _capture(db, home, items, artist.value, piece_id), take=kind is not Kind.SAME_PICTURE,
        reasons=(*group.reasons, *(f"{k.relation}: {k.evidence}" for k in kin[:3])), warnings=tuple(warnings),
        doubts=tuple(doubts), tiles=cover.map or group.map)


def _kind(group: Group, kin: Sequence[SimilarScan]) -> Kind:
    if group.tiles:
        return Kind.TILES_AND_MASTER if group.stitched else Kind.TILES
    if kin and kin[0].relation == "same bytes":
        return Kind.HELD_ELSEWHERE
    if kin and kin[0].relation == "same pixels":
        return Kind.SAME_PICTURE
    if any(k.relation == "has tile" for k in kin):
        return Kind.STITCHED
    if any(k.relation in ("tile of", "neighbouring tile") for k in kin):
        return Kind.TILES
    return Kind.RESCAN if any(k.relation in ("re-scan", "reworked") for k in kin) else Kind.MASTER


def _role(db: Database, folder: Path, arrival: Arrival, kin: Sequence[SimilarScan]) -> str:
    known = scans.by_digest(db, arrival.reading.sha256)
    if known:
        return known.role
    if any(k.relation in ("tile of", "neighbouring tile") for k in kin):
        return "tile"
    if any(k.relation == "detail of" for k in kin):
        return "reference"
    inside = f"{folder.name}/./{arrival.inside}"  # folders below the key may say a role, the key itself not
    return role_of(inside, arrival.reading.format, arrival.reading.picture)


def _number_tiles(items: tuple[Item, ...]) -> tuple[Item, ...]:
    """Tiles numbered in the order of scanning."""
    numbers = count(1)
    return tuple(replace(item, number=next(numbers) if item.role == "tile" else 0) for item in items)


def _capture(db: Database, home: Home, items: tuple[Item, ...], artist: str, piece_id: int | None
             ) -> tuple[tuple[str, str], ...]:
    return tuple(initial_notes(db, home.settings, [i.arrival.reading for i in items if i.role == "tile"] or
                           [i.arrival.reading for i in items], artist, piece_id).items())
