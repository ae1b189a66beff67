"""The archive of the tests is what its truth says, judged by programs and libraries that did not write the truth.

It is the demo's, painted by the same code with a quarter of the pixels a side.
"""

from __future__ import annotations

import csv
import hashlib
import shutil
import subprocess
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
import tifffile
from painting.stock import stock
from PIL import Image

Files = dict[str, dict[str, Any]]


def _tiffs(files: Files) -> list[str]:
    return [name for name, e in files.items() if name.endswith(".tif") and not e["fault"]]


def test_truth_lists_exactly_the_files_present(archive: Path, files: Files) -> None:
    # a store's marker and a desktop's own files begin with a dot and are not part of what ships
    present = {
        p.relative_to(archive).as_posix() for p in archive.rglob("*") if p.is_file() and not p.name.startswith(".")
    }
    assert present - {"truth.json"} == set(files)


def test_it_is_small_enough_to_ship(archive: Path) -> None:
    assert sum(p.stat().st_size for p in archive.rglob("*") if p.is_file()) <= 25_000_000


def test_digests_are_those_of_hashlib(archive: Path, files: Files) -> None:
    for name, entry in files.items():
        data = (archive / name).read_bytes()
        assert (hashlib.sha256(data).hexdigest(), len(data)) == (entry["sha256"], entry["bytes"]), name


@pytest.mark.skipif(not shutil.which("sha256sum"), reason="no sha256sum program here; hashlib was asked above")
def test_digests_are_those_of_sha256sum(archive: Path, files: Files) -> None:
    listing = "".join(f"{entry['sha256']}  {name}\n" for name, entry in files.items())
    said = subprocess.run(
        ["sha256sum", "--check", "--quiet", "--strict", "-"],
        cwd=archive,
        input=listing,
        text=True,
        capture_output=True,
        check=False,
    )
    assert said.returncode == 0, said.stdout + said.stderr


def test_names_are_many_and_distinct(truth: dict[str, Any]) -> None:
    for kind, least in (("artists", 8), ("pieces", 40), ("buyers", 10)):
        names = truth[kind]
        assert len({n.casefold() for n in names}) == len(names) >= least


def test_every_kind_of_file_is_there(archive: Path, files: Files) -> None:
    sound = {name: files[name] for name in _tiffs(files)}
    masters = [e for e in sound.values() if e["role"] == "master"]
    assert {e["compression"] for e in masters} >= {"none", "lzw", "deflate", "jpeg", "zstd", "packbits"}
    assert {e["bits"] for e in masters} == {8, 16}
    assert {e["space"] for e in masters} >= {"sRGB", "wide", "grey", "cmyk", "lab"}
    assert {e["tiled"] for e in masters} == {True, False}
    assert any(e["alpha"] for e in masters)
    assert any(e["pages"] == 3 for e in masters)
    assert any(e["profile"] is None for e in masters)
    heads = Counter((archive / name).read_bytes()[:4] for name in sound)
    assert heads[b"II*\0"] and heads[b"MM\0*"] == 1 + 1  # TIFF 6.0 section 2: a master and its copy
    assert heads[b"II+\0"] == 2 * (1 + 1)  # BigTIFF: a master, its edited version, and their copies
    kinds = Counter(e["relation"]["kind"] for e in files.values() if e["relation"])
    assert set(kinds) == {
        "same bytes",
        "same pixels",
        "reworked",
        "re-scan",
        "tile of",
        "detail of",
        "photo of",
        "damaged copy of",
    }


def test_originals_are_of_a_size_a_shop_scans_and_at_its_resolutions(files: Files, truth: dict[str, Any]) -> None:
    masters = [e for e in files.values() if e["current_master"]]
    assert {round(e["ppi"] / truth["scale"]) for e in masters} == {300, 400, 600}
    longs = {e["piece"]: max(e["width"], e["height"]) / e["ppi"] * 25.4 for e in masters}
    assert sum(104 <= mm <= 420 for mm in longs.values()) >= 40  # A6's short side to A3's long one, ISO 216
    assert [piece for piece, mm in longs.items() if mm > 420] == ["Harbour, Low Water"]  # the one captured in tiles
    assert {piece for piece, mm in longs.items() if mm < 104} == {"Two Bowls (miniature)", "Blue Jug (miniature)"}
    deep = [e for e in masters if e["bits"] == 16]
    assert 5 <= len(deep) <= 12


def test_it_was_painted_from_the_stock_list_as_it_is(files: Files, truth: dict[str, Any]) -> None:
    """Who changes the list paints it again: `paint_archive.py demo_archive --scale 0.25`, the folder emptied before."""
    works = stock(truth["scale"])
    masters = {e["piece"]: e for e in files.values() if e["current_master"]}
    assert truth["pieces"] == [work.title for work in works]
    assert {work.title: (work.artist, work.width, work.height) for work in works} == {
        piece: (e["artist"], e["width"], e["height"]) for piece, e in masters.items()
    }


