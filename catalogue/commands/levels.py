"""``catalogue levels``: how safe the archive is, and what to do next."""

import click

from catalogue.commands.printing import Printer
from catalogue.commands.session import Session, SessionCommand
from catalogue.fixity.levels import NAMES, levels
from catalogue.operations.levels import answer_question


@click.command("levels", cls=SessionCommand)
@click.option("--answer", nargs=2, metavar="QUESTION ANSWER",
              help="Answer one of its questions: yes or no, and the reason.")
@click.option("--all", "everything", is_flag=True, help="Also show the criteria that are already met.")
def command(session: Session, answer: tuple[str, str] | None, everything: bool) -> None:
    """Show which NDSA Levels of Digital Preservation (2.0, 2019) the archive reaches.

    For each area: the level, and what is missing, from what the catalogue knows. Questions that only you can answer are
    marked with a ?.
    """
    db = session.existing() if answer else session.looking()
    if answer:
        answer_question(db, *answer)
    areas = levels(db, session.home)

    def text(out: Printer) -> None:
        for area in areas:
            out.print(f"{area.name}: {area.level} {NAMES[area.level]}" if area.level else f"{area.name}: below level 1")
            for criterion in area.criteria if everything else area.lacking:
                sign = "+" if criterion.met else ("-" if criterion.answered else "?")
                asked = f" [{criterion.asks}]" if criterion.asks else ""
                out.print(f"  {sign} {criterion.level} {criterion.text}{asked}: {criterion.evidence}")

    session.emit([{"area": a.name, "level": a.level, "criteria": a.criteria, "lacking": a.lacking} for a in areas],
                 text)
