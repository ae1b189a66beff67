"""Which new scans belong together. The yardstick is how the pictures were cut: the tests know where each tile lies."""

from pathlib import Path

import numpy as np
import pytest
from intake_pictures import Write, askew, scene

from catalogue.errors import CatalogueError
from catalogue.intake import arrivals
from catalogue.intake.arrivals import find_files, name_counters, read_arrivals, stem_of
from catalogue.intake.grouping import Group, grouped
from catalogue.intake.overlap import Arrangement, overlap, view


def cut(write: Write, picture: np.ndarray, *, step: tuple[int, int], size: tuple[int, int], start: int = 0,
        name: str = "scan_{:04d}.tif", first: int = 0) -> list[Path]:
    """Tiles of a picture in reading order, two minutes apart."""
    made = []
    for y in range(0, picture.shape[0] - size[1] + 1, step[1]):
        for x in range(0, picture.shape[1] - size[0] + 1, step[0]):
            number = first + len(made)
            made.append(write(name.format(number), picture[y:y + size[1], x:x + size[0]],
                              at=f"2026-03-01T10:{start + 2 * len(made):02d}:00"))
    return made


def groups_of(folder: Path, wished: float = 0.25) -> list[Group]:
    return grouped(read_arrivals(find_files(folder, ())[0]), wished)


def names(group: Group) -> list[str]:
    return [a.path.name for a in group.members]


def test_tiles_are_put_together_and_their_stitched_master_is_found(write: Write, tmp_path: Path) -> None:
    whole = scene(1, 700, 520)
    tiles = cut(write, whole, step=(240, 200), size=(460, 320))
    write("quay, whole.tif", whole, at="2026-03-01T10:30:00")
    write("scan_0004.tif", scene(2, 460, 320), at="2026-03-01T10:12:00")
    first, second = groups_of(tmp_path / "key")
    assert first.tiles
    assert names(first) == [t.name for t in tiles]
    assert [a.path.name for a in first.stitched] == ["quay, whole.tif"]
    assert not first.warnings
    assert (second.tiles, names(second)) == (False, ["scan_0004.tif"])
    assert "too narrow" in second.warnings[0]


def test_two_works_scanned_one_after_another_are_told_apart(write: Write, tmp_path: Path) -> None:
    """One running number over two works: only the pictures can tell where one ends."""
    one = cut(write, scene(3, 640, 320), step=(220, 320), size=(420, 320))
    two = cut(write, scene(4, 640, 320), step=(220, 320), size=(420, 320), start=10, first=2)
    found = groups_of(tmp_path / "key")
    assert [names(g) for g in found] == [[t.name for t in one], [t.name for t in two]]
    assert all(g.tiles for g in found)


def test_a_long_pause_parts_two_originals_of_one_running_number(write: Write, tmp_path: Path) -> None:
    for number, at in enumerate(("10:00", "10:40", "11:20", "12:10", "12:12")):
        write(f"scan_{number}.tif", scene(number, 80, 60), at=f"2026-03-01T{at}:00")
    arrived = read_arrivals(find_files(tmp_path / "key", ())[0])
    assert [[a.path.name for a in run] for run in arrivals.runs(arrived)] == [
        ["scan_0.tif", "scan_1.tif", "scan_2.tif"], ["scan_3.tif", "scan_4.tif"]]


def test_a_turned_tile_and_a_thin_overlap_are_told(write: Write, tmp_path: Path) -> None:
    whole = scene(5, 1010, 360)
    write("t1.tif", whole[:, :400], at="2026-03-01T10:00:00")
    write("t2.tif", np.rot90(whole[:, 270:670]).copy(), at="2026-03-01T10:02:00")
    write("t3.tif", whole[:, 610:], at="2026-03-01T10:04:00")
    (group,) = groups_of(tmp_path / "key", wished=0.4)
    turned = [w for w in group.warnings if "is turned" in w]
    assert turned
    assert all(w.startswith("t2.tif is turned 90°") for w in turned)
    assert any(w.startswith("t3.tif overlaps ") for w in group.warnings)
    assert not any(w.startswith("t1.tif overlaps") for w in group.warnings)


