"""Print files of orders: made, recorded, made again and compared, by the command and by the operation."""

import base64
import hashlib
import io
import json
import os
import re
import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, redirect_stderr
from dataclasses import replace
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from catalogue.errors import CatalogueError, InsideStore, ReadOnly, Refused
from catalogue.fixity.backup import back_up
from catalogue.fixity.rebuild import rebuild
from catalogue.fixity.recovery import recover
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.intake.freeing import Obstacle
from catalogue.likeness.colour import delta_e
from catalogue.operations import print_file_proofs as proofs_of
from catalogue.operations import print_files as operation
from catalogue.operations.correcting import choose_current_master
from catalogue.print_files.channels import stored
from catalogue.print_files.recipe import describe, from_json
from catalogue.print_files.tiff_file import recipe_in
from catalogue.records import findings, print_files, scans
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.replay import differences, undo
from catalogue.sheets.print_file import MADE_BEFORE_A_CHANGE
from tests.copies import copy_shop
from tests.files import SRGB
from tests.operations.shops import Archive

WIDE = imagecodecs.cms_profile("adobergb")


def master(path: Path, seed: int, width: int = 600, height: int = 840, **options: Any) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    small = np.random.default_rng(seed).integers(0, 65536, (7, 5, 3)).astype(np.float64)
    y, x = np.linspace(0, 6, height), np.linspace(0, 4, width)
    rows = small[np.minimum(y.astype(int), 5)] * (1 - y % 1)[:, None, None] + small[
        np.minimum(y.astype(int) + 1, 6)] * (y % 1)[:, None, None]
    picture = rows[:, np.minimum(x.astype(int), 4)].astype(np.uint16)
    tifffile.imwrite(path, picture, photometric="rgb", iccprofile=WIDE, metadata=None, **options)
    return path


class PrintShop(Archive):
    """A store of two masters, an order K-1 of two lines, and an empty folder of the printer."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.hot = folder / "hot folder"
        self.harbour = folder / "main/Ada Quill/Harbour/master.tif"

    def build(self) -> None:
        folder = self.folder
        master(self.harbour, 1)
        master(folder / "main/Ada Quill/Pier/master.tif", 2, 840, 600)
        self.hot.mkdir()
        with closing(open_database(self.home.database)) as db:
            index(db, self.home, [add_store(db, "main", folder / "main", "primary", consent=True)],
                  executors=ThreadPoolExecutor)
        for words in (("harbour", "--size", "50x70mm", "--medium", "rag"),
                      ("pier", "--size", "50x70mm", "--medium", "canvas", "--wrap", "5", "--edge", "mirrored")):
            assert self.call("order", "add", *words, "--number", "K-1", "--yes")[0] == 0

    def print(self, *words: object, order: str = "K-1", code: int = 0) -> Any:
        """What the command says as JSON: ``made`` and ``not_made``."""
        done, told = self.call("--json", "print", order, *words)
        assert done == code, told
        return json.loads(told)

    def compared(self, *words: object, order: str = "K-1") -> Any:
        """How the one file that is made compares with last time's."""
        (made,) = self.print(*words, order=order)["made"]
        return made["comparison"]

    def freed(self, *, code: int = 0) -> Any:
        """What removing the store's print files says, as JSON: ``removed``, ``skipped``."""
        done, told = self.call("--json", "doubles", "main", "--print-files", "--free", "--yes")
        assert done == code, told
        return json.loads(told)

    def brought_back(self, undo_list: Path, *, code: int = 0) -> Any:
        done, told = self.call("--json", "doubles", "--print-files", "--undo", undo_list)
        assert done == code, told
        return json.loads(told)

    def made(self) -> list[print_files.PrintFile]:
        with closing(open_database(self.home.database)) as db:
            return [file for line in (1, 2) for file in print_files.of_line(db, line)]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop")
    PrintShop(folder).build()
    return folder


@pytest.fixture
def shop(built: Path, tmp_path: Path) -> PrintShop:
    shop = PrintShop(tmp_path)
    copy_shop(built, tmp_path, shop.home)
    return shop


@pytest.fixture
def db(shop: PrintShop) -> Iterator[Database]:
    with closing(open_database(shop.home.database)) as found:
        yield found


def failed(shop: PrintShop, *words: object) -> str:
    with redirect_stderr(io.StringIO()) as told:
        assert shop.call("print", "K-1", *words)[0] == 2
    return told.getvalue()


