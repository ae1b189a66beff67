"""The rows of the Alike page and their texts: groups of scans and their pairs."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import Enum

from textual.content import Content

from catalogue.likeness.evidence import DELTA_E_SCALE, Relation
from catalogue.likeness.service import Pair, groups
from catalogue.records import files, likenesses
from catalogue.records.database import Database
from catalogue.records.files import Located
from catalogue.records.likenesses import ComparedScan
from catalogue.records.paths import display_path
from catalogue.screens.texts.formats import counted, file_name, line, lines, safe, scanned_cm

SIGNS = {"confirmed": "✓", "rejected": "✗", "": "?"}
CLOSED, OPENED, INDENT = "▸", "▾", "  "
GROUP_LINES = 40    # members named in words; a group of more says how many there are


class Kind(Enum):
    """What a pair, or a group, asks about; in this order they are listed."""

    RESCAN = "re-scans"             # and edited copies: which one to print from
    PRINT_FILE = "print files"
    TILE = "tiles and details"
    COPY = "copies"                 # the same pixels, other metadata
    APART = "only similar"          # look-alikes, and what cannot be told
    CONTRADICTION = "contradiction"

    @property
    def rank(self) -> int:
        """Its position in the list, 0 first."""
        return list(Kind).index(self)


@dataclass(frozen=True, slots=True)
class NamedScan:
    """A scan with one of its files, "" if it has none, and the piece it is filed under, "" for none."""

    scan: ComparedScan
    store: str
    path: str
    piece: str

    @property
    def location(self) -> str:
        """Store and path, for people."""
        return f"{self.store}: {display_path(self.path)}" if self.path else "no file on record"


@dataclass(frozen=True, slots=True)
class PairRow:
    """One pair. ``asked``: a person should look. ``first`` and ``second``: the files' names, with as much of their
    paths as tells them apart. ``why``: why it stands apart from its group, if it does. ``group``: the group that it is
    listed in, else 0."""

    pair: Pair
    a: NamedScan
    b: NamedScan
    first: str
    second: str
    kind: Kind
    asked: bool
    why: str = ""
    group: int = 0

    @property
    def identity(self) -> object:
        return self.pair.id

    @property
    def sure(self) -> float:
        return self.pair.evidence.sure

    @property
    def pairs(self) -> "tuple[PairRow, ...]":
        return (self,)

    @property
    def pictured(self) -> "PairRow":
        return self


@dataclass(frozen=True, slots=True)
class GroupRow:
    """Three or more scans of one piece. ``group`` names it: the lowest number of its scans. ``proposed``: the SHA-256
    of the scan that would be its current master; ``first`` and ``second``: its first file, and what the others are."""

    group: int
    first: str
    second: str
    members: tuple[NamedScan, ...]
    pairs: tuple[PairRow, ...]
    kind: Kind
    proposed: str
    reasons: tuple[str, ...]

    @property
    def identity(self) -> object:
        return "group", self.group

    @property
    def asked(self) -> bool:
        return any(pair.asked for pair in self.pairs)

    @property
    def sure(self) -> float:
        """That of its least sure pair, among those that want a verdict if some do."""
        return min(pair.sure for pair in self.pairs if pair.asked or not self.asked)

    @property
    def pictured(self) -> PairRow:
        """The pair whose pictures are shown for it."""
        return self.pairs[0]


Row = PairRow | GroupRow


def alike_rows(db: Database) -> tuple[Row, ...]:
    """Every group and every pair outside one, by kind, the surest first. A group of one pair is listed as that."""
    similar = groups(db)
    loose = [*((pair, "") for pair in similar.ungrouped), *similar.refused]
    every = [*(pair for view in similar.groups for pair in view.pairs), *(pair for pair, _ in loose)]
    asked = {pair.id for pair in (*(q for view in similar.groups for q in view.questions), *similar.doubtful,
                                  *(pair for pair, _ in similar.refused))}
    ids = {i for pair in every for i in (pair.a_scan_id, pair.b_scan_id)}
    known = likenesses.compared_scans(db, ids)
    titles = likenesses.piece_titles(db, {s.piece_id for s in known.values() if s.piece_id is not None})
    files_of = files.first_of_scans(db, ids)
    named = {i: _named(scan, files_of.get(i), titles.get(scan.piece_id or 0, "")) for i, scan in known.items()}

    def row(pair: Pair, why: str = "", group: int = 0) -> PairRow:
        a, b = named[pair.a_scan_id], named[pair.b_scan_id]
        kind = Kind.CONTRADICTION if why else kind_of(pair, a.scan.role, b.scan.role)
        return PairRow(pair, a, b, *told_apart(a, b), kind, pair.id in asked, why, group)

    rows: list[Row] = [row(pair, why) for pair, why in loose]
    for view in similar.groups:
        if len(view.pairs) == 1:
            rows.append(row(view.pairs[0]))
            continue
        group = min(member.scan_id for member in view.members)
        pairs = sorted((row(pair, group=group) for pair in view.pairs), key=_order)
        kind = min((pair.kind for pair in pairs if pair.asked), default=pairs[0].kind, key=lambda kind: kind.rank)
        first, *others = members = tuple(named[member.scan_id] for member in view.members)
        more = f"and {counted(len(others), 'more file')}: {', '.join(scan_names(others))}"
        rows.append(GroupRow(group, told_apart(first, others[0])[0], more, members, tuple(pairs), kind, view.proposed,
                             view.reasons))
    return tuple(sorted(rows, key=_order))


def _named(scan: ComparedScan, file: Located | None, piece: str) -> NamedScan:
    return NamedScan(scan, file.store if file else "", file.path if file else "", piece)


def _order(row: Row) -> tuple[bool, int, float, object]:
    return not row.asked, row.kind.rank, -row.sure, row.pairs[0].pair.id


def kind_of(pair: Pair, role_a: str, role_b: str) -> Kind:
    """What a pair asks about, by its relation and what its scans are kept as."""
    relation = pair.evidence.relation
    if relation in (Relation.SAME_BYTES, Relation.SAME_PIXELS):
        return Kind.COPY
    if not relation.same_piece:
        return Kind.APART
    if relation.partial:
        return Kind.TILE
    return Kind.PRINT_FILE if "print file" in (role_a, role_b) else Kind.RESCAN


def told_apart(a: NamedScan, b: NamedScan) -> tuple[str, str]:
    """The names of two files with as many folders as distinguish them; for one path in two stores, the store."""
    parts_a, parts_b = (display_path(scan.path).split("/") if scan.path else ["no file on record"] for scan in (a, b))
    for depth in range(1, max(len(parts_a), len(parts_b)) + 1):
        first, second = "/".join(parts_a[-depth:]), "/".join(parts_b[-depth:])
        if first != second:
            return safe(first), safe(second)
    return safe(a.location), safe(b.location)


def listed_rows(rows: Iterable[Row], opened: Collection[int], *, everything: bool) -> list[Row]:
    """The rows as they stand in the list: those that want a verdict, or all; opened groups with their pairs below."""
    listed: list[Row] = []
    for row in rows:
        if row.asked or everything:
            listed.append(row)
            if isinstance(row, GroupRow) and row.group in opened:
                listed += [pair for pair in row.pairs if pair.asked or everything]
    return listed


def sign_of(row: Row, opened: Collection[int]) -> str:
    """Whether a group is open, or how a pair was judged."""
    if isinstance(row, GroupRow):
        return OPENED if row.group in opened else CLOSED
    return SIGNS[row.pair.verdict]


def indent_of(row: Row) -> str:
    """What a pair within a group stands behind."""
    return INDENT if isinstance(row, PairRow) and row.group else ""


def what_it_is(row: Row) -> object:
    """The kind of a group, or the relation of a pair; with the style."""
    if isinstance(row, GroupRow):
        return row.kind.value, "bold"
    relation = "print file" if row.kind is Kind.PRINT_FILE else row.pair.evidence.relation.value
    return indent_of(row) + (Kind.CONTRADICTION.value if row.why else relation)


def filed_under(row: Row) -> str:
    """The piece or pieces that its scans are filed under."""
    scans = row.members if isinstance(row, GroupRow) else (row.a, row.b)
    return " | ".join(dict.fromkeys(scan.piece or "no piece yet" for scan in scans))


def scan_names(scans: Iterable[NamedScan]) -> list[str]:
    """The bare names of their files."""
    return [file_name(scan.path) if scan.path else "no file on record" for scan in scans]


def group_words(row: GroupRow) -> Content:
    """The scans of a group, each with what it is and where it lies, and which pair of them is pictured."""
    parts = [line((f"{counted(len(row.members), 'scan')} of one piece", "bold"),
                 (f", {counted(sum(p.asked for p in row.pairs), 'pair')} to judge", "$quiet"))]
    for scan in row.members[:GROUP_LINES]:
        mark = "● " if scan.scan.sha256 == row.proposed else "  "
        parts.append(line(mark, (scan.scan.role, "bold"), f"  {_size(scan.scan)}"))
        parts.append(line((f"  {scan.location}", "$quiet")))
        parts.append(line((f"  {scan.piece or 'no piece yet'}", "$quiet")))
    if len(row.members) > GROUP_LINES:
        parts.append(line((f"and {counted(len(row.members) - GROUP_LINES, 'more scan')}", "$quiet")))
    if row.reasons:
        parts.append(line(("● best to print from: ", "$quiet"), ", ".join(row.reasons)))
    pictured = row.pictured
    parts.append(line(("Shown: ", "$quiet"), f"{pictured.first} and {pictured.second}"))
    return lines(parts)


def pair_words(row: PairRow) -> Content:
    """The evidence, each figure with what it means."""
    e = row.pair.evidence
    verdict = {"confirmed": ("✓ confirmed", "$success"), "rejected": ("✗ rejected", "$error"),
               "": ("? no verdict yet", "$warning")}[row.pair.verdict]
    relation = e.relation.value
    parts = [line((f"{relation[:1].upper()}{relation[1:]}", "bold"), (f": {e.sure:.0%} certain   ", "$quiet"), verdict,
                 (f"   pair {row.pair.id}", "$quiet"))]
    parts += [line(("! ", "bold $warning"), row.why)] if row.why else []
    parts += [line((f"· {reason}", "$quiet")) for reason in e.reasons]
    for name, scan in (("This", row.a), ("And this", row.b)):
        parts.append(line((f"{name}  ", "bold"), f"{scan.scan.role}, {_size(scan.scan)}"))
        parts.append(line((scan.location, "$quiet")))
        parts.append(line((scan.piece or "no piece yet", "$quiet")))
    figures = [f"{e.overlap_a:.0%} of this overlaps {e.overlap_b:.0%} of that" if e.overlap_a else "",
               f"turned {e.rotation:.1f}°" if abs(e.rotation) >= 0.05 else "not turned",
               f"scale {e.scale:.3f}", f"structure agrees {e.correlation:.2f}" if e.correlation else "",
               f"colour difference ΔE00 {e.delta_e_median:.1f} {DELTA_E_SCALE}" if e.delta_e_median is not None else "",
               f"this one has {e.detail_ratio:.2f}× the pixels" if e.detail_ratio else ""]
    parts.append(line(", ".join(filter(None, figures))))
    return lines(parts)


def _size(scan: ComparedScan) -> str:
    size = scanned_cm(scan.width, scan.height, scan.ppi_x, scan.ppi_x)
    return f"{scan.width} × {scan.height} px, {scan.bits or '?'} bit, {'size unknown' if size == '–' else size}"