def test_there_is_one_of_each_thing_to_act_on(files: Files, truth: dict[str, Any]) -> None:
    faults = Counter(e["fault"]["kind"] for e in files.values() if e["fault"])
    assert faults == {"changed": 1, "truncated": 1, "missing": 1}
    main = {name: e for name, e in files.items() if name.startswith("main-disk/")}
    doubles = [name for name, e in main.items() if e["relation"] and e["relation"]["kind"] == "same bytes"]
    assert doubles == ["main-disk/old desktop/scan0034.tif"]
    masters = [e for e in main.values() if e["role"] == "master" and e["artist"]]
    assert [e["piece"] for e in masters if not e["profile"] and e["space"] != "lab"] == ["Horizon, Unfinished"]
    turned = [e for e in main.values() if e["relation"] and abs(e["relation"].get("rotation_deg", 0)) > 45]
    assert [e["piece"] for e in turned] == ["Harbour, Blue Hour"]
    assert {e["piece"] for e in main.values() if e["role"] == "tile"} == {"Harbour, Low Water"}
    assert list(truth["series"]) == ["Tide Table"] and len(truth["series"]["Tide Table"]) == 6


def test_every_master_but_the_newest_lies_on_the_second_disk(files: Files) -> None:
    copied = {e["sha256"] for name, e in files.items() if name.startswith("copy-disk/")}
    alone = [
        e["piece"]
        for name, e in files.items()
        if name.startswith("main-disk/") and e["role"] == "master" and e["sha256"] not in copied
    ]
    assert alone == ["Horizon, Unfinished"]


def test_tile_sets(files: Files) -> None:
    sets: dict[str, list[int]] = {}
    for entry in files.values():
        if entry["role"] == "tile":
            sets.setdefault(entry["piece"], []).append(entry["relation"]["number"])
            assert 0.2 <= 1 - _step(entry) <= 0.3, entry
    assert {k: sorted(v) for k, v in sets.items()} == {
        "Harbour, Low Water": [1, 2, 3, 4],
        "Birches 🌿": [1, 2, 3, 4],  # in the inbox
    }


def _step(tile: dict[str, Any]) -> float:
    """How far the next tile to the right starts, as a share of a tile's width (two columns)."""
    r = tile["relation"]
    return float(r["x"] / r["w"]) if r["x"] else 0.75


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
def test_pillow_and_tifffile_agree_with_the_truth(archive: Path, files: Files) -> None:
    dated = 0
    for name in _tiffs(files):
        entry = files[name]
        with tifffile.TiffFile(archive / name) as tif, Image.open(archive / name) as im:
            page = tif.pages[0]
            tags = page.tags
            assert len(tif.pages) == getattr(im, "n_frames", 1) == entry["pages"], name
            assert (page.imagewidth, page.imagelength) == im.size == (entry["width"], entry["height"]), name
            assert (page.bitspersample, page.samplesperpixel) == (entry["bits"], entry["samples"]), name
            assert page.is_tiled == entry["tiled"], name
            assert tif.is_bigtiff == entry["bigtiff"], name
            per_inch = 2.54 if tags[296].value == 3 else 1.0
            x = tags[282].value
            assert x[0] / x[1] * per_inch == pytest.approx(entry["ppi"], rel=1e-4), name
            assert float(im.info["dpi"][0]) == pytest.approx(entry["ppi"], rel=1e-4), name
            profile = tags[34675].value if 34675 in tags else None
            assert profile == im.info.get("icc_profile"), name
            assert (profile is None) == (entry["profile"] is None), name
            packet = tags[700].value if 700 in tags else None
            assert packet == im.tag_v2.get(700), name
            for code in (271, 272, 305, 306):
                assert (tags[code].value if code in tags else None) == im.tag_v2.get(code), (name, code)
            if 34665 in tags:
                seen = im.getexif().get_ifd(0x8769)
                assert tags[34665].value["DateTimeOriginal"] == seen[36867], name
                assert tags[34665].value["DateTimeDigitized"] == seen[36868], name
                dated += 1
    assert dated > 60


def test_xmp_names_the_piece_as_pillow_reads_it(archive: Path, files: Files) -> None:
    named = works = 0
    for name in _tiffs(files):
        with Image.open(archive / name) as im:
            if 700 not in im.tag_v2:
                continue
            about = im.getxmp()["xmpmeta"]["RDF"]["Description"]
        assert about["title"]["Alt"]["li"]["text"] == files[name]["piece"], name
        assert about["creator"]["Seq"]["li"] == files[name]["artist"], name
        named += 1
        if "ArtworkOrObject" in about:
            works += 1
            assert about["ArtworkOrObject"]["Bag"]["li"]["AOTitle"]["Alt"]["li"]["text"] == files[name]["piece"]
    assert named > 40
    assert works > 15


