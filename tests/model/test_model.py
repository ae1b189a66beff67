"""A short run of the archive beside its reference; ``scripts/model.py`` runs long."""

import pytest
from hypothesis import HealthCheck, settings
from machine import ArchiveMachine
from shortening import difference_of

TestArchive = ArchiveMachine.TestCase
TestArchive.settings = settings(max_examples=12, stateful_step_count=25, deadline=None, derandomize=True,
                                suppress_health_check=list(HealthCheck))

FORMER = {
    "a guess that repeated likeness outlasted it": (
        "judge_the_scan_that_only_likeness_files(other=20, verdict='confirmed')", "look_at_all(how='index --again')",
        "file_scan(number=43, scan=44)"),
    "a recovery left a scan in a piece that was parted from another": (
        "say_while_the_other_seat_tries_too(notes='framed', number=57)", "file_scan(number=28, scan=20)",
        "split_piece(number=45, scan=55, title='Boats')", "back_up()", "merge_pieces(described=None, one=10, other=48)",
        "undo(newest=True, number=46)", "recover(damage='here and there')"),
    "a confirmed pair found again after a rebuild filed nothing": (
        "lose_a_current_master(number=54)", "lose_a_current_master(number=12)",
        "judge_the_scan_that_only_likeness_files(other=46, verdict='rejected')",
        "judge_pair(number=25, verdict='confirmed')", "rebuild()", "found_alike(one=14, other=3, sure=False)"),
}


@pytest.mark.parametrize("steps", FORMER.values(), ids=FORMER)
def test_what_long_runs_once_found_is_no_difference_now(steps: tuple[str, ...]) -> None:
    difference = difference_of(steps)
    assert difference is None, difference.told