def test_an_orders_print_files_are_made_and_recorded(shop: PrintShop) -> None:
    done = shop.print("--to", shop.hot)
    assert (len(done["made"]), done["not_made"]) == (2, [])
    first, second = shop.made()
    names = sorted(path.name for path in shop.hot.iterdir())
    assert names == sorted([first.name, second.name]) == ["K-1-1 50x70mm 300ppi Harbour.tif",
                                                          "K-1-2 70x50mm 300ppi Pier.tif"]
    for file in (first, second):
        path = shop.hot / file.name
        assert hashlib.sha256(path.read_bytes()).hexdigest() == file.sha256
        assert recipe_in(path) == (from_json(file.recipe), file.versions)
        assert set(json.loads(file.versions)) == {"catalogue", "imagecodecs", "tifffile"}
        assert file.folder == str(shop.hot)
    assert [made["file"]["sha256"] for made in done["made"]] == [first.sha256, second.sha256]
    recipe = from_json(second.recipe)
    assert (recipe.edge, recipe.wrap_mm, recipe.ppi, recipe.bits) == ("mirrored", 5, 300, 16)
    assert (second.width, second.height) == (round(70 / 25.4 * 300) + 2 * 59, round(50 / 25.4 * 300) + 2 * 59)


def test_a_folder_whose_disk_was_pulled_gets_no_further_file(shop: PrintShop, db: Database, tmp_path: Path) -> None:
    """What stands in its place is the empty folder it was mounted on."""
    pulled = tmp_path / "pulled"

    def pull() -> bool:
        if not pulled.exists() and any(path.suffix == ".tif" for path in shop.hot.iterdir()):
            shop.hot.rename(pulled)
            shop.hot.mkdir()
        return False

    done = operation.make_prints(db, shop.home, operation.lines_to_print(db, "K-1"), {}, shop.hot,
                                 cancelled=pull)
    assert len(done.made) == len(done.not_made) == 1 and not list(shop.hot.iterdir())
    assert "disconnected" in done.not_made[0].message and done.not_made[0].path == str(shop.hot)


def test_made_again_it_is_the_same_file_bit_for_bit(shop: PrintShop, tmp_path: Path) -> None:
    shop.print("--line", 1, "--to", shop.hot)
    before = (shop.hot / shop.made()[0].name).read_bytes()
    other = tmp_path / "another"
    other.mkdir()
    assert shop.compared("--line", 1, "--to", other)["same_bytes"]
    assert next(other.iterdir()).read_bytes() == before
    assert len(shop.made()) == 2
    (again,) = shop.print("--line", 1, "--to", other)["made"]     # it stands there already
    assert again["file"]["there"] and again["comparison"]["same_bytes"]
    assert len(shop.made()) == 2


def test_a_repeat_takes_last_times_choices_and_is_compared_with_it(shop: PrintShop) -> None:
    shop.print("--line", 1, "--to", shop.hot, "--ppi", 200, "--marks", "--bleed", 3, "--kernel", "mitchell")
    assert shop.call("order", "repeat", "K-1", "--line", 1, "--number", "K-2", "--yes")[0] == 0
    assert shop.compared("--to", shop.hot, order="K-2")["same_bytes"]
    compared = shop.compared("--to", shop.hot, "--afresh", order="K-2")
    assert compared["recipe"].items() >= {"ppi": [200, 300], "marks": [True, False],
                                          "kernel": ["mitchell", "lanczos3"]}.items()
    assert compared["delta_e"] is None and compared["unknown"], "the two files differ in size"


def test_what_departs_from_last_time_is_measured(shop: PrintShop) -> None:
    shop.print("--line", 1, "--to", shop.hot)
    (first,) = shop.made()
    then = tifffile.imread(shop.hot / first.name)
    compared = shop.compared("--line", 1, "--to", shop.hot.parent, "--kernel", "mitchell")
    assert not compared["same_pixels"] and compared["recipe"] == {"kernel": ["lanczos3", "mitchell"]}
    largest, mean = compared["delta_e"]
    now = tifffile.imread(shop.hot.parent / first.name)
    lab = [imagecodecs.cms_transform(picture, WIDE, operation_lab(), colorspace="rgb", outcolorspace="lab",
                                     outdtype="float64", intent=1, flags=0x100) for picture in (then, now)]
    whole = delta_e(*lab)       # patches are of one pixel here
    assert (largest, mean) == (pytest.approx(whole.max(), abs=0.01), pytest.approx(whole.mean(), abs=0.01))
    # the file of last time is gone: it is made again in memory
    (shop.hot / first.name).unlink()
    assert shop.compared("--line", 1, "--to", shop.hot, "--kernel", "lanczos3", "--compression", "lzw")["delta_e"]


