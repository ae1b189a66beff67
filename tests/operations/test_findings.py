"""A finding closed on a person's word, from the command line as from the screens."""

from catalogue.records import findings
from catalogue.records.database import open_database, transaction
from tests import recorded
from tests.operations.shops import Archive


def test_the_command_line_closes_a_finding_by_its_number(twins: tuple[Archive, Archive]) -> None:
    archive, _ = twins
    db = open_database(archive.home.database)
    with transaction(db):
        number = findings.record(db, "no profile", "none embedded", store_id=1, path="Ada Quill/Pier/master.tif")
    assert f"main:Ada Quill/Pier/master.tif  #{number}" in archive.call("findings")[1]
    assert archive.call("findings", "--accept", number)[0] == 2     # no reason, no record
    assert [found.id for found in findings.list_open(db, kind="no profile")] == [number]
    code, out = archive.call("findings", "--accept", number, "--why", "a line drawing")
    assert (code, out) == (0, "Closed “no profile” of Ada Quill/Pier/master.tif: a line drawing\n")
    assert findings.list_open(db, kind="no profile") == []
    assert any("accepted: a line drawing" in event.detail for event in recorded.events(db))
    assert archive.call("findings", "--accept", number, "--why", "again")[0] == 2
    assert db.execute("SELECT count(*) FROM finding_accepted").fetchone()[0] == 1
    db.close()


def test_damage_is_not_accepted(twins: tuple[Archive, Archive]) -> None:
    archive, _ = twins
    db = open_database(archive.home.database)
    with transaction(db):
        number = findings.record(db, "truncated", "it ends early", store_id=1, path="Ada Quill/Pier/master.tif")
    assert archive.call("findings", "--accept", number, "--why", "never mind")[0] == 2
    assert [found.id for found in findings.list_open(db, kind="truncated")] == [number]
    db.close()
