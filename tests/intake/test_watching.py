"""Scans are told of as they come, not before they are whole. The clock is the test's own."""

import os
from functools import partial
from itertools import chain, repeat
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np
import pytest
from intake_pictures import Write, askew, scene

from catalogue.errors import CatalogueError
from catalogue.indexing.workers import begin
from catalogue.intake import arrivals, subprocess_reading
from catalogue.intake.proposals import Kind, propose
from catalogue.intake.subprocess_reading import read_in_subprocess
from catalogue.intake.watching import PATIENCE, SETTLE, News, Watch
from catalogue.progress import never_cancelled
from catalogue.reading.file import read_file
from catalogue.reading.model import Reading
from catalogue.records.database import Database
from catalogue.records.stores import Store
from catalogue.screens.widgets.intake_tables import WatchedScan, add_news
from catalogue.settings import Home


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
    assert any(n.text.startswith("t3.tif overlaps ") for n in told)
    write("t4.tif", scene(6, 400, 360), at="2026-03-01T10:06:00")
    (alone,) = look(watch, clock)
    assert "too narrow to see" in alone.text


def test_a_scan_that_a_later_one_overlaps_lies_alone_no_more(write: Write, tmp_path: Path) -> None:
    """The first tile of the next original stayed one to check, however many joined it."""
    clock, whole = Clock(), scene(5, 1010, 360)
    (tmp_path / "key").mkdir()
    watch, rows = Watch(tmp_path / "key", (), 0.2, clock=clock), list[WatchedScan]()
    write("a.tif", scene(6, 400, 360))
    write("b1.tif", whole[:, :400], at="2026-03-01T10:02:00")
    for news in look(watch, clock):
        add_news(rows, news)
    assert [(row.path.name, row.state) for row in rows] == [("a.tif", "arrived"), ("b1.tif", "alone")]
    write("b2.tif", whole[:, 240:640], at="2026-03-01T10:04:00")
    told = look(watch, clock)
    assert [(news.kind, news.path.name) for news in told] == [("arrived", "b2.tif"), ("joined", "b1.tif")]
    assert told[1].text == "b1.tif: b2.tif overlaps it"
    for news in told:
        add_news(rows, news)
    assert [(row.path.name, row.state) for row in rows] == [
        ("a.tif", "arrived"), ("b1.tif", "arrived"), ("b2.tif", "arrived")]
    write("b3.tif", whole[:, 480:880], at="2026-03-01T10:06:00")
    assert "joined" not in [news.kind for news in look(watch, clock)], "told once"


def test_files_first_seen_together_are_read_in_the_order_they_were_made(write: Write, tmp_path: Path) -> None:
    """A look takes time: the first file of the list seemed at rest one look before the others, and a stitched master
    that was there from the start was read before its tiles."""
    whole, read = scene(7, 760, 360), list[str]()
    for number, left in enumerate((0, 180, 360), 1):
        write(f"t{number}.tif", whole[:, left:left + 400], at=f"2026-03-01T10:0{number}:00")
    write("all.tif", whole, at="2026-03-01T10:09:00")
    times = chain((0.0, 1.0, 1.0, 1.0, SETTLE, SETTLE + 0.1, SETTLE + 0.1, SETTLE + 0.1), repeat(3 * SETTLE))

    def reading(path: Path) -> Reading:
        read.append(path.name)
        return read_file(path)

    watch = Watch(tmp_path / "key", (), 0.25, clock=lambda: next(times), read=reading)
    told = [news for _ in range(8) for news in watch.poll()]
    assert read == ["t1.tif", "t2.tif", "t3.tif", "all.tif"]
    assert told[-1].kind == "complete"


@pytest.mark.parametrize("angle", [-3.0, -1.0, 1.0, 2.0, 3.0])
def test_a_tile_that_lies_askew_is_told_as_it_comes(write: Write, tmp_path: Path, angle: float) -> None:
    """The yardstick is the angle at which the tile was cut."""
    whole, clock = scene(5, 1100, 420), Clock()
    watch = Watch(tmp_path / "key", (), 0.25, clock=clock)
    told = []
    for number, (left, turned) in enumerate(((0, 0.0), (260, 0.3), (520, angle))):
        write(f"t{number}.tif", askew(whole, left, 30, 400, 360, turned), at=f"2026-03-01T10:0{number}:00")
        told.append([n.text for n in look(watch, clock) if n.kind == "warning"])
    assert told[:2] == [[], []], "a third of a degree joins"
    (text,) = told[2]
    between = abs(angle - 0.3)
    assert text.startswith("t2.tif is askew by ") and "relative to t1.tif:" in text
    assert float(text.split("askew by ")[1].split("°")[0]) == pytest.approx(between, abs=0.1)


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


def test_a_file_is_read_only_once_nothing_has_written_to_it_for_a_while(write: Write, tmp_path: Path) -> None:
    clock, read = Clock(), list[str]()

    def reading(path: Path) -> Reading:
        read.append(path.name)
        return read_file(path)

    watch = Watch(tmp_path / "key", (), 0.25, clock=clock, read=reading)
    path = write("a.tif", scene(1, 300, 200))
    assert look(watch, clock, SETTLE / 2) == [] and read == []
    os.utime(path, (1, 1))   # written to again: the wait begins anew
    assert look(watch, clock, SETTLE / 2) == [] and read == []
    clock.seconds += SETTLE / 2
    assert [n.kind for n in watch.poll()] == ["arrived"]
    assert read == ["a.tif"] and watch.poll() == []


