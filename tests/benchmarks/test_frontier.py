"""The frontier: what nothing else beats in both respects."""

from hypothesis import given
from hypothesis import strategies as st
from tapewright.benchmarks.frontier import on_frontier

POINTS = st.lists(st.tuples(st.sampled_from([1.0, 2.0, 5.0]), st.sampled_from([0.0, 0.1, 0.5])), max_size=8)


def test_a_hand_drawn_frontier() -> None:
    points = [(1, 0.0), (60, 0.0), (60, 0.1), (27, 0.4), (120, 0.2), (150, 0.2), (90, 1.0)]
    assert on_frontier(points) == (False, True, False, False, False, True, False)


def test_equals_stand_together() -> None:
    assert on_frontier([(60, 0.0), (60, 0.0), (30, 0.0)]) == (True, True, False)


def test_one_alone_and_nobody() -> None:
    assert on_frontier([(1, 1.0)]) == (True,)
    assert on_frontier([]) == ()


@given(POINTS)
def test_everything_off_the_frontier_is_beaten_from_it(points) -> None:
    marks = on_frontier(points)
    best = [point for point, mark in zip(points, marks, strict=True) if mark]
    assert bool(best) == bool(points)
    for speed, error in best:
        assert not any(s >= speed and e <= error and (s, e) != (speed, error) for s, e in points)
    for (speed, error), mark in zip(points, marks, strict=True):
        if not mark:
            assert any(s >= speed and e <= error and (s, e) != (speed, error) for s, e in best)


@given(POINTS, st.randoms(use_true_random=False))
def test_order_does_not_matter(points, draw) -> None:
    marked = list(zip(points, on_frontier(points), strict=True))
    draw.shuffle(marked)
    assert on_frontier([point for point, _ in marked]) == tuple(mark for _, mark in marked)
