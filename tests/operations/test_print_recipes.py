"""Old print files of an archive: their recipe found, proven, confirmed, and taken over by a repeat."""

import hashlib
import io
import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, redirect_stderr
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile

from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.operations import print_recipes
from catalogue.operations.correcting import describe_scans
from catalogue.print_files.layout import layout_of
from catalogue.print_files.recipe import Recipe, differences, from_json
from catalogue.print_files.render import render
from catalogue.records import print_files, scans
from catalogue.records.database import Database, open_database
from catalogue.records.replay import differences as log_differences
from catalogue.records.replay import undo
from tests.files import SRGB
from tests.operations.shops import Archive

WIDTH, HEIGHT = 450, 600


class OldShop(Archive):
    """A master and a print file that was made from it long ago, which carries no recipe; and an order of its size."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        rng = np.random.default_rng(11)
        picture = np.zeros((HEIGHT, WIDTH, 3))
        for cells in (5, 25, 90):
            picture += cv2.resize(rng.random((cells * 4 // 3, cells, 3)), (WIDTH, HEIGHT),
                                  interpolation=cv2.INTER_CUBIC) / cells**0.4
        picture = (picture - picture.min()) / (picture.max() - picture.min())
        self.master = folder / "main/Ada Quill/Harbour/master.tif"
        self.master.parent.mkdir(parents=True)
        tifffile.imwrite(self.master, (picture * 65535).astype(np.uint16), photometric="rgb", metadata=None,
                         iccprofile=SRGB, resolution=(200, 200), resolutionunit=2)
        self.hot = folder / "hot"
        self.hot.mkdir()
        digest = hashlib.sha256(self.master.read_bytes()).hexdigest()
        self.truth = Recipe(digest, 50, 70, 100, turn=180, crop=(40, 45, 350, 490), wrap_mm=15, edge="mirrored")
        made = render(self.master, self.truth, folder / "made.tif")
        self.old = self.master.with_name("print 50x70.tif")
        self.write(tifffile.imread(made.path))

    def write(self, pixels: Any, **options: Any) -> None:
        tifffile.imwrite(self.old, pixels, **({"photometric": "rgb", "iccprofile": SRGB, "metadata": None,
                                               "resolution": (100, 100), "resolutionunit": 2} | options))

    def begin(self) -> None:
        with closing(open_database(self.home.database)) as db:
            index(db, self.home, [add_store(db, "main", self.folder / "main", "primary", consent=True)],
                  executors=ThreadPoolExecutor)
            self.scan = hashlib.sha256(self.old.read_bytes()).hexdigest()
            master = scans.by_digest(db, self.truth.master_sha256)
            old = scans.by_digest(db, self.scan)
            assert master is not None and old is not None
            describe_scans(db, [master.sha256], role="master")
            describe_scans(db, [old.sha256], role="print file", piece_id=master.piece_id)
        assert self.call("order", "add", "harbour", "--size", "50x70mm", "--wrap", "15", "--edge", "mirrored",
                         "--number", "K-1", "--yes")[0] == 0


@pytest.fixture
def shop(tmp_path: Path) -> OldShop:
    return OldShop(tmp_path)


@pytest.fixture
def db(shop: OldShop) -> Iterator[Database]:
    with closing(open_database(shop.home.database)) as opened:
        yield opened


def refusal(shop: OldShop, file: str = "") -> str:
    with redirect_stderr(io.StringIO()) as said:
        assert shop.call("recipe", file or shop.old.name)[0] == 2
    return said.getvalue()


def test_the_recipe_is_found_proven_confirmed_and_repeated(shop: OldShop, db: Database) -> None:
    shop.begin()
    code, text = shop.call("recipe", shop.old.name, "--json")
    proposal = json.loads(text)
    assert proposal["recipe"].pop("sharpen") is None
    recipe = from_json(json.dumps(proposal["recipe"]))
    assert set(differences(shop.truth, recipe)) <= {"crop"}
    ours, theirs = layout_of(recipe, WIDTH, HEIGHT), layout_of(shop.truth, WIDTH, HEIGHT)
    assert replace(ours, source=theirs.source, ppi_there=0) == replace(theirs, ppi_there=0)
    assert (ours.source.left, ours.source.top) == pytest.approx((theirs.source.left, theirs.source.top), abs=1.5)
    assert code == 0 and proposal["mean"] < 1 and proposal["largest"] < 5
    assert print_files.confirmed_recipe(db, shop.scan) is None, "nothing is recorded unasked"
    code, text = shop.call("recipe", shop.old.name, "--record", "--yes")
    assert code == 0 and "turned 180°" in text
    confirmed = print_files.confirmed_recipe(db, shop.scan)
    assert confirmed is not None and from_json(confirmed.recipe) == recipe
    assert not log_differences(db)
    (made_of,) = json.loads(shop.call("--json", "print", "K-1", "--to", shop.hot)[1])["made"]
    assert len(made_of["cautions"]) == 1, "that the choices are those of the older print file"
    made, = print_files.of_line(db, 1)
    assert from_json(made.recipe) == recipe
    # another size is no repeat of it
    assert shop.call("order", "add", "harbour", "--size", "30x40mm", "--number", "K-2", "--yes")[0] == 0
    (made_of,) = json.loads(shop.call("--json", "print", "K-2", "--to", shop.hot)[1])["made"]
    assert made_of["cautions"] == []
    (event,) = db.execute("SELECT max(id) FROM event WHERE detail LIKE 'recipe of an old%'").fetchone()
    undo(db, event)
    assert print_files.confirmed_recipe(db, shop.scan) is None


def test_a_file_with_other_colours_keeps_its_geometry_and_says_so(shop: OldShop, db: Database,
                                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    shop.write((tifffile.imread(shop.old) * 0.8 + 6000).astype(np.uint16))
    shop.begin()
    code, text = shop.call("recipe", shop.old.name, "--json")
    proposal = json.loads(text)
    assert (code, proposal["recipe"]["turn"], proposal["exact"]) == (1, 180, False) and proposal["mean"] > 1
    # likeness turns other pictures away first; what it lets through must agree in its pixels besides
    real = print_recipes.find_placement
    monkeypatch.setattr(print_recipes, "find_placement", lambda *given: replace(real(*given), correlation=0.89))
    assert print_recipes.NO_MASTER_FITS in refusal(shop)


def test_the_same_pixels_are_said_to_be_the_same(shop: OldShop, db: Database) -> None:
    made = render(shop.master, replace(shop.truth, crop=None), shop.folder / "exact.tif")
    shop.write(tifffile.imread(made.path))
    shop.begin()
    code, text = shop.call("recipe", shop.old.name)
    assert code == 0 and "made again with it, the file has the same pixels" in text, text
    assert json.loads(shop.call("recipe", shop.old.name, "--json")[1])["exact"]


def test_what_cannot_be_told_is_refused_in_words(shop: OldShop, db: Database) -> None:
    shop.write(np.zeros((350, 250, 4), np.uint8), photometric="separated", iccprofile=None)
    shop.begin()
    assert "CMYK" in refusal(shop)
    assert print_recipes.IS_A_MASTER in refusal(shop, "Ada Quill/Harbour/master.tif")


def test_a_file_without_a_resolution_or_of_another_picture_is_refused(shop: OldShop, db: Database) -> None:
    shop.write(tifffile.imread(shop.old), resolution=(1, 1), resolutionunit=1)
    shop.begin()
    assert print_recipes.NO_RESOLUTION in refusal(shop)
    shop.old = shop.old.with_name("another print.tif")
    other = np.random.default_rng(5).integers(0, 65535, (9, 7, 3)).astype(np.float32)
    shop.write(np.clip(cv2.resize(other, (250, 350), interpolation=cv2.INTER_CUBIC), 0, 65535).astype(np.uint16))
    assert shop.call("index")[0] in (0, 1)
    scan = scans.by_digest(db, hashlib.sha256(shop.old.read_bytes()).hexdigest())
    master = scans.by_digest(db, shop.truth.master_sha256)
    assert scan is not None and master is not None
    describe_scans(db, [scan.sha256], role="print file", piece_id=master.piece_id)
    assert print_recipes.NO_MASTER_FITS in refusal(shop)


def test_another_print_file_that_passes_for_a_master_is_not_taken_for_the_one(shop: OldShop, db: Database) -> None:
    """Half of them are sorted so when an archive is first read; the larger scan is what prints are made from."""
    other = shop.old.with_name("small.tif")
    tifffile.imwrite(other, cv2.resize(tifffile.imread(shop.master), (300, 400), interpolation=cv2.INTER_AREA),
                     photometric="rgb", iccprofile=SRGB, metadata=None, resolution=(133, 133), resolutionunit=2)
    shop.begin()
    small = scans.by_digest(db, hashlib.sha256(other.read_bytes()).hexdigest())
    master = scans.by_digest(db, shop.truth.master_sha256)
    assert small is not None and master is not None
    describe_scans(db, [small.sha256], role="master", piece_id=master.piece_id)
    code, text = shop.call("recipe", shop.old.name, "--json")
    assert code == 0 and json.loads(text)["master"]["sha256"] == shop.truth.master_sha256
