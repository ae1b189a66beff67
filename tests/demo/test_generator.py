"""The generator: reproducible, of any size, and its colour is right by littleCMS."""

from __future__ import annotations

import hashlib
import io
import json
from pathlib import Path

import numpy as np
import paint_archive
import pytest
from painting import bulk, demo, profiles
from painting.manners import MANNERS
from PIL import Image, ImageCms


def _digests(root: Path) -> dict[str, str]:
    return {
        p.relative_to(root).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in root.rglob("*")
        if p.is_file()
    }


def test_the_same_seed_paints_the_same_bytes_on_one_or_two_workers(tmp_path: Path) -> None:
    size = ["--pieces", "60", "--px", "64", "--copies", "2", "--orders", "20"]
    assert paint_archive.main([str(tmp_path / "a"), *size]) == 0
    assert paint_archive.main([str(tmp_path / "b"), *size, "--workers", "2"]) == 0
    assert paint_archive.main([str(tmp_path / "c"), *size, "--seed", "8"]) == 0
    one, two, other = (_digests(tmp_path / n) for n in "abc")
    assert one == two
    assert one != other
    truth = json.loads((tmp_path / "a/truth.json").read_text(encoding="utf-8"))
    assert {n: e["sha256"] for n, e in truth["files"].items()} == {n: d for n, d in one.items() if n != "truth.json"}
    masters = [e for n, e in truth["files"].items() if n.startswith("main-disk/") and e["current_master"]]
    assert len({e["sha256"] for e in masters}) == len(masters) == 60
    assert len({e["manner"] for e in masters}) == len(MANNERS)
    with Image.open(tmp_path / "a" / next(n for n in one if n.endswith("master.tif"))) as im:
        assert max(im.size) == 64


def test_a_mini_archive(tmp_path: Path) -> None:
    assert paint_archive.main([str(tmp_path / "mini"), "--pieces", "8", "--px", "64", "--derived", "1"]) == 0
    truth = json.loads((tmp_path / "mini/truth.json").read_text(encoding="utf-8"))
    kinds = sorted(e["relation"]["kind"] for e in truth["files"].values() if e["relation"])
    assert kinds == ["detail of"] * 8 + ["re-scan"] * 8 + ["tile of"] * 8


def test_tiny_files_are_valid_and_distinct(tmp_path: Path) -> None:
    assert paint_archive.main([str(tmp_path), "--files-only", "300"]) == 0
    digests = _digests(tmp_path)
    assert len(digests) == len(set(digests.values())) == 300
    for name in digests:
        with Image.open(tmp_path / name) as im:
            im.load()
            assert (im.size, im.mode) == ((8, 8), "L")


def test_a_folder_with_anything_in_it_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "keep.txt").write_text("mine", encoding="utf-8")
    assert paint_archive.main([str(tmp_path)]) == 2
    assert "not empty" in capsys.readouterr().err
    assert [p.name for p in tmp_path.iterdir()] == ["keep.txt"]


@pytest.fixture
def painted(monkeypatch: pytest.MonkeyPatch) -> list[Path]:
    """Where the demo was painted; in place of a painting there is one file."""
    places: list[Path] = []

    def paint(root: Path, *_: object) -> int:
        places.append(root)
        (root / "truth.json").write_text(str(len(places)), encoding="utf-8")
        return 1

    monkeypatch.setattr(demo, "paint_demo", paint)
    return places


