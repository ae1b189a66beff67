"""``catalogue sidecar``: write title, creator and rights beside the scans."""

import sys
from pathlib import Path

import click

from catalogue.commands.lookup import find_piece
from catalogue.commands.printing import ask
from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched
from catalogue.errors import NotFound


@click.command("sidecar", cls=SessionCommand)
@click.argument("piece", nargs=-1, required=True)
@click.option("--rights", default="", help="The rights line, as it should read.")
@click.option("--role", "roles", multiple=True, type=click.Choice(["master", "tile", "print file", "reference"]),
              default=["master"], show_default=True, help="Which scans; may be repeated.")
@click.option("--into-copy", "folder", type=click.Path(path_type=Path), metavar="FOLDER",
              help="Write the description into new copies in FOLDER instead (TIFF only), with pixels proven equal.")
@click.option("--yes", is_flag=True, help="Do not ask.")
def command(session: Session, piece: tuple[str, ...], rights: str, roles: tuple[str, ...], folder: Path | None,
            yes: bool) -> int:
    """Write PIECE's details to XMP sidecars beside its scans.

    The scans themselves are never changed. What other programs wrote to a sidecar is kept.
    """
    from catalogue.intake.sidecars import description_of, files_to_describe
    from catalogue.operations.sidecars import summarize, write_descriptions

    db = session.existing()
    chosen = find_piece(db, " ".join(piece))
    description = description_of(db, chosen.id, rights)
    targets = files_to_describe(db, chosen.id, roles)
    if not targets:
        raise NotFound(f"No {' or '.join(roles)} of {chosen.title!r} is present.", hint="Try --role.")
    targets_text = f"{len(targets)} copies into {folder}" if folder else f"{len(targets)} sidecars beside the scans"
    if not yes:
        if session.as_json or not sys.stdin.isatty():
            raise click.UsageError("Use --yes when there is nobody to ask.")
        ask(f"{chosen.artist}, {chosen.title}: write {targets_text}?", otherwise="Nothing was written.", default=True)
    with watched("What was written is kept.") as watch:
        written = write_descriptions(db, targets, description, folder, **watch)
    session.emit(written, summarize(written))
    return int(any(sidecar.trouble for sidecar in written))