def operation_lab() -> bytes:
    from PIL import ImageCms

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()


def test_other_versions_of_the_libraries_are_said(shop: PrintShop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("catalogue.print_files.render.versions_of", lambda recipe: '{"tifffile":"1999.1"}')
    shop.print("--line", 1, "--to", shop.hot)
    monkeypatch.undo()
    compared = shop.compared("--line", 1, "--to", shop.hot.parent)
    assert compared["same_pixels"] and not compared["same_bytes"]
    assert compared["versions"]["tifffile"] == ["1999.1", tifffile.__version__]


def test_another_master_is_said(shop: PrintShop) -> None:
    shop.print("--line", 1, "--to", shop.hot)
    master(shop.folder / "main/Ada Quill/Harbour/master new.tif", 8)
    assert shop.call("index")[0] == 0
    digest = hashlib.sha256((shop.folder / "main/Ada Quill/Harbour/master new.tif").read_bytes()).hexdigest()
    with closing(open_database(shop.home.database)) as db:
        scan = scans.by_digest(db, digest)
        assert scan is not None and scan.piece_id is not None
        choose_current_master(db, scan.piece_id, scan.id)
    assert shop.call("order", "repeat", "K-1", "--line", 1, "--number", "K-2", "--yes")[0] == 0
    compared = shop.compared("--to", shop.hot, order="K-2")
    assert compared["recipe"]["master_sha256"] == [hashlib.sha256(shop.harbour.read_bytes()).hexdigest(), digest]
    assert compared["delta_e"]


def test_a_damaged_master_gives_no_file_and_a_finding(shop: PrintShop, db: Database) -> None:
    data = bytearray(shop.harbour.read_bytes())
    state = shop.harbour.stat()
    data[-9] ^= 4
    shop.harbour.write_bytes(data)
    os.utime(shop.harbour, ns=(state.st_atime_ns, state.st_mtime_ns))
    done = shop.print("--to", shop.hot, code=1)
    (missing,) = done["not_made"]
    assert (missing["line"]["id"], "catalogue restore" in missing["hint"], len(done["made"])) == (1, True, 1)
    assert [path.name for path in shop.hot.iterdir()] == ["K-1-2 70x50mm 300ppi Pier.tif"]
    assert [found.kind for found in findings.open_at(db, 1, "Ada Quill/Harbour/master.tif")
            if found.kind == "changed"] == ["changed"]
    line = operation.lines_to_print(db, "K-1", 1)
    with pytest.raises(CatalogueError, match=r"master\.tif is in doubt \(changed:") as caught:
        operation.make_prints(db, shop.home, line, {}, shop.hot)
    assert "No good copy is known" in caught.value.hint, "in no other store"


def test_nothing_is_put_into_a_store_unless_the_settings_allow_it(shop: PrintShop, db: Database) -> None:
    inside = shop.folder / "main/Ada Quill"
    with pytest.raises(InsideStore):
        operation.print_folder(db, shop.home, inside)
    assert failed(shop, "--to", inside)
    assert sorted(path.name for path in inside.iterdir()) == ["Harbour", "Pier"]
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\n")
    shop.print("--line", 1, "--to", inside)
    assert (inside / "K-1-1 50x70mm 300ppi Harbour.tif").is_file()


def test_the_folder_is_that_of_the_settings(shop: PrintShop) -> None:
    assert "--to FOLDER" in failed(shop)
    assert str(shop.hot / "gone") in failed(shop, "--to", shop.hot / "gone")
    (shop.home.folder / "settings.toml").write_text(f"print_folder = {json.dumps(str(shop.hot))}\n")
    shop.print("--line", 1)
    assert len(list(shop.hot.iterdir())) == 1


def test_somebodys_file_is_never_overwritten(shop: PrintShop) -> None:
    place = shop.hot / "K-1-1 50x70mm 300ppi Harbour.tif"
    place.write_bytes(b"somebody's")
    assert operation.ANOTHER_FILE in failed(shop, "--line", 1, "--to", shop.hot)
    assert place.read_bytes() == b"somebody's" and not shop.made()


def test_colours_are_converted_and_the_profile_is_kept_for_next_time(shop: PrintShop, tmp_path: Path) -> None:
    icc = tmp_path / "printer.icc"
    icc.write_bytes(SRGB)
    shop.print("--line", 1, "--to", shop.hot, "--profile", icc, "--intent", "perceptual", "--no-black-point")
    icc.unlink()
    (first,) = shop.made()
    recipe = from_json(first.recipe)
    assert (recipe.profile_sha256, recipe.intent, recipe.black_point) == (
        hashlib.sha256(SRGB).hexdigest(), "perceptual", False)
    assert "littleCMS" in json.loads(first.versions)
    assert shop.compared("--line", 1, "--to", tmp_path)["same_bytes"]
    for kept in shop.home.profiles.iterdir():
        kept.unlink()
    assert recipe.profile_sha256 in failed(shop, "--line", 1, "--to", shop.home.folder)
    for bad in (b"none of ours", b""):
        icc.write_bytes(bad)
        with pytest.raises(Refused):
            operation.read_profile(icc)
        assert failed(shop, "--line", 1, "--to", shop.hot, "--profile", icc)
    assert str(tmp_path / "gone.icc") in failed(shop, "--line", 1, "--to", shop.hot, "--profile", tmp_path / "gone.icc")
    compared = shop.compared("--line", 1, "--to", shop.home.folder, "--profile", "none", "--ppi", 150)
    assert compared["recipe"]["profile_sha256"] == [recipe.profile_sha256, ""]


@pytest.mark.parametrize("words", [
    ("--crop", "0,0,9999,5"), ("--crop", "1,2,3"), ("--crop", "a,b,c,d"), ("--edge-colour", "300"),
    ("--bleed", "-3"), ("--bleed", "nan"), ("--ppi", "0"), ("--line", "7"), ("--stretch", "0"),
    ("--sharpen", "1,2"), ("--sharpen", "a,b,c"), ("--sharpen", "1,0,0"),
    ("--sharpen", "99,50,0")])
def test_absurd_choices_are_refused_before_anything_is_made(shop: PrintShop, words: tuple[str, ...]) -> None:
    shop_line = () if "--line" in words else ("--line", "1")
    assert failed(shop, *shop_line, "--to", shop.hot, *words)
    assert not list(shop.hot.iterdir()) and not shop.made()


def test_more_than_the_master_has_is_said(shop: PrintShop) -> None:
    (made,) = shop.print("--line", 1, "--to", shop.hot, "--ppi", 600)["made"]
    (caution,) = made["cautions"]
    assert "600 ppi" in caution and "305 ppi" in caution


def test_what_is_cropped_and_too_few_pixels_are_said(shop: PrintShop) -> None:
    (made,) = shop.print("--line", 1, "--to", shop.hot)["made"]
    assert made["cautions"] == []       # 50 × 70 of 600 × 840 pixels
    assert shop.call("order", "add", "harbour", "--size", "50x50", "--number", "K-9", "--yes")[0] == 0
    (made,) = shop.print("--to", shop.hot, order="K-9")["made"]
    few_pixels, cropped = made["cautions"]
    assert "30 ppi" in few_pixels and "200" in few_pixels and "29%" in cropped


def test_a_resolution_that_nobody_chose_never_enlarges(shop: PrintShop) -> None:
    assert shop.call("order", "add", "harbour", "--size", "60x80", "--number", "K-9", "--yes")[0] == 0
    (made,) = shop.print("--to", shop.hot, order="K-9")["made"]
    assert made["file"]["recipe"]["ppi"] == 25 <= made["file"]["ppi_there"]


def test_what_was_made_is_a_statement_that_comes_back(shop: PrintShop) -> None:
    with closing(open_database(shop.home.database)) as db:
        back_up(db, shop.home)
    shop.print("--to", shop.hot)
    before = shop.made()
    for tail in ("-wal", "-shm"):
        shop.home.database.with_name(shop.home.database.name + tail).unlink(missing_ok=True)
    shop.home.database.write_bytes(b"\x55" * 8192)
    assert recover(shop.home).lost == 0
    assert shop.made() == before and len(before) == 2
    with closing(open_database(shop.home.database)) as db:
        assert not differences(db)


def test_what_was_made_stays_on_record_until_it_is_undone(shop: PrintShop, db: Database) -> None:
    shop.print("--to", shop.hot)
    for change in ("DELETE FROM print_file", "UPDATE print_file SET sha256 = ''"):
        with pytest.raises(sqlite3.IntegrityError, match="stays on record"), transaction(db):
            db.execute(change)
    (event,) = db.execute("SELECT max(id) FROM event WHERE detail = 'print file made'").fetchone()
    undo(db, event)
    assert not differences(db) and len(shop.made()) == 1


def test_for_people_each_file_is_said_with_its_comparison_and_cautions(shop: PrintShop) -> None:
    assert shop.call("print", "K-1", "--to", shop.hot)[1].splitlines()[-1] == "2 print files made, 0 not made"
    code, told = shop.call("print", "K-1", "--line", 1, "--to", shop.hot)
    path, facts, compared = told.splitlines()
    assert code == 0 and path == f"{shop.hot / shop.made()[0].name} was there already"
    assert re.fullmatch("  591 × 827 px, 300 ppi, 16 bit, .* MB; the master has 305 ppi at this size", facts)
    assert re.fullmatch(r"  the same file as on \d\d \w+ \d{4}, bit for bit", compared)
    code, told = shop.call("print", "K-1", "--line", 1, "--to", shop.hot, "--ppi", 600, "--kernel", "mitchell")
    _, _, caution, compared, colours = told.splitlines()
    assert caution == "  note: enlarged to 600 ppi: the master has 305 ppi at this size"
    assert re.fullmatch(r"  not the same as on \d\d \w+ \d{4}: ppi 300 then, 600 now; "
                        "resampling lanczos3 then, mitchell now", compared)
    assert colours == "  the colours cannot be compared: the two files differ in width or height"


def test_a_cancelled_order_is_not_printed(shop: PrintShop) -> None:
    assert shop.call("order", "status", "K-1", "cancelled", "--line", 1)[0] == 0
    assert "was cancelled" in failed(shop, "--line", 1, "--to", shop.hot)
    shop.print("--to", shop.hot)
    assert len(shop.made()) == 1


def test_an_edge_without_levels_is_asked_for(shop: PrintShop) -> None:
    assert shop.call("order", "correct", "K-1", "--line", 2, "--edge", "grey")[0] == 0
    assert "--edge-colour" in failed(shop, "--line", 2, "--to", shop.hot)
    shop.print("--line", 2, "--to", shop.hot, "--edge-colour", "128,128,128")
    assert (tifffile.imread(next(shop.hot.iterdir()))[:50] == 128 * 257).all()


def test_stopping_keeps_what_is_finished(shop: PrintShop, db: Database) -> None:
    from catalogue.progress import Stopped

    with pytest.raises(Stopped):
        operation.make_prints(db, shop.home, operation.lines_to_print(db, "K-1"), {}, shop.hot, cancelled=lambda: True)
    assert not list(shop.hot.iterdir()) and not print_files.of_line(db, 1)


def test_a_read_only_seat_makes_nothing(shop: PrintShop) -> None:
    (shop.home.folder / "settings.toml").write_text("read_only = true\n")
    assert ReadOnly().message in failed(shop, "--to", shop.hot)
    assert not list(shop.hot.iterdir())


def test_the_job_sheet_names_the_print_file_of_its_line(shop: PrintShop) -> None:
    assert "print file:" not in shop.call("order", "sheet", "K-1", "--text")[1]
    shop.print("--line", 2, "--to", shop.hot, "--marks")
    made, = shop.made()
    text = shop.call("order", "sheet", "K-1", "--text")[1]
    assert text.count("print file:") == 1
    for fact in (made.name, f"{made.sha256[:16]}…", f"{made.width} × {made.height} px",
                 describe(from_json(made.recipe))):
        assert fact in text, fact
    assert shop.call("order", "sheet", "K-1", "--line", "2")[0] == 0
    page, = (shop.home.sheets / "jobs").rglob("*Pier.html")
    assert page.read_text().count('class="mark"') == 16


def test_the_job_sheet_draws_the_part_that_was_printed_and_minds_a_change(shop: PrintShop, db: Database) -> None:
    """The upper left quarter, turned: by hand from a preview whose quarters have four colours."""
    shop.print("--line", 1, "--to", shop.hot, "--crop", "0,0,300,420", "--turn", "180")
    line, = operation.lines_to_print(db, "K-1", 1)
    place = shop.home.preview(line.scan_sha256)
    place.parent.mkdir(parents=True, exist_ok=True)
    preview = Image.new("RGB", (500, 700), "white")
    preview.paste((250, 0, 0), (0, 0, 125, 350))
    preview.paste((0, 0, 250), (125, 0, 250, 350))
    preview.save(place, "WEBP", lossless=True)
    assert shop.call("order", "sheet", "K-1", "--line", "1")[0] == 0
    page, = (shop.home.sheets / "jobs").rglob("*Harbour.html")
    image = re.search(r'href="data:image/webp;base64,([^"]+)"', page.read_text())
    assert image is not None
    shown = Image.open(io.BytesIO(base64.b64decode(image[1]))).convert("RGB")
    assert shown.width / shown.height == pytest.approx(5 / 7, abs=0.01)
    left, right = shown.getpixel((20, 100)), shown.getpixel((shown.width - 20, 100))
    assert isinstance(left, tuple) and isinstance(right, tuple)
    assert left[2] > 200 and left[0] < 60 and right[0] > 200 and right[2] < 60
    text = shop.call("order", "sheet", "K-1", "--line", "1", "--text")[1]
    assert MADE_BEFORE_A_CHANGE not in text and describe(from_json(shop.made()[0].recipe)) in text
    assert shop.call("order", "correct", "K-1", "--line", "1", "--size", "60x84mm")[0] == 0
    assert MADE_BEFORE_A_CHANGE in shop.call("order", "sheet", "K-1", "--line", "1", "--text")[1]


def in_the_store(shop: PrintShop, db: Database) -> Path:
    """Print files of both lines, and one at 200 ppi, in a folder of the store, indexed."""
    place = shop.folder / "main/prints"
    place.mkdir()
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\n")
    shop.print("--to", place)
    shop.print("--line", 1, "--to", place, "--ppi", 200)
    assert shop.call("index")[0] in (0, 1)
    with transaction(db):
        db.execute("UPDATE scan SET role = 'print file' WHERE sha256 IN (SELECT sha256 FROM print_file)")
    return place


def test_print_files_in_a_store_are_proven_by_making_them_again(shop: PrintShop, db: Database) -> None:
    """One that can be made again, one whose bytes rotted since, one whose master rotted since; nothing is removed."""
    place = in_the_store(shop, db)
    before = {path: path.read_bytes() for path in place.iterdir()}

    def proofs(code: int) -> dict[str, str]:
        done, text = shop.call("doubles", "main", "--print-files", "--json")
        assert done == code
        return {Path(proof["path"]).name: proof["why"] for proof in json.loads(text)}

    assert proofs(1) == dict.fromkeys(["K-1-1 50x70mm 200ppi Harbour.tif", "K-1-1 50x70mm 300ppi Harbour.tif",
                                       "K-1-2 70x50mm 300ppi Pier.tif"], "")
    assert {path: path.read_bytes() for path in place.iterdir()} == before
    for path in (place / "K-1-1 50x70mm 200ppi Harbour.tif", shop.folder / "main/Ada Quill/Pier/master.tif"):
        data = bytearray(path.read_bytes())
        data[-9] ^= 4
        path.write_bytes(data)
    seen = proofs(1)
    assert seen["K-1-1 50x70mm 200ppi Harbour.tif"] == proofs_of.CHANGED
    assert seen["K-1-1 50x70mm 300ppi Harbour.tif"] == "" and seen["K-1-2 70x50mm 300ppi Pier.tif"]


def second_store(shop: PrintShop) -> None:
    """Verified copies of the masters on another store, as the shop wants them in two places."""
    (shop.folder / "nas").mkdir()
    assert shop.call("store", "add", "nas", shop.folder / "nas", "--kind", "copy", "--marker")[0] == 0
    assert shop.call("copy", "--to", "nas", "--yes")[0] in (0, 1)


def test_print_files_are_freed_by_the_rule_for_doubles_and_made_again(shop: PrintShop, db: Database,
                                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    place = in_the_store(shop, db)
    before = {path.name: path.read_bytes() for path in place.iterdir()}
    freed = shop.freed(code=1)
    assert not freed["removed"] and all("1 of the 2 places" in left["why"] for left in freed["skipped"])
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\ncopies_on_one_disk = true\n")
    second_store(shop)
    with redirect_stderr(io.StringIO()):
        monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
        assert shop.call("doubles", "main", "--print-files", "--free")[0] != 0
    assert len(list(place.iterdir())) == 3
    kept = place / "K-1-1 50x70mm 200ppi Harbour.tif"
    kept.with_suffix(".xmp").write_text("somebody's notes")
    freed = shop.freed(code=1)
    assert len(freed["removed"]) == 2 and [left["why"] for left in freed["skipped"]] == [Obstacle.HAS_SIDECAR]
    assert {path.name for path in place.iterdir()} == {kept.name, kept.with_suffix(".xmp").name}
    undo_list, = (shop.home.folder / "undo").glob("prints-*.jsonl")
    assert [row[0] for row in db.execute("SELECT path FROM file WHERE store_id = 1 AND path LIKE 'prints/%'")] == [
        f"prints/{kept.name}"]
    assert not findings.open_at(db, 1, "prints/K-1-2 70x50mm 300ppi Pier.tif")
    assert len(shop.brought_back(undo_list)["removed"]) == 2
    assert {path.name: path.read_bytes() for path in place.iterdir() if path.suffix == ".tif"} == before
    assert db.execute("SELECT count(DISTINCT f.id) FROM file f JOIN scan s ON s.id = f.scan_id JOIN print_file m"
                      " ON m.sha256 = s.sha256 WHERE f.store_id = 1 AND f.path LIKE 'prints/%'").fetchone()[0] == 3
    assert shop.call("doubles", "--undo", undo_list, "--json")[0] == 2, "no list of doubles"


def test_a_print_file_whose_master_rotted_or_that_changed_is_not_freed(shop: PrintShop, db: Database) -> None:
    place = in_the_store(shop, db)
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\ncopies_on_one_disk = true\n")
    second_store(shop)
    for path in (shop.folder / "nas/Ada Quill/Pier/master.tif", place / "K-1-1 50x70mm 200ppi Harbour.tif"):
        state, data = path.stat(), bytearray(path.read_bytes())
        data[-9] ^= 4
        path.write_bytes(data)
        os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))
    freed = shop.freed(code=1)
    reasons = {Path(left["path"]).name: left["why"] for left in freed["skipped"]}
    assert len(freed["removed"]) == 1 and reasons["K-1-1 50x70mm 200ppi Harbour.tif"] == proofs_of.CHANGED
    assert "1 of the 2 places" in reasons["K-1-2 70x50mm 300ppi Pier.tif"]
    assert {path.name for path in place.iterdir()} == {"K-1-1 50x70mm 200ppi Harbour.tif",
                                                       "K-1-2 70x50mm 300ppi Pier.tif"}