def test_a_key_pulled_is_told_once_and_that_it_is_back(write: Write, tmp_path: Path) -> None:
    clock = Clock()
    watch = Watch(tmp_path / "key", (), 0.25, clock=clock)
    assert [n.kind for n in watch.poll()] == ["away"]
    assert watch.poll() == []
    write("t1.tif", scene(5, 300, 200))
    assert [n.kind for n in look(watch, clock)] == ["back", "arrived"]
    (tmp_path / "key").rename(tmp_path / "pulled")
    assert [n.kind for n in look(watch, clock)] == ["away"]
    (tmp_path / "key").mkdir()  # as some systems leave it: the folder is there, and empty
    assert look(watch, clock) == []
    (tmp_path / "key").rmdir()
    (tmp_path / "pulled").rename(tmp_path / "key")
    assert [n.kind for n in look(watch, clock)] == ["back"], "what was read is not read again"
    (tmp_path / "key" / "t1.tif").unlink()
    assert [n.kind for n in look(watch, clock)] == ["away"]


def test_the_map_grows_and_the_stitched_master_completes_the_set(write: Write, tmp_path: Path) -> None:
    whole, clock = scene(11, 900, 700), Clock()
    watch = Watch(tmp_path / "key", (), 0.25, clock=clock)
    grid = {"t1.tif": (0, 0), "t2.tif": (400, 0), "t3.tif": (0, 300), "t4.tif": (400, 300)}  # left, top; 500 × 400
    (tmp_path / "key").mkdir()
    assert watch.poll() == []
    for number, (name, (x, y)) in enumerate(grid.items()):
        write(name, np.ascontiguousarray(whole[y:y + 400, x:x + 500]), at=f"2026-03-01T10:0{number}:00")
        news = look(watch, clock)
        assert news[0].kind == "arrived" and news[0].arrival
        assert [p.tile for p in news[0].map.positions] == [*grid][:number + 1] if news[0].map else number == 0
    last = news[0].map
    assert last is not None and abs(last.aspect - 900 / 700) < 0.02
    for place, (x, y) in zip(last.positions, grid.values(), strict=True):
        truth = (x / 900, y / 700, (x + 500) / 900, (y + 400) / 700)
        assert all(abs(ours - true) < 0.02 for ours, true in zip(place.box, truth, strict=True)), place
    drawn = last.drawn(40, 12).splitlines()
    assert len(drawn) <= 14 and max(map(len, drawn)) <= 40
    assert all(f"{number} t{number}.tif" in "\n".join(drawn[-2:]) for number in range(1, 5))
    write("t2.tif", np.ascontiguousarray(whole[:400, 390:890]), at="2026-03-01T10:05:00")  # scanned again
    again = look(watch, clock)
    assert [n.kind for n in again] == ["arrived"] and "t2.tif: overlaps t1.tif" in again[0].text
    write("all.tif", whole, at="2026-03-01T10:09:00")
    (told,) = look(watch, clock)
    assert told.kind == "complete" and told.map and len(told.map.positions) == 4
    (tmp_path / "key" / "all.tif").unlink()
    assert [n.kind for n in look(watch, clock)] == ["gone"]


def test_what_the_watch_read_is_not_read_again_for_the_plan(
        write: Write, tmp_path: Path, db: Database, home: Home, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    whole, clock = scene(5, 700, 360), Clock()
    write("t1.tif", whole[:, :400])
    write("t2.tif", np.ascontiguousarray(whole[:, 290:690]), at="2026-03-01T10:02:00")
    watch = Watch(tmp_path / "key", (), 0.25, clock=clock)
    assert len(look(watch, clock)) == 2
    write("other.tif", scene(9, 300, 200), at="2026-03-01T10:04:00")
    read: list[str] = []
    monkeypatch.setattr(arrivals, "read_one", lambda path: read.append(Path(path).name) or read_file(path))
    plan = propose(db, home, tmp_path / "key", store, known=watch.readings)
    assert read == ["other.tif"]
    assert [(p.kind, len(p.items)) for p in plan.proposals] == [(Kind.TILES, 2), (Kind.MASTER, 1)]
    assert plan.proposals[0].tiles and "1 t1.tif   2 t2.tif" in plan.proposals[0].map
    write("t1.tif", whole[:, :398])
    propose(db, home, tmp_path / "key", store, known=watch.readings)
    assert "t1.tif" in read, "another file by now"


def _dies(_: Connection, *given: str) -> None:
    begin(*given[1:])
    raise MemoryError("no room for a line of 4 GB")


def test_a_file_that_kills_its_reader_costs_one_reading(
        write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = write("a.tif", scene(1, 300, 200))
    whole = read_in_subprocess(path, never_cancelled)
    assert whole is not None and whole.sha256 == read_file(path).sha256
    assert read_in_subprocess(path, lambda: True) is None
    monkeypatch.setattr(subprocess_reading, "_read", _dies)
    clock = Clock()
    watch = Watch(tmp_path / "key", (), 0.25, clock=clock, read=partial(read_in_subprocess, cancelled=never_cancelled))
    (told,) = look(watch, clock)
    assert told.kind == "unfit" and "crashed" in told.text and "no room for a line" in told.text
    monkeypatch.setattr(subprocess_reading, "_load", _dies)
    with pytest.raises(CatalogueError, match="do not run"):
        read_in_subprocess(path, never_cancelled)
