"""``catalogue print``: the files that go to the printer, for the lines of an order."""

from pathlib import Path
from typing import Any

import click

from catalogue.commands.session import Session, bar, interruptible, json_option

EDGES = ("continued", "mirrored", "stretched", "colour")
KERNELS = ("lanczos3", "catmull-rom", "mitchell")
INTENTS = ("perceptual", "relative", "saturation", "absolute")


@click.command("print")
@click.argument("number")
@click.option("--line", "line_id", type=int, help="One line; else every line of the order.")
@click.option("--to", "folder", type=click.Path(path_type=Path), help="Folder for the files; else print_folder of the"
              " settings. Never in a store, unless the settings allow it.")
@click.option("--ppi", type=click.IntRange(10, 4800), help="Else the highest usual one that the master has.")
@click.option("--bits", type=click.Choice(["8", "16"]), help="Bits a channel; else the master's.")
@click.option("--crop", help="LEFT,TOP,WIDTH,HEIGHT in pixels of the master; all: the whole of it.")
@click.option("--whole", "fit", flag_value="whole", help="Show all of it on white, where shapes differ.")
@click.option("--fill", "fit", flag_value="fill", help="Fill the print and cut what is left over (usual).")
@click.option("--turn", type=click.Choice(["0", "90", "180", "270"]), help="Degrees clockwise.")
@click.option("--edge", type=click.Choice(EDGES), help="What covers wrap and bleed; else as the order says.")
@click.option("--edge-colour", metavar="COLOUR", help="white, black, or levels of 0–255 such as 128,128,128.")
@click.option("--stretch", "stretch_mm", type=float, metavar="MM", help="The edge's strip that is stretched.")
@click.option("--bleed", "bleed_mm", type=float, metavar="MM", help="Beyond the cut, all round.")
@click.option("--marks/--no-marks", default=None, help="Corner and fold marks outside the picture.")
@click.option("--kernel", type=click.Choice(KERNELS), help="Of the resampling; lanczos3 unless said.")
@click.option("--profile", type=click.Path(path_type=Path), metavar="FILE", help="Convert to this ICC profile; none:"
              " embed the master's.")
@click.option("--intent", type=click.Choice(INTENTS), help="Of the conversion; relative unless said.")
@click.option("--black-point/--no-black-point", default=None, help="Black point compensation; on unless said.")
@click.option("--compression", type=click.Choice(["none", "deflate", "lzw"]), help="Of the file; none unless said.")
@click.option("--afresh", is_flag=True, help="Leave last time's choices aside.")
@json_option
@click.pass_obj
@click.pass_context
def command(context: click.Context, session: Session, /, number: str, line_id: int | None, folder: Path | None,
            profile: Path | None, afresh: bool, **given: Any) -> None:
    """Make the print files of the order NUMBER, from its verified masters.

    What is not said is as last time, else as usual. Each file is recorded with its recipe, and says whether it is the
    same as last time's, bit for bit. Exit 1 when a line of several has none.
    """
    from catalogue.operations.print_files import (
        lines_to_print,
        make_prints,
        print_folder,
        read_profile,
        summarize,
    )

    chosen = _chosen(given)
    db = session.existing()
    lines = lines_to_print(db, number, line_id)
    place = print_folder(db, session.home, folder)
    icc = None if profile is None else b"" if str(profile) == "none" else read_profile(profile)
    with interruptible("Print files that were finished stay; run it again for the rest.") as cancelled, bar() as report:
        done = make_prints(db, session.home, lines, chosen, place, profile=icc, afresh=afresh, report=report,
                           cancelled=cancelled)
    session.stopped = ""
    session.emit(done, lambda out: out.lines(summarize(done, session.home.settings.dates)))
    if done.not_made:
        context.exit(1)


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
    return chosen
