"""Scans are told of as they come, not before they are whole. The clock is the test's own."""

from pathlib import Path

import numpy as np
from intake_pictures import Write, scene

from catalogue.intake.watching import PATIENCE, SETTLE, News, Watch


class Clock:
    def __init__(self) -> None:
        self.seconds = 0.0

    def __call__(self) -> float:
        return self.seconds


def look(watch: Watch, clock: Clock, seconds: float = SETTLE) -> list[News]:
    """A look, the wait, and the look after it."""
    first = watch.poll()
    clock.seconds += seconds
    return first + watch.poll()


def test_a_turned_and_a_thin_tile_are_told_as_they_come(write: Write, tmp_path: Path) -> None:
    whole, clock = scene(5, 1010, 360), Clock()
    (tmp_path / "key").mkdir()
    watch = Watch(tmp_path / "key", (), 0.4, clock=clock)
    assert watch.poll() == []
    write("t1.tif", whole[:, :400])
    assert watch.poll() == [], "not before it has rested"
    clock.seconds += SETTLE
    assert [n.kind for n in watch.poll()] == ["arrived"]
    assert watch.poll() == [], "told once"
    write("t2.tif", np.rot90(whole[:, 240:640]).copy(), at="2026-03-01T10:02:00")
    told = look(watch, clock)
    assert [n.kind for n in told] == ["arrived", "warning"]
    assert "turned" in told[1].text
    write("t3.tif", whole[:, 585:985], at="2026-03-01T10:04:00")
    told = look(watch, clock)
    assert any("t3.tif overlaps its neighbours by" in n.text for n in told)
    write("t4.tif", scene(6, 400, 360), at="2026-03-01T10:06:00")
    (alone,) = look(watch, clock)
    assert "too thin to see" in alone.text


def test_a_file_still_being_written_waits_and_one_that_never_ends_is_told(write: Write, tmp_path: Path) -> None:
    clock = Clock()
    path = write("a.tif", scene(1, 300, 200))
    data = path.read_bytes()
    path.write_bytes(data[:90_000])
    watch = Watch(tmp_path / "key", (), 0.25, clock=clock)
    assert look(watch, clock) == [], "at rest, but its picture is not all there"
    path.write_bytes(data)
    assert [n.kind for n in look(watch, clock)] == ["arrived"]
    path.with_name("b.tif").write_bytes(data[:90_000])
    assert look(watch, clock) == []
    clock.seconds += PATIENCE
    assert [n.kind for n in watch.poll()] == ["unfit"]


def test_a_key_pulled_is_told_once(tmp_path: Path) -> None:
    watch = Watch(tmp_path / "key", (), 0.25)
    assert [n.kind for n in watch.poll()] == ["unfit"]
    assert watch.poll() == []
