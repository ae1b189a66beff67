"""The index on disk: finds what it should, grows, and never breaks half-way."""

from pathlib import Path

import numpy as np
import pytest

from catalogue.errors import CatalogueError
from catalogue.likeness import retrieval, shards
from catalogue.likeness import thresholds as limits
from catalogue.likeness.features import Features, bits, extract, from_bytes
from tests.likeness.conftest import NAMES, artwork, captures, master_features

FAR = [0xFFFF_0000_FFFF_0000]  # a pHash near none of ours


def entry(number: int, features: Features, phash: int = 0) -> shards.Entry:
    return shards.Entry(f"{number:064x}", phash, features)


def add(index: retrieval.Index, entries: list[shards.Entry]) -> None:
    index.join([shards.gather_entries(entries)])


@pytest.fixture(scope="module")
def known() -> list[Features]:
    return [master_features(n) for n in NAMES]


def noise(seed: int, count: int = 300) -> Features:
    """Features of nothing in particular, to fill an index quickly."""
    rng = np.random.default_rng(seed)
    spots = np.c_[rng.uniform(0, 1000, (count, 2)), rng.uniform(2, 30, count), rng.uniform(0, 360, count)]
    return Features(1024, 1024, spots.astype(np.float32), rng.integers(0, 90, (count, 128), dtype=np.uint8),
                    rng.integers(0, 255, (6, 6, 3), dtype=np.uint8))


def test_finds_the_master_of_a_tile_and_a_rescan(tmp_path: Path, known: list[Features]) -> None:
    index = retrieval.Index(tmp_path)
    add(index, [entry(100 + i, noise(i)) for i in range(80)] + [entry(i, f) for i, f in enumerate(known)])
    rng = np.random.default_rng(5)
    for number, name in enumerate(NAMES[:3]):
        for made in (
            captures.rescan(artwork(name), 7, rng),
            captures.tile(artwork(name), 7, rng, (0.3, 0.2, 0.4, 0.4)),
        ):
            found = retrieval.Index(tmp_path).candidates(extract(captures.preview(made).picture), FAR)
            assert found[0].key == f"{number:064x}", name


def test_finds_by_hash_alone_a_picture_without_features(tmp_path: Path) -> None:
    plain = noise(1, 0)
    index = retrieval.Index(tmp_path)
    add(index, [entry(i, noise(i), phash=int(np.random.default_rng(i).integers(1 << 62))) for i in range(1, 40)])
    add(index, [entry(77, plain, phash=0x0F0F_0F0F_0F0F_0F0F)])
    other = Features(800, 800, plain.spots, plain.sift, noise(5).thumb)
    found = {c.key: c for c in index.candidates(other, [0x0F0F_0F0F_0F0F_0F0E, 0])}
    assert found[f"{77:064x}"].bits == 1


def test_grows_one_by_one_and_stays_compact(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "SEGMENT_SMALL", 10)
    monkeypatch.setattr(limits, "SEGMENTS_SMALL", 4)
    monkeypatch.setattr(limits, "SEGMENT_MOST", 40)
    index = retrieval.Index(tmp_path)
    for i in range(60):
        add(index, [entry(i, noise(i, 50))])
        assert len(index) == i + 1
    assert len(index.segments) <= 8
    assert max(len(s.keys) for s in index.segments) <= 40, "what is written at once stays bounded"
    assert len(list(tmp_path.iterdir())) == len(index.segments) + 1
    again = retrieval.Index(tmp_path)
    assert again.held(f"{i:064x}" for i in range(70)) == {f"{i:064x}" for i in range(60)}
    for i in (0, 31, 59):
        assert again.candidates(noise(i, 50), FAR)[0].key == f"{i:064x}"


def test_descriptors_come_back_unchanged_out_of_the_lists(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "FLAT_ROWS", 1000)
    index = retrieval.Index(tmp_path)
    made = [noise(i, 200) for i in range(30)]
    add(index, [entry(i, f) for i, f in enumerate(made)])
    codes = shards.codes_of(index.segments[0])
    np.testing.assert_array_equal(codes, np.concatenate([bits(f.sift) for f in made]))