def test_the_one_tile_that_lies_askew_is_named_not_its_neighbours(write: Write, tmp_path: Path) -> None:
    whole = scene(5, 1100, 420)
    for number, (left, angle) in enumerate(((0, 0.0), (230, 2.0), (460, 0.0))):
        write(f"t{number}.tif", askew(whole, left, 30, 400, 360, angle), at=f"2026-03-01T10:0{number}:00")
    write("t3.tif", np.rot90(askew(whole, 690, 30, 400, 360, 0.0), 2).copy(), at="2026-03-01T10:03:00")
    (group,) = groups_of(tmp_path / "key")
    askew_ones = [w for w in group.warnings if "askew" in w]
    assert len(askew_ones) == 1 and askew_ones[0].startswith("t1.tif is askew by 2.0° relative to t"), group.warnings
    assert "and 1 more" in askew_ones[0], "half a turn is no tilt"


def test_how_two_scans_lie_is_measured(write: Write, tmp_path: Path) -> None:
    """The overlap is known from the cut: 150 of 400 columns."""
    whole = scene(6, 650, 380)
    for name, part in (("a.tif", whole[:, :400]), ("b.tif", whole[:, 250:]), ("w.tif", whole)):
        write(name, part)
    a, b, w = (view(x) for x in sorted(read_arrivals(find_files(tmp_path / "key", ())[0]), key=lambda x: x.inside))
    assert a and b and w
    beside = overlap(a, b)
    assert beside and beside.arrangement is Arrangement.BESIDE
    assert beside.strip == pytest.approx(150 / 400, abs=0.004)
    assert beside.turn == 0
    inside = overlap(b, w)
    assert inside and inside.arrangement is Arrangement.WITHIN
    assert inside.corners[0] == pytest.approx((250 / 650, 0), abs=0.004)
    around = overlap(w, b)
    assert around and around.arrangement is Arrangement.AROUND


def test_a_view_captured_twice_is_one_group_and_no_tile_set(write: Write, tmp_path: Path) -> None:
    whole = scene(7, 420, 320)
    write("scan 1.tif", whole)
    write("scan 2.tif", np.clip(whole.astype(int) + 6, 0, 255).astype(np.uint8), at="2026-03-01T10:02:00")
    (group,) = groups_of(tmp_path / "key")
    assert not group.tiles
    assert len(group.members) == 2


def test_tiles_without_detail_are_grouped_by_name_with_a_doubt(write: Write, tmp_path: Path) -> None:
    plain = np.full((200, 300, 3), 128, np.uint8)
    for n in (1, 2):
        write(f"mist_tile_{n}.tif", plain + n, at=f"2026-03-01T10:0{n}:00")
    (group,) = groups_of(tmp_path / "key")
    assert group.tiles
    assert group.certainty < 0.75
    assert "by eye" in group.warnings[0]


def test_a_file_cut_short_is_kept_out_with_its_reason(write: Write, tmp_path: Path) -> None:
    whole = write("a.tif", scene(8, 400, 300))
    short = whole.with_name("b.tif")
    short.write_bytes(whole.read_bytes()[:100_000])
    faults = {a.path.name: a.faults for a in read_arrivals(find_files(tmp_path / "key", ())[0])}
    assert not faults["a.tif"]
    assert faults["b.tif"]
    assert [names(g) for g in groups_of(tmp_path / "key")] == [["a.tif"]]


def test_many_bytes_are_read_by_processes_with_the_same_result(
        write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for n in range(3):
        write(f"{n}.tif", scene(n, 80, 60))
    files, _ = find_files(tmp_path / "key", ())
    here = read_arrivals(files)
    monkeypatch.setattr(arrivals, "INLINE_BYTES", 0)
    assert [(a.inside, a.reading.sha256, a.moment) for a in read_arrivals(files)] == [
        (a.inside, a.reading.sha256, a.moment) for a in here]


def test_numbers_in_names_count_as_numbers() -> None:
    assert sorted(["scan 10", "scan 9", "scan 2b", "Scan 1"], key=name_counters) == \
        ["Scan 1", "scan 2b", "scan 9", "scan 10"]
    assert stem_of("k/Harbour_0012.tif") == stem_of("k/harbour 3.tiff") == ("k", "harbour")
    assert stem_of("k/Quay tile 2 of 6.tif") == stem_of("k/quay_tile_11of12.tif") == ("k", "quay tile")
    assert stem_of("k/Quay r1c2.tif") == stem_of("k/Quay r10c3.tif") == ("k", "quay")
    assert stem_of("0012.tif") == ("", "")


def test_a_missing_folder_is_said(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError) as told:
        find_files(tmp_path / "nowhere", ())
    assert told.value.path == tmp_path / "nowhere"
