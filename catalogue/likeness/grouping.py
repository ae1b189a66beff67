"""Grouping scans of one piece from pairs, so that one wrong pair cannot chain two pieces together.

A group is a set of scans with one common geometry: each has a map to the group's frame. A link may join two groups only
if every other finding between their members agrees: links between them must lead to the same position, and no pair may
be rejected or a look-alike. Two scans that would overlap must have been found alike themselves.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from catalogue.likeness import geometry
from catalogue.likeness import thresholds as limits
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.geometry import Matrix, Size


@dataclass(frozen=True, slots=True)
class Link:
    """One finding between two scans, by SHA-256, with a person's verdict: ``""``, ``confirmed`` or ``rejected``."""

    a: str
    b: str
    evidence: Evidence
    verdict: str = ""


@dataclass(frozen=True, slots=True)
class Refusal:
    """A link that was not allowed to join two groups, and why."""

    link: Link
    reason: str


@dataclass(frozen=True, slots=True)
class Group:
    """Scans of one piece. ``maps`` take each scan's preview pixels to the first scan's."""

    scans: tuple[str, ...]
    maps: Mapping[str, Matrix]
    links: tuple[Link, ...]


@dataclass
class _Growing:
    maps: dict[str, Matrix]
    links: list[Link] = field(default_factory=list)


def gather(links: Iterable[Link]) -> tuple[list[Group], list[Refusal]]:
    """Groups of two or more scans, and the links that were refused. Strong links are taken first."""
    known = list(links)
    between = _by_pair(known)
    sizes = _sizes(known)
    homes: dict[str, _Growing] = {}
    refused: list[Refusal] = []
    for link in sorted(known, key=_strength):
        if link.verdict == "rejected" or not (link.evidence.relation.same_piece or link.verdict == "confirmed"):
            continue
        group_a, group_b = (homes.get(k) or _Growing({k: np.eye(2, 3)}) for k in (link.a, link.b))
        if group_a is group_b:
            group_a.links.append(link)
            continue
        # the frame of the first group, reached from the second: two → b → a → one
        bridge = geometry.compose(
            geometry.compose(group_a.maps[link.a], geometry.inverse(link.evidence.map)),
            geometry.inverse(group_b.maps[link.b])
        )
        reason = "" if link.verdict == "confirmed" else _objection(link, group_a, group_b, bridge, between, sizes)
        if reason:
            refused.append(Refusal(link, reason))
            continue
        for key, matrix in group_b.maps.items():
            group_a.maps[key] = geometry.compose(bridge, matrix)
        group_a.links += [*group_b.links, link]
        for key in group_a.maps:
            homes[key] = group_a
    distinct = {id(g): g for g in homes.values()}.values()
    return [_finished(g) for g in distinct], refused


def _strength(link: Link) -> tuple[bool, bool, bool, float, str]:
    e = link.evidence
    return (
        link.verdict != "confirmed",
        e.relation is not Relation.SAME_PIXELS,
        e.relation.partial,
        -e.sure,
        link.a + link.b,
    )


def _by_pair(links: list[Link]) -> dict[frozenset[str], Link]:
    return {frozenset((link.a, link.b)): link for link in links}


def _sizes(links: list[Link]) -> dict[str, Size]:
    sizes: dict[str, Size] = {}
    for link in links:
        for key, size in ((link.a, link.evidence.size_a), (link.b, link.evidence.size_b)):
            if size[0]:
                sizes[key] = size
    return sizes


def _objection(
    link: Link, group_a: _Growing, group_b: _Growing, bridge: Matrix, between: Mapping[frozenset[str], Link],
    sizes: Mapping[str, Size],
) -> str:
    for p, to_one in group_a.maps.items():
        for q, to_two in group_b.maps.items():
            other = between.get(frozenset((p, q)))
            if other is link:
                continue
            predicted = geometry.compose(geometry.inverse(to_one), geometry.compose(bridge, to_two))  # q → p
            if other is None:
                if (
                    p in sizes
                    and q in sizes
                    and min(geometry.overlap(predicted, sizes[q], sizes[p])) > limits.MUST_MEET
                ):
                    return f"{p[:8]} and {q[:8]} would overlap, yet are not alike"
            elif other.verdict == "rejected":
                return f"{p[:8]} and {q[:8]} were judged not to be the same"
            elif other.verdict == "confirmed":
                continue
            elif other.evidence.relation is Relation.LOOK_ALIKE:
                return f"{p[:8]} and {q[:8]} only look alike"
            elif other.evidence.relation.same_piece and q in sizes and p in sizes:
                transform = geometry.inverse(other.evidence.map) if other.a == p else other.evidence.map
                away = np.linalg.norm(
                    geometry.apply(transform, geometry.corners(sizes[q]))
                    - geometry.apply(predicted, geometry.corners(sizes[q])),
                    axis=1,
                ).max()
                if away > limits.POSITIONS_APART * max(sizes[p]):
                    return f"{p[:8]} and {q[:8]} match at another position"
    return ""


def _finished(growing: _Growing) -> Group:
    first = min(growing.maps, key=lambda k: (-_breadth(growing, k), k))
    back = geometry.inverse(growing.maps[first])
    order = sorted(growing.maps, key=lambda k: (-_breadth(growing, k), k))
    return Group(tuple(order), {k: geometry.compose(back, growing.maps[k]) for k in order}, tuple(growing.links))


def _breadth(growing: _Growing, key: str) -> float:
    """How often the scan is the larger part of a link: wholes come before their details."""
    score = 0.0
    for link in growing.links:
        if key == link.a:
            score += link.evidence.overlap_b - link.evidence.overlap_a
        elif key == link.b:
            score += link.evidence.overlap_a - link.evidence.overlap_b
    return score