def test_large_parts_share_the_centres_of_their_lists_and_each_finds_its_scans(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The reference is the search of each part by itself, which faiss makes with the part's own centres."""
    for name, value in (("FLAT_ROWS", 1000), ("LIST_ROWS", 100), ("LISTS_SHARED", 32), ("SEGMENT_SMALL", 5)):
        monkeypatch.setattr(limits, name, value)
    index = retrieval.Index(tmp_path)
    for first, count in ((0, 42), (100, 20), (200, 8), (300, 3)):
        add(index, [entry(first + i, noise(first + i, 200)) for i in range(count)])
    large, other, smaller, smallest = (s.centres for s in retrieval.Index(tmp_path).segments)
    assert (len(large), len(smaller), len(smallest)) == (64, 16, 0)
    np.testing.assert_array_equal(large, other, "the finest there are, though 32 would do for so many")
    for number in (3, 112, 204, 301):
        answer = index.candidates(noise(number, 200), FAR, 40)
        assert answer[0].key == f"{number:064x}"
        with monkeypatch.context() as patch:
            patch.setattr(retrieval, "_nearest_lists", lambda *_: {})
            assert index.candidates(noise(number, 200), FAR, 40) == answer


@pytest.mark.parametrize("step", ["lists", "switch", "rename"])
def test_a_cut_off_build_leaves_the_former_index_in_force(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str,
) -> None:
    index = retrieval.Index(tmp_path)
    add(index, [entry(1, noise(1))])

    def cut(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        if step == "lists":
            patch.setattr(shards.faiss, "write_index_binary", cut)
        elif step == "switch":
            patch.setattr(retrieval, "_switch", cut)
        else:
            patch.setattr(Path, "replace", cut)
        with pytest.raises(KeyboardInterrupt):
            add(retrieval.Index(tmp_path), [entry(2, noise(2))])
    again = retrieval.Index(tmp_path)
    assert again.held([f"{1:064x}", f"{2:064x}"]) == {f"{1:064x}"}
    assert again.candidates(noise(1), FAR)[0].key == f"{1:064x}"
    retrieval.sweep(tmp_path)
    assert sum(p.is_dir() for p in tmp_path.iterdir()) == 1
    add(again, [entry(2, noise(2))])
    assert len(retrieval.Index(tmp_path)) == 2


def test_a_damaged_manifest_is_an_empty_index_not_a_crash(tmp_path: Path) -> None:
    add(retrieval.Index(tmp_path), [entry(1, noise(1))])
    (tmp_path / retrieval.MANIFEST).write_text("{", encoding="utf-8")
    assert len(retrieval.Index(tmp_path)) == 0


def test_features_survive_their_bytes(known: list[Features]) -> None:
    again = from_bytes(known[0].to_bytes())
    np.testing.assert_array_equal(again.sift, known[0].sift)
    np.testing.assert_allclose(again.spots[:, :3], known[0].spots[:, :3], atol=1 / 60)
    assert again.thumb.tobytes() == known[0].thumb.tobytes()


def test_features_and_their_part_of_the_index_are_small(known: list[Features], tmp_path: Path) -> None:
    """The figures of the design: 40 kB a scan beside the preview; the index a half more."""
    assert len(known[0].sift) > 450
    assert len(known[0].to_bytes()) < 40_000
    index = retrieval.Index(tmp_path)
    add(index, [entry(n, f) for n, f in enumerate(known)])
    taken = sum(p.stat().st_size for p in tmp_path.rglob("*") if p.is_file())
    assert taken / sum(len(f.sift) for f in known) < 50


def test_features_of_another_version_are_made_again(known: list[Features], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.likeness.features.VERSION", 1)
    former = known[0].to_bytes()
    monkeypatch.undo()
    with pytest.raises(ValueError, match="version 1"):
        from_bytes(former)


def test_a_blank_picture_has_no_features_and_is_no_error() -> None:
    found = extract(np.full((300, 400, 3), 200, np.uint8))
    assert len(found.sift) == 0
    assert from_bytes(found.to_bytes()).width == 400


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_a_full_disk_is_told_not_a_crash(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """faiss tells of a disk that fails by a RuntimeError alone."""
    real = shards.faiss.write_index_binary
    monkeypatch.setattr(shards.faiss, "write_index_binary", lambda lists, _: real(lists, "/dev/full"))
    index = retrieval.Index(tmp_path)
    with pytest.raises(CatalogueError, match="cannot be written"):
        add(index, [entry(1, noise(1))])
    assert len(retrieval.Index(tmp_path)) == 0
