"""``catalogue print``: the files that go to the printer, for the lines of an order."""

from pathlib import Path
from typing import Any

import click

from catalogue.commands.session import Session, SessionCommand
from catalogue.commands.watching import watched

EDGES = ("continued", "mirrored", "stretched", "colour")
KERNELS = ("lanczos3", "catmull-rom", "mitchell")
INTENTS = ("perceptual", "relative", "saturation", "absolute")


@click.command("print", cls=SessionCommand)
@click.argument("number")
@click.option("--line", "line_id", type=int, help="Only this line; otherwise every line of the order.")
@click.option("--to", "folder", type=click.Path(path_type=Path), metavar="FOLDER",
              help="Folder for the files; otherwise the setting"
              " print_folder. A folder inside a store is refused unless the settings allow it.")
@click.option("--ppi", type=click.IntRange(10, 4800), help="Resolution in ppi; otherwise the highest usual one without"
              " enlarging.")
@click.option("--bits", type=click.Choice(["8", "16"]), help="Bits per channel; otherwise those of the master.")
@click.option("--crop", metavar="BOX", help="LEFT,TOP,WIDTH,HEIGHT in pixels of the master, or all.")
@click.option("--whole", "fit", flag_value="whole", help="If shapes differ, show the whole picture on white.")
@click.option("--fill", "fit", flag_value="fill", help="If shapes differ, fill the print and crop; the default.")
@click.option("--turn", type=click.Choice(["0", "90", "180", "270"]), help="Degrees to turn the picture, clockwise.")
@click.option("--edge", type=click.Choice(EDGES), help="What covers wrap and bleed; otherwise the order's edge.")
@click.option("--edge-colour", metavar="COLOUR", help="white, black, or levels from 0 to 255, such as 128,128,128.")
@click.option("--stretch", "stretch_mm", type=float, metavar="MM", help="Width of the strip that is stretched.")
@click.option("--bleed", "bleed_mm", type=float, metavar="MM", help="Bleed on every side.")
@click.option("--marks/--no-marks", default=None, help="Corner and fold marks outside the picture.")
@click.option("--kernel", type=click.Choice(KERNELS), help="Resampling; otherwise lanczos3.")
@click.option("--sharpen", metavar="RADIUS,AMOUNT,THRESHOLD", help="Unsharp mask: radius in pixels of the print file,"
              " amount in per cent, threshold from 0 to 255, such as 0.8,60,2; otherwise none.")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="Convert to this ICC profile; none"
              " embeds the master's.")
@click.option("--intent", type=click.Choice(INTENTS), help="Rendering intent; otherwise relative.")
@click.option("--black-point/--no-black-point", default=None, help="Black point compensation; otherwise on.")
@click.option("--compression", type=click.Choice(["none", "deflate", "lzw"]), help="Compression; otherwise none.")
@click.option("--afresh", is_flag=True, help="Ignore the choices of the last print file.")
def command(session: Session, /, number: str, line_id: int | None, folder: Path | None,
            profile: Path | None, afresh: bool, **given: Any) -> int:
    """Make the print files of order NUMBER from its verified masters.

    Options you leave out are taken from the last print file of the line, or of the line it repeats. Each file is
    recorded with its recipe and compared with the last one: identical bit for bit, or what differs. Exit 1 when
    some of several lines could not be made.
    """
    from catalogue.operations import print_files

    chosen = _chosen(given)
    db = session.existing()
    lines = print_files.lines_to_print(db, number, line_id)
    target_folder = print_files.print_folder(db, session.home, folder)
    icc = None if profile is None else b"" if str(profile) == "none" else print_files.read_profile(profile)
    with watched("Finished print files stay; run it again for the rest.") as watch:
        done = print_files.make_prints(db, session.home, lines, chosen, target_folder, profile=icc, afresh=afresh,
                                       **watch)
    session.stopped = ""
    session.emit(done, print_files.summarize(done, session.home.settings.dates))
    return int(bool(done.not_made))


def _chosen(given: dict[str, Any]) -> dict[str, Any]:
    """The options as fields of a recipe."""
    chosen = {name: value for name, value in given.items() if value is not None}
    for name in ("bits", "turn"):
        if name in chosen:
            chosen[name] = int(chosen[name])
    if "edge_colour" in chosen:
        chosen.setdefault("edge", "colour")
    if "crop" in chosen:
        parts = () if chosen["crop"] == "all" else chosen["crop"].split(",")
        if parts and not (len(parts) == 4 and all(part.isascii() and part.isdigit() for part in parts)):
            raise click.UsageError("A crop is LEFT,TOP,WIDTH,HEIGHT in pixels, or all.")
        chosen["crop"] = tuple(map(int, parts)) or None
    if "sharpen" in chosen:
        chosen["sharpen"] = None if chosen["sharpen"] == "none" else _sharpening(chosen["sharpen"])
    return chosen


def _sharpening(text: str) -> tuple[float, float, float]:
    try:
        radius, amount, threshold = map(float, text.split(","))
    except ValueError:
        raise click.UsageError("Sharpening is RADIUS,AMOUNT,THRESHOLD, or none.") from None
    return radius, amount, threshold
