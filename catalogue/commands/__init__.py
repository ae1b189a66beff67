"""The command line. Each command parses, calls one operation, prints.

``COMMANDS`` names where each lives and what it does, so that ``catalogue --help`` imports none of them.
"""

import atexit
import gc
import os
import sys
from importlib import import_module
from pathlib import Path
from typing import NoReturn

import click

from catalogue import __version__
from catalogue.commands.printing import Declined, Interrupted, note, print_json
from catalogue.commands.session import Session, SessionGroup, need_terminal, prepare_parameters
from catalogue.errors import CatalogueError

# name: (module, what it does)
COMMANDS: dict[str, tuple[str, str]] = {
    "store": ("store", "Add, list, move or retire stores: the disks and shares that hold scans."),
    "index": ("index", "Read what is new or changed in the stores."),
    "findings": ("findings", "List what is wrong, with which file, and what to do next."),
    "find": ("find", "Find pieces, artists, scans and orders by words, or a piece by a picture."),
    "show": ("show", "Show everything about a piece: scans, sizes, orders."),
    "alike": ("alike", "List scans that show the same artwork, with evidence; record verdicts."),
    "order": ("order", "Record, list, repeat and correct orders; write job sheets."),
    "print": ("print_file", "Make an order's print files from master and recipe, the same bits each time."),
    "recipe": ("recipe", "Find how an old print file was made from its master, and record it for repeats."),
    "buyer": ("buyer", "List and correct buyers; merge two spellings of one."),
    "edition": ("edition", "Set, list and close editions; record losses; write certificates."),
    "artist": ("artist", "List and correct artists and their terms; merge two names of one."),
    "statement": ("statement", "Show, issue or write to a file what an artist is owed for a period."),
    "piece": ("piece", "Correct, confirm, merge and split pieces."),
    "scan": ("scan", "List scans without a piece; say what a scan is and which piece it shows."),
    "refile": ("refile", "File guessed scans again after the place rules changed; previewed first."),
    "history": ("history", "List changes recorded by people, newest first."),
    "undo": ("undo", "Undo a recorded change."),
    "rescan": ("rescan", "List pieces that need a new scan; note and plan captures."),
    "import": ("importing", "Import orders, editions, artists or pieces from a CSV file."),
    "intake": ("intake", "Import new scans from a USB stick or folder into a store, checked and named."),
    "doubles": ("doubles", "List byte-identical files within a store, and free them where enough copies stay."),
    "tidy": ("tidy", "Rename files by the shop's rule: previewed, verified, and undoable."),
    "audit": ("audit", "Check that files are unchanged, oldest check first, within a time or size limit."),
    "restore": ("restore", "Restore a good copy: copy, verify, then switch; the bad file is kept under another name."),
    "copy": ("copying", "Copy to a store what it lacks, from the primary stores."),
    "levels": ("levels", "Show how safe the archive is, by the NDSA Levels of Digital Preservation."),
    "backup": ("backup", "Back up the catalogue itself, and verify the backup."),
    "recover": ("recover", "Recover a damaged or lost catalogue."),
    "export": ("exporting", "Export checksums, bags, tables and pages."),
    "sidecar": ("sidecar", "Write title, creator and rights to XMP sidecars, never into a master."),
    "doctor": ("doctor", "Check the program, machine, catalogue and stores; the text can be pasted into a report."),
    "completion": ("completion", "Print the completion script for bash, zsh or fish."),
    "demo": ("demo", "Index the demo archive into a fresh catalogue and open it."),
}


class Lazy(SessionGroup):
    """A group whose commands are imported when called."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        module = COMMANDS[cmd_name][0]
        command = import_module(f"catalogue.commands.{module}").command
        if not isinstance(command, click.Command):
            raise TypeError(f"catalogue.commands.{module}.command is not a command")
        prepare_parameters(command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, text) in COMMANDS.items()])


@click.group(cls=Lazy, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--catalogue", "folder", type=click.Path(path_type=Path), metavar="FOLDER",
              help="The catalogue's folder; otherwise CATALOGUE_HOME, or your data folder.")
@click.option("--no-mouse", is_flag=True, help="Leave the mouse to the terminal, for selecting text.")
@click.version_option(__version__, prog_name="catalogue")
def command(session: Session, folder: Path | None, no_mouse: bool) -> None:
    """The archive catalogue of a fine-art print shop. Without a command it opens the screens."""
    session.folder = folder
    if click.get_current_context().invoked_subcommand is None:
        need_terminal()
        from catalogue.screens import set_textual_defaults

        set_textual_defaults()
        from catalogue.screens.app import open_screens

        open_screens(session.home, mouse=not no_mouse)


def main() -> None:
    """Run the command line: exit 0 fine, 1 findings, 2 could not run."""
    # Modules are many objects that stay: looking through them while they come, and at the end, took a tenth of a start
    gc.set_threshold(200_000, 20, 100)
    atexit.register(gc.freeze)
    session = Session()
    try:
        outcome = command.main(obj=session, standalone_mode=False)
    except (click.Abort, KeyboardInterrupt):
        _fail(session, CatalogueError("Stopped.", hint="What was done so far is kept."), prefix="")
    except click.UsageError as error:
        if error.ctx is not None:
            for line in error.ctx.get_usage().splitlines():
                note(line)
            note(f"Try '{error.ctx.command_path} --help' for help.")
        _fail(session, CatalogueError(error.format_message()), prefix="Error: ")
    except click.ClickException as error:
        _fail(session, CatalogueError(error.format_message()), prefix="Error: ")
    except (Declined, Interrupted) as error:
        _fail(session, error, prefix="")
    except CatalogueError as error:
        _fail(session, error)
    except BrokenPipeError:
        sys.stderr.close()  # the reader of the pipe has gone, so there is nobody to tell
        sys.exit(2)
    except OSError as error:
        _fail(session, CatalogueError(f"The system refused: {error.strerror or error}.", path=error.filename))
    if session.stopped:
        _fail(session, Interrupted("Stopped.", hint=session.stopped), prefix="", already_said=True)
    sys.exit(outcome if isinstance(outcome, int) else 0)


def _fail(session: Session, error: CatalogueError, *, prefix: str = "catalogue: ",
          already_said: bool = False) -> NoReturn:
    """Report the error, as JSON too if requested and not ``already_said``, and exit."""
    path = os.fsdecode(error.path) if error.path else ""
    if session.as_json and not already_said:
        print_json({"error": error.message, "hint": error.hint, "path": path})
    note(f"{prefix}{error}" + (f" [{path}]" if path else ""))
    sys.exit(error.exit_code)