def test_a_print_file_that_would_get_other_pixels_is_not_put_back(shop: PrintShop, db: Database,
                                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    place = in_the_store(shop, db)
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\ncopies_on_one_disk = true\n")
    second_store(shop)
    shop.freed()
    undo_list, = (shop.home.folder / "undo").glob("prints-*.jsonl")
    real = operation.render
    monkeypatch.setattr("catalogue.operations.print_file_proofs.render", lambda *given, **options: replace(
        real(*given, **options), pixel_digest="of other libraries"))
    done = shop.brought_back(undo_list, code=1)
    assert [left["why"].startswith(proofs_of.NOT_PUT_BACK) for left in done["skipped"]] == [True] * 3
    assert not list(place.iterdir())


def test_profiles_that_recipes_name_are_in_backups_and_come_back(shop: PrintShop, tmp_path: Path) -> None:
    """Lost or damaged beside the catalogue they come back with a recovery; without one the error says what to do."""
    icc, also = tmp_path / "printer.icc", tmp_path / "other disk"
    icc.write_bytes(SRGB)
    also.mkdir()
    shop.print("--line", 1, "--to", shop.hot, "--profile", icc)
    assert shop.call("backup", "--also", also)[0] == 0
    kept, = shop.home.profiles.iterdir()
    for folder in (shop.home.backups, also):
        assert (folder / "profiles" / kept.name).read_bytes() == SRGB
    kept.write_bytes(b"rotted")
    (also / "profiles" / "somebody's.icc").write_bytes(b"no profile of ours")
    words = failed(shop, "--line", 1, "--to", shop.home.folder)
    assert str(kept) in words and "--profile" in words
    newest = max(also.glob("catalogue-*.sqlite"))
    (shop.home.backups / "profiles" / kept.name).write_bytes(b"rotted too")
    assert shop.call("recover", "--from", newest, "--yes")[0] == 0
    assert [path.read_bytes() for path in shop.home.profiles.iterdir()] == [SRGB]
    assert shop.compared("--line", 1, "--to", tmp_path)["same_bytes"]


@pytest.mark.parametrize("source", ["backup", "print file", "store", "nowhere"])
def test_a_rebuilt_catalogue_has_the_profiles_that_recipes_name_or_says_which_are_gone(
        shop: PrintShop, tmp_path: Path, source: str) -> None:
    """They come from the backups, from a print file where it was put, or from any file of the stores that embeds them.
    """
    icc = tmp_path / "printer.icc"
    icc.write_bytes(SRGB)
    shop.print("--line", 1, "--to", shop.hot, "--profile", icc)
    assert shop.call("backup")[0] == 0
    kept, = shop.home.profiles.iterdir()
    kept.unlink()
    if source != "backup":
        (shop.home.backups / "profiles" / kept.name).write_bytes(b"rotted")
    if source == "store":
        tifffile.imwrite(tmp_path / "main/Ada Quill/proof.tif", np.zeros((9, 9, 3), np.uint8), photometric="rgb",
                         iccprofile=SRGB)
    if source in ("store", "nowhere"):
        (shop.hot / shop.made()[0].name).unlink()
    shop.home.database.write_bytes(b"lost")
    done = rebuild(shop.home, [tmp_path / "main"], executors=ThreadPoolExecutor)
    words = [line for line in done.passed_over if "rofile" in line]
    if source == "nowhere":
        assert len(words) == 1 and kept.stem in words[0] and "--profile" in words[0]
    else:
        assert not words and kept.read_bytes() == SRGB
        assert shop.compared("--line", 1, "--to", tmp_path)["same_bytes"]


def test_a_recovery_says_which_profiles_are_gone(shop: PrintShop, tmp_path: Path) -> None:
    icc = tmp_path / "printer.icc"
    icc.write_bytes(SRGB)
    shop.print("--line", 1, "--to", shop.hot, "--profile", icc)
    assert shop.call("backup")[0] == 0
    kept, = shop.home.profiles.iterdir()
    (shop.hot / shop.made()[0].name).unlink()
    for folder in (shop.home.profiles, shop.home.backups / "profiles"):
        (folder / kept.name).unlink()
    newest = max(shop.home.backups.glob("catalogue-*.sqlite"))
    code, text = shop.call("recover", "--from", newest, "--yes")
    assert code == 0 and kept.stem in text and "--profile" in text


def test_a_print_file_of_other_choices_is_not_written_over(shop: PrintShop) -> None:
    shop.print("--line", 1, "--to", shop.hot)
    assert operation.OTHER_PRINT_FILE in failed(shop, "--line", 1, "--to", shop.hot, "--kernel", "mitchell")


def test_sharpening_is_carried_to_the_next_time_until_it_is_taken_off(shop: PrintShop) -> None:
    shop.print("--line", 1, "--to", shop.hot, "--sharpen", "0.8,60,2")
    first, = shop.made()
    assert from_json(first.recipe).sharpen == (0.8, 60, 2) and '"version":2' in first.recipe
    assert recipe_in(shop.hot / first.name) == (from_json(first.recipe), first.versions)
    assert shop.compared("--line", 1, "--to", shop.hot.parent)["same_bytes"]
    assert "sharpened: radius 0.8 px, amount 60%, threshold 2" in shop.call("order", "sheet", "K-1", "--text")[1]
    (shop.hot.parent / first.name).unlink()
    compared = shop.compared("--line", 1, "--to", shop.hot.parent, "--sharpen", "none")
    assert compared["recipe"] == {"sharpen": [[0.8, 60, 2], None]} and compared["delta_e"]


def test_a_print_file_that_an_order_names_as_its_scan_is_not_freed(shop: PrintShop, db: Database) -> None:
    """Its line would lose what it was printed from."""
    place = in_the_store(shop, db)
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\ncopies_on_one_disk = true\n")
    second_store(shop)
    named = shop.made()[-1]
    with transaction(db):
        db.execute("UPDATE order_line SET scan_sha256 = ? WHERE id = 1", [named.sha256])
    assert [left["why"] for left in shop.freed(code=1)["skipped"]] == [proofs_of.NAMED_BY_ORDER]
    assert [path.name for path in place.iterdir()] == [named.name]


def test_a_print_file_that_now_comes_out_with_other_pixels_is_kept(shop: PrintShop, db: Database,
                                                                   monkeypatch: pytest.MonkeyPatch) -> None:
    """As after an upgrade of a library that computes otherwise."""
    place = in_the_store(shop, db)
    (shop.home.folder / "settings.toml").write_text("print_in_stores = true\ncopies_on_one_disk = true\n")
    second_store(shop)
    monkeypatch.setattr("catalogue.print_files.render.stored", lambda *given: stored(*given) ^ 1)
    assert [left["why"] for left in shop.freed(code=1)["skipped"]] == [proofs_of.OTHER_PIXELS] * 3
    assert len(list(place.iterdir())) == 3
