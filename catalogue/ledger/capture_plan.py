"""How to capture an original on a bed: how many captures, where each begins, how far they overlap. Pure."""

import math
from dataclasses import dataclass

from catalogue.errors import Refused
from catalogue.likeness.tiles import expected
from catalogue.settings import Bed, Settings

MOST_CAPTURES = 1_000


@dataclass(frozen=True, slots=True)
class CapturePlan:
    """Captures of an original on one bed, laid as ``bed_mm`` says (along the original's width, along its height).

    ``overlap_across`` and ``overlap_down`` are the shares of a capture that its neighbour repeats once the captures are
    spread evenly, at least the share that was asked for; None if one capture spans that side. ``lefts`` and ``tops``
    say how many mm from the original's left and upper edge each column and row begins.
    """

    bed: str
    bed_mm: tuple[float, float]
    width_mm: float
    height_mm: float
    across: int
    down: int
    overlap_across: float | None
    overlap_down: float | None
    lefts: tuple[float, ...]
    tops: tuple[float, ...]

    @property
    def captures(self) -> int:
        return self.across * self.down


def capture_plans(settings: Settings, width_mm: float, height_mm: float, *, bed: str = "",
                  overlap: float | None = None) -> list[CapturePlan]:
    """A plan for each of the shop's beds, or for the one called ``bed``; the fewest captures first.

    ``overlap`` is the least share of a capture that repeats its neighbour; None: as the settings say. Raises Refused:
    no such bed, no size or overlap, or more captures than anybody makes.
    """
    beds = [candidate for candidate in settings.all_beds if bed.casefold() in ("", candidate.name.casefold())]
    share = settings.tile_overlap if overlap is None else overlap
    if not beds:
        raise Refused(f"There is no bed {bed!r}.",
                      hint=f"The beds in the settings: {', '.join(b.name for b in settings.all_beds)}.")
    if not (0 <= share <= 0.9 and 0 < width_mm < math.inf and 0 < height_mm < math.inf):
        raise Refused("Give the size of the original, and an overlap from 0 to 90 %.")
    return sorted((_plan(candidate, width_mm, height_mm, share) for candidate in beds), key=lambda plan: plan.captures)


def _plan(bed: Bed, width: float, height: float, share: float) -> CapturePlan:
    long, short = float(max(bed.size_mm)), float(min(bed.size_mm))
    across, down = expected((width, height), (long, short), share)
    if across * down > MOST_CAPTURES:
        raise Refused(f"That would take {across:,} × {down:,} captures.", hint="Is the size right?")
    wide = width > height
    if math.isclose(width, height):     # a square is laid the way that needs fewer, as `expected` says
        wide = across * long * (1 - share) + long * share >= width
    laid = (long, short) if wide else (short, long)
    lefts, tops = _begins(width, laid[0], across), _begins(height, laid[1], down)
    return CapturePlan(bed.name, laid, width, height, across, down, _overlap(lefts, laid[0]), _overlap(tops, laid[1]),
                       lefts, tops)


def _begins(length: float, bed: float, count: int) -> tuple[float, ...]:
    """Where captures spread evenly from edge to edge begin; a side that fits on the bed is centred."""
    if count == 1:
        return (min(0.0, (length - bed) / 2),)
    return tuple(round(n * (length - bed) / (count - 1), 3) for n in range(count))


def _overlap(begins: tuple[float, ...], bed: float) -> float | None:
    return None if len(begins) == 1 else 1 - (begins[1] - begins[0]) / bed
