"""Sidecars under an audit: gone, not to be read, or saying something else than beside another copy."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from fixity_shop import Shop

from catalogue.errors import Refused
from catalogue.fixity import copying, sidecar_audit
from catalogue.fixity.advice import accept, next_step
from catalogue.fixity.copies import CopySummary
from catalogue.fixity.set_aside import set_aside_files
from catalogue.fixity.sidecar_audit import look_beside
from catalogue.fixity.sidecars import NO_FILE
from catalogue.operations import copying as copying_operation
from catalogue.records import events, findings, scans, sidecars
from catalogue.records.database import transaction
from catalogue.records.sidecars import SeenSidecar
from catalogue.storage.atomic import PART_PREFIX
from catalogue.storage.folders import Entry
from tests import recorded

PACKET = ('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/">'
          '<title>%s</title></x:xmpmeta><?xpacket end="w"?>')
MASTER = "Ada/Harbour/0.tif"
DAY = "%d %b %Y"
Scan = Callable[..., Path]


@pytest.fixture
def pair(shop: Shop, scan: Scan) -> tuple[Path, Path]:
    """Sidecars of a master and of its copy in another store, the same at first; both audited once."""
    sidecar = scan(f"main/{MASTER}").with_suffix(".xmp")
    write(sidecar, "Harbour")
    shop.add("nas", "copy")
    shop.index()
    with transaction(shop.db):
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "master")
    copying_operation.copy_to_store(shop.db, shop.home, copying_operation.plan_copy(shop.db, "nas"))
    assert audit(shop) == {}
    return sidecar, shop.folder / "nas" / Path(MASTER).with_suffix(".xmp")


def write(sidecar: Path, title: str, day: int = 1) -> None:
    sidecar.write_text(PACKET % title, encoding="utf-8")
    os.utime(sidecar, (1_700_000_000 + day * 86_400,) * 2)


def copy(shop: Shop, target: str = "nas", source: str = "", *, update: bool = False) -> CopySummary:
    plan = copying_operation.plan_copy(shop.db, target, source, update_sidecars=update)
    return copying_operation.copy_to_store(shop.db, shop.home, plan)


def formers(sidecar: Path) -> list[Path]:
    return sorted(sidecar.parent.glob(f"{sidecar.name}.former-*"))


def audit(shop: Shop) -> dict[str, dict[str, int]]:
    """What an audit of one store after the other finds of sidecars, by store."""
    done = {name: shop.audit(name).findings for name in ("main", "nas")}
    return {name: kinds for name, every in done.items()
            if (kinds := {kind: count for kind, count in every.items() if kind in sidecars.KINDS})}


@pytest.mark.parametrize(("data", "fault"), [
    ((PACKET % "é").encode(), ""), *((f"{PACKET % 'é'}\0\n".encode(name), "") for name in (
        "utf-16", "utf-16-le", "utf-16-be", "utf-32", "utf-32-be")),
    ((PACKET % "é").encode("utf-16-le")[:-31], "is cut short in line 1"),
    (b"  \r\n" + (PACKET % "x").encode() + b"\0" * 9, ""),
    (b"", "is empty"), (b"\0 \n\0", "is empty"), ((PACKET % "x").encode()[:-40], "is cut short in line 1"),
    ((PACKET % "\x01").encode(), "is damaged in line 1"), (b"\xff\xd8\xff\xe0", "is damaged in line 1"),
    (b'<?xml version="1.0" encoding="x-none"?><a/>', "cannot be read: "),
    (b"<a>\n<![CDATA[b", "is cut short in line 2"),
    (b'<!DOCTYPE a [<!ENTITY b "bb"><!ENTITY c "&b;&b;">]><a>&c;</a>', "declares a document type"),
    (b'<!DOCTYPE a SYSTEM "file:///etc/passwd"><a/>', "declares a document type"),
    ((PACKET % ("x" * 4096)).encode(), "is larger than")])
def test_what_can_be_read_of_a_sidecar(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, data: bytes, fault: str) -> None:
    """Well-formed as XML 1.0 says, blanks around it as programs leave them; entities are never expanded."""
    monkeypatch.setattr(sidecar_audit, "SIDECAR_BYTES", 4096)
    (tmp_path / "0.tif").write_bytes(b"picture")
    (tmp_path / "0.tif.XMP").write_bytes(data)
    (tmp_path / "0.xmp").symlink_to(tmp_path / "0.tif.XMP")
    (seen,) = look_beside(tmp_path / "0.tif") or ()
    assert seen.beside == 1 and seen.fault.startswith(fault) and bool(seen.fault) == bool(fault)


def test_nothing_is_said_where_nothing_can_be_seen(tmp_path: Path) -> None:
    assert look_beside(tmp_path / "gone" / "0.tif") is None and look_beside(tmp_path / "0.tif") is None
    (tmp_path / "0.tif").write_bytes(b"picture")
    assert look_beside(tmp_path / "0.tif") == ()


def test_a_sidecar_that_was_seen_and_is_gone_is_brought_back_by_a_copy(shop: Shop, pair: tuple[Path, Path]) -> None:
    for sidecar, store, command, action in ((pair[1], "nas", "catalogue copy --to nas", "copy"),
                                            (pair[0], "main", "catalogue copy --to main --from nas", "look")):
        sidecar.unlink()
        assert audit(shop) == {store: {"sidecar missing": 1}} == audit(shop)
        finding = shop.finding("sidecar missing")
        step = next_step(shop.db, finding, DAY)
        assert (finding.path, step.command, step.action) == (MASTER, command, action)
        assert finding.detail == f"its sidecar 0.xmp is not there, but in {'main' if store == 'nas' else 'nas'}"
        plan = copying_operation.plan_copy(shop.db, store, "main" if store == "nas" else "nas")
        assert copying_operation.copy_to_store(shop.db, shop.home, plan).sidecars == 1
        assert "sidecar missing" not in shop.kinds(MASTER, store), "at once"
        assert audit(shop) == {}


def test_a_sidecar_that_is_gone_on_purpose_is_accepted(shop: Shop, pair: tuple[Path, Path]) -> None:
    for sidecar in pair:
        sidecar.unlink()
    audit(shop)
    assert audit(shop) == {"main": {"sidecar missing": 1}, "nas": {"sidecar missing": 1}}
    for finding in findings.list_open(shop.db, kind="sidecar missing"):
        assert finding.detail == "its sidecar 0.xmp is gone" and "on purpose" in next_step(shop.db, finding, DAY).text
        accept(shop.db, shop.home.settings, finding.id, "described in the file itself")
    assert audit(shop) == {}


def test_a_sidecar_cut_short_is_found_and_well_again_once_it_was_replaced(shop: Shop, pair: tuple[Path, Path]) -> None:
    pair[1].write_bytes(pair[1].read_bytes()[:90])
    assert audit(shop) == {"nas": {"sidecar damaged": 1}}
    finding = shop.finding("sidecar damaged")
    assert finding.detail == "its sidecar 0.xmp is cut short in line 1"
    assert next_step(shop.db, finding, DAY).command == "catalogue copy --to nas --from main"
    with pytest.raises(Refused, match="find it again"):
        accept(shop.db, shop.home.settings, finding.id, "so be it")
    pair[1].unlink()
    copying_operation.copy_to_store(shop.db, shop.home, copying_operation.plan_copy(shop.db, "nas"))
    assert audit(shop) == {}


@pytest.mark.parametrize("occupy", [
    lambda path: path.mkdir(), os.mkfifo, lambda path: path.symlink_to("0.tif")])
def test_what_is_no_file_under_a_sidecars_name_is_named(
        shop: Shop, pair: tuple[Path, Path], occupy: Callable[[Path], None]) -> None:
    pair[1].unlink()
    occupy(pair[1])
    assert audit(shop) == {"nas": {"sidecar missing": 1}}
    for update in (False, True):
        done = copy(shop, update=update)
        assert [(each.path, each.reason) for each in done.not_copied] == [(str(pair[1]), NO_FILE)]


def test_of_two_that_differ_the_older_is_named(shop: Shop, pair: tuple[Path, Path]) -> None:
    write(pair[0], "The harbour", day=3)
    audit(shop)
    assert audit(shop) == {"nas": {"sidecars differ": 1}}
    finding = shop.finding("sidecars differ")
    assert finding.detail == "its sidecar 0.xmp differs from the newer one in main, of 17 Nov 2023"
    assert next_step(shop.db, finding, DAY).command == "catalogue copy --to nas --from main --update-sidecars"
    write(pair[1], "The harbour at dusk", day=4)
    audit(shop)
    assert audit(shop) == {"main": {"sidecars differ": 1}} and shop.kinds(MASTER, "nas") == set()
    write(pair[0], "The harbour at dusk")
    assert audit(shop) == {}, "the same again, whatever its day"
    with transaction(shop.db):
        scans.set_role(shop.db, shop.due(MASTER).scan_id, "reference")
    write(pair[0], "Harbour")
    assert audit(shop) == {}, "of masters alone"


def test_a_copy_that_never_had_the_sidecar_is_told_from_the_next_audit_on(
        shop: Shop, scan: Scan, pair: tuple[Path, Path]) -> None:
    write(pair[0].with_name("0.tif.xmp"), "The harbour")
    assert shop.audit("nas").findings == shop.audit("main").findings == {} and not shop.kinds(MASTER, "nas")
    assert shop.audit("nas").findings == {"sidecar missing": 1}
    assert shop.finding("sidecar missing").detail == "its sidecar 0.tif.xmp is not there, but in main"
    (pair[0].with_name("0.tif.xmp")).unlink()
    shop.audit("main")
    assert "sidecar missing" not in shop.kinds(MASTER, "nas"), "main has it no more either"


def test_a_picture_that_is_missing_says_nothing_of_its_sidecars(shop: Shop, pair: tuple[Path, Path]) -> None:
    pair[0].unlink()
    assert audit(shop) == {"main": {"sidecar missing": 1}}
    pair[0].with_suffix(".tif").unlink()
    assert audit(shop) == {}
    assert shop.kinds(MASTER) >= {"missing"} and "sidecar missing" not in shop.kinds(MASTER)


def test_another_spelling_of_the_suffix_is_the_same_sidecar(shop: Shop, pair: tuple[Path, Path]) -> None:
    file_id = shop.due(MASTER).id
    with transaction(shop.db):
        sidecars.note(shop.db, file_id, [SeenSidecar(3, "a1", 5)])
        assert not sidecars.any_gone(shop.db, file_id)
        sidecars.note(shop.db, file_id, [])
    assert sidecars.any_gone(shop.db, file_id)


@pytest.mark.parametrize("seen_before", [True, False])
def test_a_copy_that_is_to_have_no_sidecar_is_accepted_until_it_has_one(
        shop: Shop, pair: tuple[Path, Path], seen_before: bool) -> None:
    """The store it came from has it still, so that it was missing again with every audit."""
    beside = pair[1] if seen_before else pair[1].with_name("0.tif.xmp")
    if seen_before:
        beside.unlink()
    else:
        write(pair[0].with_name("0.tif.xmp"), "The harbour")
    audit(shop)
    assert audit(shop) == {"nas": {"sidecar missing": 1}}
    accept(shop.db, shop.home.settings, shop.finding("sidecar missing").id, "this disk holds pictures alone")
    assert audit(shop) == {} == audit(shop)
    write(beside, "Harbour" if seen_before else "The harbour")
    assert audit(shop) == {}
    beside.unlink()
    assert audit(shop) == {"nas": {"sidecar missing": 1}}, "it was there again"


def test_an_older_sidecar_is_replaced_when_asked_and_kept_beside_the_newer(
        shop: Shop, pair: tuple[Path, Path]) -> None:
    former, pictures = pair[1].read_bytes(), [sidecar.with_suffix(".tif") for sidecar in pair]
    before = [(path.read_bytes(), path.stat()) for path in pictures]
    write(pair[0], "The harbour", day=3)
    shop.audit("main")
    left = copy(shop)
    assert pair[1].read_bytes() == former and left.sidecars_replaced == 0 and "--update-sidecars" in \
        left.not_copied[0].reason
    plan = copying_operation.plan_copy(shop.db, "nas", update_sidecars=True)
    assert (plan.older, plan.sidecars) == (1, 0) and copying_operation.plan_copy(shop.db, "nas").older == 0
    done = copy(shop, update=True)
    assert (done.sidecars_replaced, done.sidecars, done.not_copied) == (1, 0, [])
    assert pair[1].read_bytes() == pair[0].read_bytes() and pair[1].stat().st_mtime_ns == pair[0].stat().st_mtime_ns
    (kept,) = formers(pair[1])
    assert kept.read_bytes() == former and kept.name == "0.xmp.former-20231115T221320"
    assert [file.path for file in set_aside_files(shop.db, shop.store("nas"), shop.folder / "nas")] == [
        str(kept.relative_to(shop.folder / "nas"))]
    assert [(e.type, e.path, e.detail) for e in recorded.events(shop.db)
            if "sidecar" in e.detail][-2:] == [
        ("quarantine", MASTER, f"its sidecar 0.xmp kept as {kept.name}"),
        ("replication", MASTER, "its sidecar 0.xmp replaced by the newer one from main")]
    assert not shop.kinds(MASTER, "nas") & set(sidecars.KINDS), "closed at once"
    assert copy(shop, update=True).sidecars_replaced == 0 and audit(shop) == {}
    after = [(path.read_bytes(), path.stat()) for path in pictures]
    assert [(data, s.st_ino, s.st_mtime_ns, s.st_ctime_ns) for data, s in before] == [
        (data, s.st_ino, s.st_mtime_ns, s.st_ctime_ns) for data, s in after], "pictures are not touched"


@pytest.mark.parametrize(("day", "change", "reason"), [
    (4, "", "newer than the one in main"), (3, "", "the same time as the one in main"),
    (1, "source", "the one in main is cut short in line 1"), (1, "shared", "belongs to another picture there")])
def test_a_sidecar_that_is_not_plainly_out_of_date_is_left_and_named(
        shop: Shop, scan: Scan, pair: tuple[Path, Path], day: int, change: str, reason: str) -> None:
    write(pair[0], "The harbour", day=3)
    write(pair[1], "The harbour at dusk", day=day)
    if change == "source":
        pair[0].write_bytes(pair[0].read_bytes()[:-40])
    elif change == "shared":
        scan("nas/Ada/Harbour/0.tiff", seed=7)
        shop.index("nas")
    audit(shop)
    audit(shop)
    for finding in findings.list_open(shop.db, kind="sidecars differ"):
        assert ("--update-sidecars" in next_step(shop.db, finding, DAY).command) == (day != 3)
    before = [sidecar.read_bytes() for sidecar in pair]
    assert copying_operation.plan_copy(shop.db, "nas", update_sidecars=True).older == 0
    done = copy(shop, update=True)
    assert [item.path for item in done.not_copied] == [str(pair[1])] and reason in done.not_copied[0].reason
    assert done.sidecars_replaced == 0 and [sidecar.read_bytes() for sidecar in pair] == before
    assert formers(pair[1]) == []


def test_a_sidecar_shared_in_both_stores_and_a_damaged_older_one_are_replaced(
        shop: Shop, scan: Scan, pair: tuple[Path, Path]) -> None:
    scan("main/Ada/Harbour/0.tiff", seed=7)
    shop.index()
    copy(shop)
    write(pair[0], "The harbour", day=3)
    pair[1].write_bytes(PACKET.encode()[:60])
    os.utime(pair[1], (1_700_000_000,) * 2)
    audit(shop)
    done = copy(shop, update=True)
    assert (done.sidecars_replaced, done.not_copied) == (1, []) and formers(pair[1])[0].stat().st_size == 60
    assert audit(shop) == {}


def test_a_copied_sidecar_makes_no_finding_of_the_one_it_came_from(shop: Shop, pair: tuple[Path, Path]) -> None:
    """It had been edited since its audit: the copy was newer than what was on record of it."""
    write(pair[0], "The harbour", day=3)
    pair[1].unlink()
    copy(shop)
    assert not set(shop.audit("nas").findings) & set(sidecars.KINDS)
    assert not shop.kinds(MASTER, "main") & set(sidecars.KINDS)


def test_a_replacement_broken_off_at_any_point_loses_nothing_and_is_completed(
        shop: Shop, pair: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    """From the n-th change on nothing reaches the disk or the catalogue any more, as after a kill."""
    class Killed(BaseException):
        pass

    former, newer, stored = pair[1].read_bytes(), (PACKET % "The harbour").encode(), pair[1].stat()
    points, left = 0, 0

    def dying(real: Callable[..., object]) -> Callable[..., object]:
        def call(*args: object, **options: object) -> object:
            nonlocal left
            left -= 1
            if left < 0:
                raise Killed
            return real(*args, **options)

        return call

    write(pair[0], "The harbour", day=3)
    shop.audit("main")
    while True:
        pair[1].write_bytes(former)
        os.utime(pair[1], ns=(stored.st_atime_ns, stored.st_mtime_ns))
        assert shop.audit("nas").findings == {"sidecars differ": 1}
        left = points
        with monkeypatch.context() as patch:
            for where, name in ((Entry, "link_to"), (Entry, "rename_to"), (Entry, "unlink"), (copying, "flush"),
                                (events, "append"), (sidecars, "note")):
                patch.setattr(where, name, dying(getattr(where, name)))
            try:
                copy(shop, update=True)
            except Killed:
                points += 1
        assert pair[1].read_bytes() in (former, newer)
        assert pair[1].read_bytes() == former or [path.read_bytes() for path in formers(pair[1])] == [former]
        copy(shop, update=True)
        assert pair[1].read_bytes() == newer and [path.read_bytes() for path in formers(pair[1])] == [former]
        assert not list(pair[1].parent.glob(f"{PART_PREFIX}*")) and not shop.kinds(MASTER, "nas") & set(sidecars.KINDS)
        formers(pair[1])[0].unlink()
        if left >= 0:
            break
    assert points >= 8


def test_a_full_disk_leaves_the_older_sidecar(
        shop: Shop, pair: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    former = pair[1].read_bytes()
    write(pair[0], "The harbour", day=3)
    monkeypatch.setattr(copying, "SPARE_BYTES", 1 << 60)
    assert "Not enough room" in copy(shop, update=True).not_copied[0].reason
    assert pair[1].read_bytes() == former and formers(pair[1]) == []


def test_a_sidecar_written_while_it_was_being_replaced_stays(
        shop: Shop, pair: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch) -> None:
    append = events.append

    def save_meanwhile(*args: str, **options: str) -> None:
        write(pair[1], "At dusk", day=2)
        append(*args, **options)  # type: ignore[arg-type]

    write(pair[0], "The harbour", day=3)
    monkeypatch.setattr(events, "append", save_meanwhile)
    assert "changed meanwhile" in copy(shop, update=True).not_copied[0].reason
    assert "At dusk" in pair[1].read_text(encoding="utf-8")
