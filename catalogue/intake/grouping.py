"""Grouping new scans: tiles of one original, their stitched master, one view captured twice.

Time and names say which scans may belong together; overlap of the pictures decides. If there is too little detail to
tell, the group says so and the person is asked.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from catalogue.disjoint import tied_sets
from catalogue.indexing.naming import role_of
from catalogue.intake.arrivals import Arrival, in_order, runs
from catalogue.intake.mosaic import TileMap, mosaic
from catalogue.intake.overlap import Arrangement, Overlap, View, Views, links, overlap
from catalogue.progress import Cancelled, Progress, Report, ignore_progress, never_cancelled

WINDOW = 14         # most captures between tiles of one original; 9 to 12 for an A1, common practice
THIN = 0.5          # of the overlap the shop wishes: below it a stitch is at risk
TILTED = 0.7        # degrees from which a tile lies askew; rotation is measured to .06° on overlaps of a sixth
DETAIL = 65         # features of a picture in which an overlap would have been seen; of 500 kept at most
SEEN, NAMED = 0.97, 0.7


@dataclass(frozen=True, slots=True)
class Group:
    """Arrivals of one original. ``stitched`` are masters put together from ``members``, which then are tiles.

    ``certainty`` (0 to 1) is how surely they belong together, ``reasons`` why; ``warnings`` are for the person while
    the original is still on the bed.
    """

    members: tuple[Arrival, ...]
    tiles: bool = False
    stitched: tuple[Arrival, ...] = ()
    certainty: float = SEEN
    reasons: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    map: TileMap | None = None  # the members laid on each other

    @property
    def all(self) -> tuple[Arrival, ...]:
        return self.members + self.stitched


def grouped(arrivals: list[Arrival], wished_overlap: float, report: Report = ignore_progress,
            cancelled: Cancelled = never_cancelled,
            views: Views | None = None) -> list[Group]:
    """Sound arrivals as groups, in order of scanning; unsound ones are left out (see ``Arrival.faults``)."""
    views = views or Views()
    sound = [a for a in arrivals if not a.faults]
    groups: list[Group] = []
    for run in runs(sound):
        report(Progress("Laying scans on each other", sum(len(g.all) for g in groups), len(sound), note=run[0].inside))
        groups.extend(_of_run(run, wished_overlap, views, cancelled))
    return sorted(_with_stitched(groups, views, cancelled), key=lambda g: g.members[0].moment)


def _of_run(run: list[Arrival], wished_overlap: float, views: Views, cancelled: Cancelled) -> Iterator[Group]:
    if len(run) == 1:
        yield Group(tuple(run), reasons=("scanned by itself",))
        return
    seen = [views(a) for a in run]
    laid = links(seen, WINDOW, cancelled)
    whole = _wholes(laid)
    parts = [i for i in range(len(run)) if i not in whole]
    sets = _joined(parts, laid)
    loose = [s[0] for s in sets if len(s) == 1]
    tiled = [s for s in sets if len(s) > 1]
    strays = [i for i in loose if len(tiled) == 1 and _one_kind([run[i], run[tiled[0][0]]])
              and (tiled[0][0] < i < tiled[0][-1] or not _telling(seen[i]))]
    if strays:  # a gap in the overlap, or a passage without detail, rather than other originals
        warnings = tuple(f"{run[i].path.name}: no overlap with the others could be found; it is too narrow, or there"
                         " is too little detail" for i in strays)
        yield _set(run, sorted([*tiled[0], *strays]), whole, laid, wished_overlap, NAMED, warnings)
        tiled, loose = [], [i for i in loose if i not in strays]
    for members in tiled:
        yield _set(run, members, whole if len(tiled) == 1 else set(), laid, wished_overlap, SEEN, ())
    if loose == parts and not whole and all(
            role_of(f"a/b/{run[i].path.name}", run[i].reading.format, run[i].reading.picture) == "tile" for i in loose):
        yield Group(tuple(run), True, certainty=NAMED, reasons=("named as tiles, but no overlap was found",),
                    warnings=("Too little detail to see the overlap; check the set by eye.",))
        return
    after = "if it belongs to these tiles, its overlap is too narrow"
    for i in loose:
        yield Group((run[i],), reasons=("overlaps no other new scan",),
                    warnings=(after,) if len(loose) < len(parts) else ())
    if len(tiled) != 1 and not strays:
        yield from (Group((run[i],)) for i in sorted(whole))


def _set(run: list[Arrival], members: list[int], whole: set[int], laid: dict[tuple[int, int], Overlap],
         wished_overlap: float, certainty: float, warnings: tuple[str, ...]) -> Group:
    inner = {pair: pair_overlap for pair, pair_overlap in laid.items() if pair[0] in members and pair[1] in members}
    beside = any(each.arrangement in (Arrangement.BESIDE, Arrangement.CORNER) for each in inner.values())
    reasons = (f"{len(inner)} overlap{'' if len(inner) == 1 else 's'} seen", f"scanned within {_span(run, members)}")
    notes = (*warnings, *advice([run[i].path.name for i in members], _renumbered(inner, members), wished_overlap))
    woven = mosaic([run[i].path.name for i in members], [sides(run[i]) for i in members], _renumbered(inner, members))
    return Group(tuple(run[i] for i in members), beside, tuple(run[i] for i in sorted(whole)) if beside else (),
                 certainty, reasons, notes, woven if beside else None)


def sides(arrival: Arrival) -> tuple[float, float]:
    """Width and height in pixels; of a picture that could not be decoded, a square."""
    picture = arrival.reading.picture
    return (float(picture.width), float(picture.height)) if picture else (1.0, 1.0)


def advice(names: list[str], laid: dict[tuple[int, int], Overlap], wished_overlap: float) -> list[str]:
    """What is wrong with a tile set, while it can still be scanned again. ``laid`` is keyed by places in ``names``."""
    notes = []
    strips: dict[int, list[float]] = {}
    # half a turn does no harm, and a large original asks for it
    turned = _odd_ones({pair: float(each.turn) if each.turn % 180 else 0.0 for pair, each in laid.items()})
    tilted = _odd_ones({pair: tilt if abs(tilt := each.tilt) >= TILTED else 0.0 for pair, each in laid.items()
                        if each.arrangement in (Arrangement.BESIDE, Arrangement.CORNER)})
    for (i, j), pair_overlap in laid.items():
        if pair_overlap.arrangement is Arrangement.SAME:
            notes.append(f"{names[i]} and {names[j]} show the same part: keep the better one.")
        if pair_overlap.arrangement is Arrangement.BESIDE:
            strips.setdefault(i, []).append(pair_overlap.strip)
            strips.setdefault(j, []).append(pair_overlap.strip)
    for i, against in turned.items():
        notes.append(f"{names[i]} is turned {against[0][1] % 360:.0f}° relative to {_others(names, against)}: the"
                     " weave will not match. Scan it again, turned like the others.")
    for i, against in tilted.items():
        notes.append(f"{names[i]} is askew by {abs(against[0][1]):.1f}° relative to {_others(names, against)}: the seam"
                     " will blur. Lay it straight against the edge of the bed and scan it again.")
    for i, found_strips in sorted(strips.items()):
        if max(found_strips) < wished_overlap * THIN:
            notes.append(f"{names[i]} overlaps its neighbours by {max(found_strips):.0%} at most;"
                         f" {wished_overlap:.0%} is needed. Scan it again with more overlap.")
    return notes


def _odd_ones(angles: dict[tuple[int, int], float]) -> dict[int, list[tuple[int, float]]]:
    """Of pairs at an angle other than 0, the tile that differs from more of its neighbours, otherwise the later one:
    from which, and by how much."""
    votes: dict[int, int] = {}
    for (i, j), angle in angles.items():
        for tile in (i, j):
            votes[tile] = votes.get(tile, 0) + (1 if angle else -1)
    matches: dict[int, list[tuple[int, float]]] = {}
    for (i, j), angle in angles.items():
        if angle:
            stronger, other = (i, j) if votes[i] > votes[j] else (j, i)
            matches.setdefault(stronger, []).append((other, angle if stronger == i else -angle))
    return matches


def _others(names: list[str], against: list[tuple[int, float]]) -> str:
    return names[against[0][0]] + (f" and {len(against) - 1} more" if len(against) > 1 else "")


def _renumbered(laid: dict[tuple[int, int], Overlap], members: list[int]) -> dict[tuple[int, int], Overlap]:
    index = {member: number for number, member in enumerate(members)}
    return {(index[i], index[j]): pair_overlap for (i, j), pair_overlap in laid.items()}


def _wholes(laid: dict[tuple[int, int], Overlap]) -> set[int]:
    """The arrivals that at least two others are parts of."""
    parts: dict[int, int] = {}
    for (i, j), pair_overlap in laid.items():
        if pair_overlap.arrangement is Arrangement.WITHIN:
            parts[j] = parts.get(j, 0) + 1
        elif pair_overlap.arrangement is Arrangement.AROUND:
            parts[i] = parts.get(i, 0) + 1
    return {i for i, count in parts.items() if count >= 2}


def _joined(parts: list[int], laid: dict[tuple[int, int], Overlap]) -> list[list[int]]:
    """Connected sets under any overlap but "part of"."""
    beside = (Arrangement.BESIDE, Arrangement.CORNER, Arrangement.SAME)
    return tied_sets(parts, (pair for pair, pair_overlap in laid.items()
                             if pair_overlap.arrangement in beside and {*pair} <= {*parts}))


def _one_kind(arrivals: list[Arrival]) -> bool:
    """Whether they have the same pixel size, either way up, and resolution: one scanner at one setting."""
    kinds = set()
    for arrival in arrivals:
        picture = arrival.reading.picture
        if picture is None:
            return False
        kinds.add((*sorted((picture.width, picture.height)), picture.ppi_x, picture.bits))
    return len(kinds) == 1


def _telling(seen: View | None) -> bool:
    """Whether a picture has enough detail that an overlap would have been found."""
    return seen is not None and len(seen.features.sift) >= DETAIL


def _span(run: list[Arrival], members: list[int]) -> str:
    minutes = (run[members[-1]].moment - run[members[0]].moment).total_seconds() / 60
    return f"{max(1, round(minutes))} min"


def _with_stitched(groups: list[Group], views: Views, cancelled: Cancelled) -> list[Group]:
    """Masters that came under another name, put to the tiles that lie within them."""
    sets = [g for g in groups if g.tiles]
    singles = [g for g in groups if not g.tiles and len(g.members) == 1]
    taken: dict[int, list[Arrival]] = {}
    others = [g for g in groups if not g.tiles and len(g.members) > 1]
    for single in singles:
        whole = None if cancelled() or not sets else views(single.members[0])
        home = next((k for k, tiles in enumerate(sets)
                     if whole and _holds(single.members[0], whole, tiles, views)), None)
        if home is None:
            others.append(single)
        else:
            taken.setdefault(home, []).append(single.members[0])
    return others + [replace(g, stitched=tuple(in_order([*g.stitched, *taken.get(k, ())])))
                   for k, g in enumerate(sets)]


def _holds(arrival: Arrival, whole: View, tiles: Group, views: Views) -> bool:
    """Whether at least two of a set's tiles lie within this picture; it is no smaller than they."""
    picture, tile_picture = arrival.reading.picture, tiles.members[0].reading.picture
    if not picture or not tile_picture or picture.width * picture.height < tile_picture.width * tile_picture.height:
        return False
    within = 0
    for tile in tiles.members[:6]:
        part = views(tile)
        if part and (pair_overlap := overlap(part, whole)) and pair_overlap.arrangement is Arrangement.WITHIN:
            within += 1
            if within == 2:
                return True
    return False