@pytest.mark.filterwarnings("ignore:Corrupt EXIF data:UserWarning")  # Pillow, of the file cut short
def test_what_happens_since_is_as_stated(archive: Path, files: Files) -> None:
    faults = {name: e["fault"] for name, e in files.items() if e["fault"]}
    since = {fault["kind"]: (archive / name, archive / fault["of"]) for name, fault in faults.items()}
    assert set(since) == {"changed", "truncated", "missing"}
    cut, intact = since["truncated"]
    assert intact.read_bytes().startswith(cut.read_bytes())
    with Image.open(intact) as im:
        im.load()
    with pytest.raises(OSError), Image.open(cut) as im:
        im.load()
    flipped, good = (path.read_bytes() for path in since["changed"])
    assert len(flipped) == len(good)
    assert sum(a != b for a, b in zip(flipped, good, strict=True)) == 48
    listed, gone = since["missing"]
    assert listed.read_text(encoding="utf-8").splitlines() == [gone.relative_to(archive).as_posix()]
    assert gone.is_file()


def _orders(archive: Path) -> list[dict[str, str]]:
    with (archive / "orders.csv").open(encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f))


def test_masters_serve_the_sizes_ordered_with_five_exceptions(
    archive: Path, files: Files, truth: dict[str, Any]
) -> None:
    """200 ppi on paper, 150 on canvas, and the picture's own shape; common practice, no source."""
    by_name = {Path(name).name: e for name, e in files.items() if name.startswith("main-disk/")}
    badly = Counter[str]()
    for row in _orders(archive):
        master = by_name[row["master file"].replace(" master 2019", " master")]
        grown = (2 * float(row["wrap_mm"] or 0) * (row["edge"] == "stretched") - 2 * float(row["border_mm"] or 0)) / 10
        width, height = float(row["width_cm"]) + grown, float(row["height_cm"]) + grown
        ppi = min(master["width"] / width, master["height"] / height) * 2.54 / truth["scale"]
        shape = width / height / (master["width"] / master["height"])
        if ppi < (149.5 if "canvas" in row["medium"] else 199.5) or not 0.98 < shape < 1.02:
            badly[row["piece"]] += 1
    assert badly == {
        "Quay by Night": 1,
        "Herring Boats at Skarnøy": 1,
        "Three Jugs and a Bowl": 1,
        "Regatta, Grey Morning": 1,
        "Blue Jug (miniature)": 1,
    }


def test_the_first_scan_of_the_harbour_was_printed_from_before_the_tiles(archive: Path, truth: dict[str, Any]) -> None:
    early = [row for row in _orders(archive) if row["master file"].endswith(" master 2019.tif")]
    assert [(row["piece"], row["status"]) for row in early] == [("Harbour, Low Water", "collected")]
    assert early[0]["date"] < truth["scanned"]["Harbour, Low Water"]


def test_no_print_is_older_than_the_scan_it_came_from(archive: Path, truth: dict[str, Any]) -> None:
    assert [
        row["piece"]
        for row in _orders(archive)
        if row["date"] < truth["scanned"][row["piece"]][:10] and " 2019" not in row["master file"]
    ] == []


def test_orders_draw_on_editions_once_and_on_files_that_exist(archive: Path, files: Files) -> None:
    with (archive / "editions.csv").open(encoding="utf-8", newline="") as f:
        limits = {(r["title"], r["size"]): int(r["N"]) for r in csv.DictReader(f)}
    orders = _orders(archive)
    held = {Path(name).name for name in files if name.startswith("main-disk/")}
    issued: Counter[tuple[str, str, int]] = Counter()
    for row in orders:
        assert row["master file"] in held
        size = f"{row['width_cm']}x{row['height_cm']}"
        key = (row["piece"], size if (row["piece"], size) in limits else "")
        if row["status"] == "cancelled" or key not in limits:
            assert not row["edition_numbers"]
            continue
        numbers = [
            n
            for span in row["edition_numbers"].split(", ")
            for n in range(int(span.split("-")[0]), int(span.split("-")[-1]) + 1)
        ]
        assert len(numbers) == int(row["quantity"])
        for n in numbers:
            assert 1 <= n <= limits[key]
            issued[(*key, n)] += 1
    assert max(issued.values()) == 1
    out = Counter((piece, size) for piece, size, _ in issued)
    assert {key[0]: limits[key] - n for key, n in out.items() if n > 0.8 * limits[key]} == {"Copper Bottle": 1}
    assert len({(r["invoice"], r["status"], r["buyer"], r["date"]) for r in orders}) == len(
        {r["invoice"] for r in orders}
    )
    assert len(orders) == 120
    assert {row["date"][:4] for row in orders} == {"2021", "2022", "2023", "2024", "2025"}
    assert [r["date"] for r in orders] == sorted(r["date"] for r in orders)
