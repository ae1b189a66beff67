"""Manifests against GNU coreutils' own ``sha256sum``, both ways; and the consent without which none is written."""

import os
import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from fixity_shop import Shop, rot
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from catalogue.errors import Refused
from catalogue.fixity import manifest
from catalogue.records.paths import escape_path
from catalogue.storage.folders import MARKER

Scan = Callable[..., Path]
SUM = shutil.which("sha256sum")
ENGLISH = os.environ | {"LC_ALL": "C"}  # coreutils translates what it says
names = st.binary(min_size=1, max_size=40).filter(lambda n: not set(n) & {0, 47} and n not in (b".", b".."))
AWKWARD = b"a\\b\nc\rd \xff%0A#.tif"


@given(names)
@example(AWKWARD)
@example(b"\\n")
def test_a_line_reads_back(name: bytes) -> None:
    text = manifest.line("ab" * 32, name)
    assert text.endswith(b"\n") and b"\n" not in text[:-1]
    assert manifest.parsed(text[:-1]) == ("ab" * 32, name)


@pytest.mark.skipif(SUM is None, reason="needs coreutils' sha256sum")
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(st.lists(names, min_size=1, max_size=5, unique=True))
@example([AWKWARD])
def test_lines_are_those_of_sha256sum(tmp_path: Path, given_names: list[bytes]) -> None:
    folder = tmp_path / "some"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for name in given_names:
        (folder / os.fsdecode(name)).write_bytes(name)
    theirs = subprocess.run([b"sha256sum", b"--", *given_names], cwd=folder, capture_output=True, check=True).stdout
    for line, name in zip(theirs.splitlines(keepends=True), given_names, strict=True):
        found = manifest.parsed(line[:-1])
        assert found is not None and found[1] == name
        assert manifest.line(found[0], name) == line


@pytest.mark.parametrize("text", [b"", b"abc  x", b"ab" * 32 + b" x",
                                  b"\\" + b"ab" * 32 + b"  a\\q", b"zz" * 32 + b"  x"])
def test_what_is_no_line_is_none(text: bytes) -> None:
    assert manifest.parsed(text) is None


@pytest.fixture
def archive(shop: Shop, scan: Scan) -> Shop:
    master = scan("main/Ada Quill/Harbour/master.tif", seed=1)
    for n, name in enumerate((b"new\nline.tif", b"back\\slash.tif", b"latin \xe9.tif", b"# hash.tif")):
        place = master.parent / os.fsdecode(name)
        place.write_bytes(scan(f"spare/{n}.tif", seed=n + 5).read_bytes())
    shop.index()
    return shop


@pytest.mark.skipif(SUM is None, reason="needs coreutils' sha256sum")
def test_sha256sum_accepts_the_manifest_in_the_store_and_sees_damage(archive: Shop) -> None:
    written = manifest.export_into(archive.db, archive.store(), consent=True)
    assert written.files == 5
    check = ["sha256sum", "-c", "--strict", "--quiet", manifest.NAME]
    root = archive.folder / "main"
    assert subprocess.run(check, cwd=root, capture_output=True, check=False, env=ENGLISH).returncode == 0
    rot(root / "Ada Quill/Harbour/master.tif", 500)
    seen = subprocess.run(check, cwd=root, capture_output=True, check=False, env=ENGLISH)
    assert seen.returncode == 1
    assert b"master.tif: FAILED" in seen.stdout


def test_nothing_is_written_into_a_store_without_consent(archive: Shop) -> None:
    root = archive.folder / "main"
    before = sorted(p.name for p in root.iterdir())
    with pytest.raises(Refused, match="consent"):
        manifest.export_into(archive.db, archive.store(), consent=False)
    written = manifest.refresh(archive.db, archive.home)
    assert [w.path.parent for w in written] == [archive.home.folder / "manifests"]
    assert sorted(p.name for p in root.iterdir()) == before
    manifest.export_into(archive.db, archive.store(), consent=True)
    assert sorted(p.name for p in root.iterdir()) == sorted([*before, manifest.NAME])
    assert MARKER in before
    assert [w.path.parent for w in manifest.refresh(archive.db, archive.home)][-1] == root, "consent is remembered"


def test_another_file_of_that_name_is_left(archive: Shop) -> None:
    place = archive.folder / "main" / manifest.NAME
    place.write_bytes(b"somebody's own notes")
    with pytest.raises(Refused, match="Another file"):
        manifest.export_into(archive.db, archive.store(), consent=True)
    assert place.read_bytes() == b"somebody's own notes"


def test_it_reads_back_with_store_kind_and_log(archive: Shop) -> None:
    found = manifest.read(manifest.export(archive.db, archive.home, archive.store()).path)
    assert (found.store, found.kind, found.faults) == ("main", "primary", ())
    assert found.head is not None and found.head.id > 0
    assert escape_path(os.fsdecode(b"Ada Quill/Harbour/latin \xe9.tif")) in found.digests
    assert len(found.digests) == 5


def test_a_lost_file_stays_listed(archive: Shop) -> None:
    (archive.folder / "main/Ada Quill/Harbour/master.tif").unlink()
    archive.audit()
    assert len(manifest.read(manifest.export(archive.db, archive.home, archive.store()).path).digests) == 5


def test_damaged_lines_are_reported_not_swallowed(tmp_path: Path) -> None:
    (tmp_path / "m").write_bytes(manifest.line("ab" * 32, b"x") * 2 + b"what is this\n")
    found = manifest.read(tmp_path / "m")
    assert found.digests == {"x": "ab" * 32}
    assert found.faults == ("line 2: listed twice", "line 3: not a checksum and a name")