def test_the_demo_is_painted_once_and_again_when_the_painter_changes(
    tmp_path: Path, painted: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = [str(tmp_path / "demo" / "archive"), "--unless-painted"]
    assert [paint_archive.main(asked), paint_archive.main(asked)] == [0, 0]
    assert len(painted) == 1
    monkeypatch.setattr(paint_archive, "recipe", lambda *_: "another")
    assert paint_archive.main(asked) == 0
    assert (tmp_path / "demo/archive/truth.json").read_text(encoding="utf-8") == "2"
    assert [p.name for p in (tmp_path / "demo").iterdir()] == ["archive"]


def test_a_painting_that_fails_leaves_the_earlier_one(
    tmp_path: Path, painted: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = [str(tmp_path / "archive"), "--unless-painted"]
    assert paint_archive.main(asked) == 0
    monkeypatch.setattr(paint_archive, "recipe", lambda *_: "another")

    def stop(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(demo, "paint_demo", stop)
    with pytest.raises(KeyboardInterrupt):
        paint_archive.main(asked)
    assert (tmp_path / "archive/truth.json").read_text(encoding="utf-8") == "1"
    assert [p.name for p in tmp_path.iterdir()] == ["archive"]
    assert len(painted) == 1


def test_no_folder_of_somebody_elses_is_replaced(
    tmp_path: Path, painted: list[Path], capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "keep.txt").write_text("mine", encoding="utf-8")
    assert paint_archive.main([str(tmp_path), "--unless-painted"]) == 2
    assert "something other than a painted archive" in capsys.readouterr().err
    assert painted == [] and [p.name for p in tmp_path.iterdir()] == ["keep.txt"]


def test_invented_names_do_not_repeat() -> None:
    assert len({bulk.artist_name(n) for n in range(20_000)}) == 20_000
    assert len({bulk.piece_name(n) for n in range(20_000)}) == 20_000


def _through(name: str, values: np.ndarray, mode: str) -> np.ndarray:
    """8-bit device values to sRGB by littleCMS, colorimetric."""
    source = ImageCms.ImageCmsProfile(io.BytesIO(profiles.profile(name)))
    made = ImageCms.profileToProfile(
        Image.fromarray(values, mode),
        source,
        ImageCms.createProfile("sRGB"),
        ImageCms.Intent.RELATIVE_COLORIMETRIC,
        "RGB",
    )
    assert made is not None
    return np.asarray(made).astype(int)


# no deep shades: there one step of eight bits in a wide space is several in sRGB
_PATCHES = np.random.default_rng(3).random((12, 12, 3)).astype(np.float32) * 0.6 + 0.25


def test_wide_profile_brings_srgb_colours_back() -> None:
    wide = np.round(profiles.to_wide(_PATCHES) * 255).astype(np.uint8)
    assert np.abs(_through("Wide RGB test profile", wide, "RGB") - np.round(_PATCHES * 255)).max() <= 4


def test_cmyk_profile_brings_srgb_colours_back() -> None:
    inks = np.round(profiles.to_cmyk(_PATCHES) * 255).astype(np.uint8)
    off = np.abs(_through("Paint recipe CMYK", inks, "CMYK") - np.round(_PATCHES * 255))
    assert off.mean() < 4  # a table of seven steps a side, interpolated in Lab
    assert np.percentile(off, 95) < 12


def test_profiles_open_and_carry_no_date_of_today() -> None:
    for name in ("sRGB", "Wide RGB test profile", "Grey gamma 2.2", "Paint recipe CMYK"):
        data = profiles.profile(name)
        assert data[36:40] == b"acsp"  # ICC.1:2001-04, 6.1
        assert int.from_bytes(data[:4], "big") == len(data)
        assert data[24:26] == (2020).to_bytes(2, "big")
        assert ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(data))).strip()


def test_lab_is_that_of_little_cms() -> None:
    eight = np.round(_PATCHES * 255).astype(np.uint8)
    srgb, lab = ImageCms.createProfile("sRGB"), ImageCms.createProfile("LAB")
    made = ImageCms.profileToProfile(Image.fromarray(eight), srgb, lab, outputMode="LAB")
    assert made is not None
    stored = np.asarray(made)
    theirs = np.dstack([stored[..., 0] / 2.55, stored[..., 1:].view(np.int8)])
    assert np.abs(profiles.srgb_to_lab(eight / 255) - theirs).max() < 1.0  # theirs is in whole steps
    # D50, Bradford: scikit-image's red, in the project's table of check values
    assert profiles.srgb_to_lab(np.array([[[1.0, 0, 0]]]))[0, 0] == pytest.approx([54.292, 80.812, 69.885], abs=0.03)
