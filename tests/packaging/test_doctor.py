"""``catalogue doctor`` and completion, as a person calls them."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from catalogue import __version__
from catalogue.commands import COMMANDS, command
from catalogue.commands.doctor import filesystem
from catalogue.commands.session import Session
from catalogue.indexing.stores import add_store
from catalogue.records import pieces
from catalogue.records.database import Database, transaction
from catalogue.settings import Home


def run(home: Home, *words: str) -> Result:
    return CliRunner().invoke(command, ["--catalogue", str(home.folder), *words], obj=Session())


def test_doctor_tells_versions_codecs_terminal_room_and_soundness(db: Database, home: Home, tmp_path: Path) -> None:
    (tmp_path / "Quill private disk").mkdir()
    add_store(db, "quill", tmp_path / "Quill private disk", "primary", consent=True)
    with transaction(db):
        pieces.artist_called(db, "Ada Quill")
    result = run(home, "doctor")
    for word in (__version__, "tifffile", "LZW: yes", "littlecms2", "TERM", "free", "schema", "artist: 1",
                 "Store 1 (primary)"):
        assert word in result.output
    assert "no backup" in result.output
    assert result.exit_code == 1
    assert "quill" not in result.output.lower().replace(str(tmp_path).lower(), ""), "names stay out of a report"
    data = json.loads(run(home, "doctor", "--json").output)
    assert {part["name"] for part in data} >= {"Program", "Libraries", "Codecs", "Terminal", "Catalogue"}


def test_doctor_works_before_there_is_a_catalogue_and_on_a_broken_one(home: Home) -> None:
    assert "none yet" in run(home, "doctor").output
    home.folder.mkdir(parents=True)
    home.database.write_bytes(b"not a database" * 600)
    result = run(home, "doctor")
    assert "damaged" in result.output
    assert result.exit_code == 1


def test_a_network_share_is_known_by_its_mount(tmp_path: Path) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text("/dev/a / ext4 rw 0 0\nnas:/x /mnt/the\\040nas nfs4 rw 0 0\n//b/c /mnt cifs rw 0 0\n")
    assert filesystem(Path("/home/x"), mounts) == "ext4"
    assert filesystem(Path("/mnt/the nas/catalogue"), mounts) == "nfs4"
    assert filesystem(Path("/mnt/other"), mounts) == "cifs"
    assert filesystem(Path("/x"), tmp_path / "none") == ""


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_script_is_good_for_its_shell(home: Home, shell: str, tmp_path: Path) -> None:
    """The shell itself parses the script, where it is installed; click makes the words."""
    script = run(home, "completion", shell).output
    assert "_CATALOGUE_COMPLETE" in script
    if shutil.which(shell):
        (tmp_path / "script").write_text(script)
        subprocess.run([shell, "-n", str(tmp_path / "script")], check=True)


def test_the_program_completes_its_commands() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.argv[0] = 'catalogue'; from catalogue.commands import main; main()"],
        env=os.environ | {"_CATALOGUE_COMPLETE": "bash_complete", "COMP_WORDS": "catalogue in", "COMP_CWORD": "1",
                          "PYTHONPATH": str(Path(__file__).parents[2])},
        capture_output=True, text=True, check=False)
    words = {line.split(",")[1] for line in done.stdout.splitlines() if "," in line}
    assert words == {name for name in COMMANDS if name.startswith("in")}
