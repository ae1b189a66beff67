"""Groups have one geometry; a wrong link does not chain two pieces together."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from catalogue.likeness import geometry
from catalogue.likeness.evidence import Evidence, Relation
from catalogue.likeness.grouping import Link, gather

SIZE = (1000, 800)


def link(a: str, b: str, matrix: np.ndarray | None = None, relation: Relation = Relation.RESCAN, sure: float = 0.95,
         verdict: str = "") -> Link:
    m = np.eye(2, 3) if matrix is None else matrix
    over_a, over_b = geometry.overlap(m, SIZE, SIZE)
    return Link(a, b, Evidence(relation, sure, overlap_a=over_a, overlap_b=over_b, size_a=SIZE, size_b=SIZE,
                               matrix=tuple(m.ravel())), verdict)


def sets(links: list[Link]) -> set[frozenset[str]]:
    return {frozenset(g.scans) for g in gather(links)[0]}


def part(x: float, y: float, scale: float = 0.33) -> np.ndarray:
    return np.array([[scale, 0, x], [0, scale, y]])


def test_a_triangle_of_rescans_is_one_group() -> None:
    assert sets([link("a", "b"), link("b", "c"), link("a", "c")]) == {frozenset("abc")}


def test_a_chain_through_one_link_is_refused_when_its_ends_should_meet() -> None:
    """b is alike to a and to c, yet a and c, which would cover each other, are not alike: one link is wrong."""
    groups, refused = gather([link("a", "b", sure=0.97), link("b", "c", sure=0.85)])
    assert [set(g.scans) for g in groups] == [{"a", "b"}]
    assert len(refused) == 1 and {refused[0].link.a, refused[0].link.b} == {"b", "c"}


def test_tiles_that_do_not_meet_need_no_link_of_their_own() -> None:
    tiles = [link(f"t{i}", "m", part(x, y), Relation.TILE) for i, (x, y) in enumerate([(0, 0), (600, 0), (0, 500)])]
    groups, refused = gather(tiles)
    assert [set(g.scans) for g in groups] == [{"m", "t0", "t1", "t2"}]
    assert groups[0].scans[0] == "m", "the whole comes first"
    assert refused == []
    np.testing.assert_allclose(groups[0].maps["t1"], part(600, 0))


def test_two_masters_are_not_chained_by_a_detail_that_lies_elsewhere() -> None:
    shifted = np.array([[1.0, 0, 90], [0, 1.0, 0]])
    links = [link("d", "m", part(0, 0), Relation.DETAIL, 0.99), link("d", "n", part(600, 0), Relation.DETAIL, 0.9),
             link("m", "n", shifted, sure=0.95)]
    groups, refused = gather(links)
    assert {frozenset((r.link.a, r.link.b)) for r in refused} == {frozenset("dm"), frozenset("dn")}, (
        "which is wrong is not told"
    )
    assert [set(g.scans) for g in groups] == [{"m", "n"}]


def test_look_alikes_and_rejections_keep_groups_apart() -> None:
    base = [link("a", "b"), link("c", "d")]
    for barrier in (link("a", "c", relation=Relation.LOOK_ALIKE), link("a", "c", verdict="rejected")):
        found = sets([*base, barrier, link("b", "d", sure=0.8), link("a", "d", sure=0.8), link("b", "c", sure=0.8)])
        assert found == {frozenset("ab"), frozenset("cd")}


def test_a_person_may_join_what_looks_apart() -> None:
    assert sets([link("a", "b", relation=Relation.LOOK_ALIKE, verdict="confirmed")]) == {frozenset("ab")}
    assert sets([link("a", "b", verdict="rejected")]) == set()


@given(st.permutations(range(6)))
def test_groups_do_not_depend_on_the_order_of_the_links(order: list[int]) -> None:
    links = [
        link("a", "b", sure=0.99),
        link("b", "c", sure=0.98),
        link("a", "c", sure=0.97),
        link("t", "a", part(0, 0), Relation.TILE),
        link("c", "x", sure=0.81),
        link("x", "y", sure=0.96),
    ]
    assert sets([links[i] for i in order]) == sets(links) == {frozenset("abct"), frozenset("xy")}
