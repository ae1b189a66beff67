"""Archive health: the levels of digital preservation reached, growth, copies, and how far the audits have come."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

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
from catalogue.screens.texts.formats import counted, line, lines, number, safe
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
    """Read everything the page shows; takes a moment for a large catalogue."""
    masters = copies.of_masters(db)
    counts = Counter(held.counted(one_disk=home.settings.copies_on_one_disk) for held in masters)
    return HealthView(levels(db, home, masters), tuple(upkeep_lists.growth(db)), dict(counts),
                      upkeep_lists.coverage(db))


class HealthPage(Page):
    """Areas and what is lacking on the left, plots on the right."""

    KEY_CONTEXT = "health"
    MODE = "health"
    LIST = "criteria"
    FOLLOWS = False  # gathering all of it takes too long

    def __init__(self) -> None:
        super().__init__()
        self._view: HealthView | None = None
        self._listed = ""   # the area whose criteria are listed
        self._areas = RowTable[Area](
            [Column("Area", 0, lambda area: area.name),
             Column("Level reached", 14, lambda area: plots.level(area.level))],
            lambda area: area.name, id="areas")
        self._areas.set_title("Levels of digital preservation")
        self._criteria = RowTable[Criterion](
            [Column("", 1, lambda row: "✓" if row.met else "?" if not row.answered else "✗"),
             Column("", 1, lambda row: row.level), Column("Criterion", 0, lambda row: row.text)],
            lambda row: (row.level, row.text), id="criteria")
        self._words = Static("", id="criterion-words", markup=False)
        self._plots = Static("", id="plots", markup=False)
        self._right = VerticalScroll(self._plots, id="health-right")

    def body(self) -> Iterable[Widget]:
        scroll = VerticalScroll(self._words, can_focus=False, id="criterion-scroll")
        yield Container(Vertical(self._areas, self._criteria, scroll, id="health-left"), self._right, id="health")

    def load(self, *, keep: bool = False) -> None:
        home = self.app.home

        def show(view: HealthView) -> None:
            self._view = view
            self._areas.show_rows(view.areas, keep=keep)
            self._plot()

        self.ask(lambda db: health_view(db, home), show, group="health", thread="health", holds=self._areas)

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.table is self._areas and event.row is not None:
            area: Area = event.row
            self._criteria.set_title(area.name)
            same, self._listed = area.name == self._listed, area.name
            self._criteria.show_rows(area.criteria, keep=same)
        elif event.table is self._criteria and event.row is not None:
            self._words.update(criterion_words(event.row))

    def action_answer(self) -> None:
        if self._areas.has_focus:
            self._criteria.focus()
        else:
            self._answer(self._criteria.row_to_act_on)

    def _answer(self, row: Criterion | None) -> None:
        if row is None or not row.asks:
            self.app.say("The catalogue works this one out itself.")
            return
        question = row.asks

        def answered(typed: str | None) -> None:
            if typed:
                self.record(f"answer “{safe(typed)}”", lambda db: answer_question(db, question, typed),
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
            self._plots.update(plot_words(self._view, max(20, self._right.size.width - 3),
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
    parts: list[Content] = []
    grown = [(g.year, float(g.bytes)) for g in view.growth]
    if grown:
        total = sum(g.scans for g in view.growth)
        parts += [line(("Growth by year", "bold"), (f"   {counted(total, 'scan')}, "
                      f"{data_size(sum(value for _, value in grown))}", "$quiet"))]
        parts += [line((text, "$primary")) for text in plots.columns(grown, width, height)]
        newest = view.growth[-1]
        parts.append(line((f"{newest.year}: {counted(newest.scans, 'scan')}, {data_size(newest.bytes)}", "$quiet")))
        parts.append(Content(""))
    masters = sum(view.copies.values())
    if masters:
        parts.append(line(("Masters by sound copies", "bold"), (f"   {number(masters)}", "$quiet")))
        several = sum(count for held, count in view.copies.items() if held >= 3)
        rows = [(("✗ none", view.copies.get(0, 0))), ("! one copy", view.copies.get(1, 0)),
                ("✓ two copies", view.copies.get(2, 0)), ("✓ three or more", several)]
        parts += [line(text) for text in plots.bars([(label, count / masters, number(count)) for label, count in rows],
                                                   width)]
        parts.append(Content(""))
    files = view.coverage.files
    if files:
        parts.append(line(("Files by last check", "bold"), (f"   {number(files)}", "$quiet")))
        spans = [("within 30 days", view.coverage.month), ("within 90 days", view.coverage.quarter),
                 ("within a year", view.coverage.year), ("longer ago", view.coverage.older),
                 ("never", view.coverage.never)]
        parts += [line(text) for text in plots.bars([(label, count / files, number(count)) for label, count in spans],
                                                   width)]
    return lines(parts) if parts else Content("Nothing to show yet. Index a store first.")
