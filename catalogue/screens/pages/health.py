"""Archive health: the levels of digital preservation reached, growth, copies, and how far the audits have come."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from rich.text import Text
from textual import events
from textual.containers import Container, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from catalogue.fixity.levels import QUESTIONS, Area, Criterion, levels
from catalogue.operations.levels import answer_question
from catalogue.progress import data_size
from catalogue.records import copies, upkeep_lists
from catalogue.records.database import Database
from catalogue.records.upkeep_lists import Coverage, Growth
from catalogue.screens.background.jobs import start_backup
from catalogue.screens.dialogs.confirm import ReasonDialog
from catalogue.screens.page import Page
from catalogue.screens.texts.formats import cell, counted, line, lines, number, safe
from catalogue.screens.widgets import plots
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable
from catalogue.settings import Home


@dataclass(frozen=True, slots=True)
class HealthView:
    """Everything the page shows. ``copies``: how many sound copies, as Copies.counted, to number of masters."""

    areas: tuple[Area, ...]
    growth: tuple[Growth, ...]
    copies: dict[int, int]
    coverage: Coverage


def health_view(db: Database, home: Home) -> HealthView:
    """Gather it; on a large catalogue this takes a moment."""
    masters = copies.of_masters(db)
    counts = Counter(held.counted(one_disk=home.settings.copies_on_one_disk) for held in masters)
    return HealthView(levels(db, home, masters), tuple(upkeep_lists.growth(db)), dict(counts),
                      upkeep_lists.coverage(db))


class HealthPage(Page):
    """Areas and what is lacking on the left, plots on the right."""

    PLACE = "health"
    MODE = "health"
    LIST = "criteria"
    FOLLOWS = False  # gathering all of it takes too long

    def __init__(self) -> None:
        super().__init__()
        self._view: HealthView | None = None
        self._listed = ""   # the area whose criteria are listed

    def body(self) -> Iterable[Widget]:
        yield Container(
            Vertical(RowTable[Area]([Column("Area", 0), Column("Level reached", 14)], id="areas"),
                     RowTable[Criterion]([Column("", 1), Column("", 1), Column("Criterion", 0)], id="criteria"),
                     VerticalScroll(Static("", id="criterion-words", markup=False), can_focus=False,
                                    id="criterion-scroll"),
                     id="health-left"),
            VerticalScroll(Static("", id="plots", markup=False), id="health-right"),
            id="health")

    def on_mount(self) -> None:
        self.query_one("#areas", RowTable).set_title("Levels of digital preservation")

    def load(self, *, keep: bool = False) -> None:
        home = self.app.home

        def show(view: HealthView) -> None:
            self._view = view
            areas = self.query_one("#areas", RowTable)
            areas.show_rows(view.areas, self._area_cells, lambda area: area.name, keep=keep)
            self._plot()

        self.ask(lambda db: health_view(db, home), show, group="health", thread="health",
                 holds=self.query_one("#areas"))

    @staticmethod
    def _area_cells(area: Area) -> list[Text]:
        return [cell(area.name), cell(plots.level(area.level))]

    @staticmethod
    def _criterion_cells(row: Criterion) -> list[Text]:
        return [cell("✓" if row.met else "?" if not row.answered else "✗"), cell(row.level), cell(row.text)]

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.table.id == "areas" and event.row is not None:
            area: Area = event.row
            table = self.query_one("#criteria", RowTable)
            table.set_title(area.name)
            same, self._listed = area.name == self._listed, area.name
            table.show_rows(area.criteria, self._criterion_cells, lambda row: (row.level, row.text), keep=same)
        elif event.table.id == "criteria" and event.row is not None:
            self.query_one("#criterion-words", Static).update(criterion_words(event.row))

    def action_answer(self) -> None:
        if self.query_one("#areas", RowTable).has_focus:
            self.query_one("#criteria", RowTable).focus()
        else:
            self._answer(self.query_one("#criteria", RowTable).row_to_act_on)

    def _answer(self, row: Criterion | None) -> None:
        if row is None or not row.asks:
            self.app.say("The catalogue works this one out itself.")
            return
        question = row.asks

        def answered(said: str | None) -> None:
            if said:
                self.record(f"answer “{safe(said)}”", lambda db: answer_question(db, question, said),
                            lambda _: self.app.changed())

        self.app.push_screen(ReasonDialog(
            QUESTIONS[question], "Begin with yes or no, then the reason if you like. The answer is kept with your "
                                 "name and the date."), answered)

    def action_backup(self) -> None:
        start_backup(self.app)

    def on_resize(self, _: events.Resize) -> None:
        self._plot()

    def _plot(self) -> None:
        if self._view is not None:
            place = self.query_one("#health-right")
            self.query_one("#plots", Static).update(plot_words(self._view, max(20, place.size.width - 3),
                                                               10 if self.size.height >= 40 else 5))


def criterion_words(row: Criterion) -> Content:
    """What is met or lacking."""
    sign = ("✓ ", "$success") if row.met else ("? ", "bold $warning") if not row.answered else ("✗ ", "bold $error")
    parts = [line(sign, (f"{row.area}, level {row.level}: ", "bold"), row.text), line(row.evidence)]
    if row.asks:
        parts.append(line(("Only you can answer this: press Enter.", "$quiet")))
    return lines(parts)


def plot_words(view: HealthView, width: int, height: int) -> Content:
    """Growth by year, copies of masters, and how long ago files were checked."""
    said: list[Content] = []
    grown = [(g.year, float(g.bytes)) for g in view.growth]
    if grown:
        total = sum(g.scans for g in view.growth)
        said += [line(("Growth by year", "bold"), (f"   {counted(total, 'scan')}, "
                      f"{data_size(sum(value for _, value in grown))}", "$quiet"))]
        said += [line((text, "$primary")) for text in plots.columns(grown, width, height)]
        newest = view.growth[-1]
        said.append(line((f"{newest.year}: {counted(newest.scans, 'scan')}, {data_size(newest.bytes)}", "$quiet")))
        said.append(Content(""))
    masters = sum(view.copies.values())
    if masters:
        said.append(line(("Masters by sound copies", "bold"), (f"   {number(masters)}", "$quiet")))
        several = sum(count for held, count in view.copies.items() if held >= 3)
        rows = [(("✗ none", view.copies.get(0, 0))), ("! one copy", view.copies.get(1, 0)),
                ("✓ two copies", view.copies.get(2, 0)), ("✓ three or more", several)]
        said += [line(text) for text in plots.bars([(label, count / masters, number(count)) for label, count in rows],
                                                   width)]
        said.append(Content(""))
    files = view.coverage.files
    if files:
        said.append(line(("Files by last check", "bold"), (f"   {number(files)}", "$quiet")))
        spans = [("within 30 days", view.coverage.month), ("within 90 days", view.coverage.quarter),
                 ("within a year", view.coverage.year), ("longer ago", view.coverage.older),
                 ("never", view.coverage.never)]
        said += [line(text) for text in plots.bars([(label, count / files, number(count)) for label, count in spans],
                                                   width)]
    return lines(said) if said else Content("Nothing to show yet. Index a store first.")
