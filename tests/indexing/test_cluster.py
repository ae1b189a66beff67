"""Reading through a Dask cluster. Two workers of a local one, one of them killed midway: no loss, no double."""

import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from catalogue.commands import command
from catalogue.commands.session import Session
from catalogue.errors import CatalogueError
from catalogue.indexing.cluster import connected
from catalogue.indexing.service import index
from catalogue.indexing.stores import add_store
from catalogue.progress import Progress
from catalogue.records import files
from catalogue.records.database import Database
from catalogue.settings import Home
from tests import recorded


@pytest.fixture(scope="module")
def distributed() -> Any:
    """Loaded by who runs these tests, not by each worker that collects them: it takes 0.4 s."""
    return pytest.importorskip("distributed")


@pytest.fixture(scope="module")
def local(distributed: Any) -> Iterator[Any]:
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None,
                                  worker_dashboard_address=None) as cluster:
        yield cluster


def test_one_worker_killed_midway_loses_and_doubles_nothing(
        distributed: Any, local: Any, db: Database, home: Home, tmp_path: Path, scan: Any) -> None:
    for number in range(40):
        scan(f"main/Ada Quill/Harbour/master {number:02d}.tif", seed=number)
    store = add_store(db, "main", tmp_path / "main", "primary", consent=True)
    with distributed.Client(local.scheduler_address, set_as_default=False) as client:
        victim = next(iter(client.run(os.getpid).values()))
    killed = []

    def report(progress: Progress) -> None:
        if progress.done >= 5 and progress.stage.startswith("Reading") and not killed:
            os.kill(victim, signal.SIGKILL)
            killed.append(victim)

    with connected(local.scheduler_address) as cluster:
        assert cluster.workers == 2
        (summary,) = index(db, home, [store], workers=cluster.workers, executors=cluster.executors, report=report)
    assert killed
    assert (summary.outcome, summary.read) == ("finished", 40)
    assert len(list(files.known(db, store.id))) == 40
    read = [e.path for e in recorded.events(db) if e.type == "message digest calculation"]
    assert len(read) == len(set(read)) == 40
    (again,) = index(db, home, [store], workers=1)
    assert (again.read, again.unchanged) == (0, 40)


def test_the_command_reads_through_a_cluster(local: Any, home: Home, tmp_path: Path, scan: Any) -> None:
    scan("main/Ada Quill/Harbour/master.tif")
    for words in (["store", "add", "main", str(tmp_path / "main"), "--marker"],
                  ["index", "--dask", local.scheduler_address]):
        result = CliRunner().invoke(command, ["--catalogue", str(home.folder), *words], obj=Session())
        assert result.exit_code == 0, result.output
    assert "1 read" in result.output


def test_no_cluster_at_the_address_is_said(distributed: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    from catalogue.indexing import cluster

    monkeypatch.setattr(cluster, "ANSWER_SECONDS", 0.3)
    with pytest.raises(CatalogueError, match="No cluster answers"), connected("tcp://127.0.0.1:1"):
        pass
