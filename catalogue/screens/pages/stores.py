"""Stores: which disks and shares, whether they are connected, free space, copies and last audit."""

import shutil
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from textual.containers import Container, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from catalogue.fixity.set_aside import SetAsideFile, set_aside_files
from catalogue.indexing.locating import UNMARKED, locate_store
from catalogue.operations.doubles import summarize_set_aside
from catalogue.operations.stores import StoreRetired, retire_store, stand_in, summarize, summarize_unread, unread_files
from catalogue.progress import data_size
from catalogue.records import stores, upkeep_lists
from catalogue.records.database import Database
from catalogue.records.fixity import last_audit
from catalogue.records.stores import Holding, Store
from catalogue.screens.actions.refiling import open_names
from catalogue.screens.background.jobs import notice, start_copy, start_index
from catalogue.screens.dialogs.audit import AuditDialog
from catalogue.screens.dialogs.confirm import confirm
from catalogue.screens.page import Page
from catalogue.screens.pages.add_store import AddStorePage
from catalogue.screens.texts.formats import ago, counted, line, lines, number, safe
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable


@dataclass(frozen=True, slots=True)
class StoreView:
    """One store as it is now. ``root``: where it is mounted, None while offline. Room in bytes, None if unknown."""

    store: Store
    root: Path | None
    holding: Holding
    free: int | None
    total: int | None
    findings: int
    last_audit: str
    unread: int
    stand_in: str
    set_aside: tuple[SetAsideFile, ...] = ()


def store_views(db: Database) -> list[StoreView]:
    """All stores in use; asks the disks, so it may take as long as they do."""
    views = []
    for store in stores.listed(db):
        root = locate_store(db, store)
        advice = stand_in(store, root)
        free = total = None
        if root is not None:
            try:
                usage = shutil.disk_usage(root)
                free, total = usage.free, usage.total
            except OSError:  # gone since we looked
                root = None
        holding = stores.holding(db, store.id)
        views.append(StoreView(store, root, holding, free, total,
                               upkeep_lists.findings_of_store(db, store.id), last_audit(db, store.id),
                               unread_files(db, store, root, holding), advice,
                               set_aside_files(db, store, root)))
    return views


class StoresPage(Page):
    """The list of stores, and all about the one under the cursor."""

    KEY_CONTEXT = "stores"
    MODE = "stores"
    LIST = "stores-table"

    def __init__(self) -> None:
        super().__init__()
        self._table = RowTable[StoreView](
            [Column("Store", 0, lambda view: view.store.name),
             Column("Kind", 8, lambda view: view.store.kind),
             Column("State", 9, lambda view: "✓ online" if view.root else "– offline"),
             Column("Files", 9, lambda view: number(view.holding.files), right=True),
             Column("Size", 9, lambda view: data_size(view.holding.bytes), right=True),
             Column("Free", 9, lambda view: data_size(view.free) if view.free is not None else "–", right=True),
             Column("Oldest check", 14, lambda view: ago(view.holding.oldest_check), least=86),
             Column("Findings", 10, lambda view: f"! {view.findings}" if view.findings else "none", least=100,
                    right=True)],
            lambda view: view.store.id, id="stores-table")
        self._words = Static("", id="store-words", markup=False)

    def body(self) -> Iterable[Widget]:
        yield Container(self._table, VerticalScroll(self._words, can_focus=False), id="stores")

    def stores_changed(self) -> None:
        self.load(keep=True)

    def load(self, *, keep: bool = False) -> None:
        def show(views: list[StoreView]) -> None:
            self._table.set_title("Stores", len(views))
            self._table.show_rows(views, keep=keep)
            if not views:
                self._words.update("No store yet. Press a to add a folder of scans.")

        self.ask(store_views, show, group="stores", thread="disks", holds=self._table)

    def on_row_table_highlighted(self, event: RowTable.Highlighted) -> None:
        if event.row is not None:
            self._words.update(store_words(event.row))

    @property
    def _view(self) -> StoreView | None:
        return self._table.row_to_act_on

    def action_names(self) -> None:
        """How names will be read in all stores; other rules are previewed before anything is filed by them."""
        open_names(self.app)

    def action_add(self) -> None:
        self.app.push_screen(AddStorePage())

    def action_index(self) -> None:
        if self._view is not None:
            start_index(self.app, [self._view.store.name])

    def action_index_all(self) -> None:
        start_index(self.app)

    def action_audit(self) -> None:
        if self._view is not None:
            self.app.push_screen(AuditDialog([self._view.store.name]))

    def action_bring_up_to_date(self) -> None:
        view = self._view
        if view is None:
            return
        if view.store.kind == "primary":
            self.app.say("This is a primary store. Choose a copy or off-site store to bring up to date.", "warning")
            return

        confirm(self.app, f"Copy what {safe(view.store.name)} lacks?",
                "Scans in the primary stores that it lacks are copied there with their sidecars, each read back and "
                "compared. Nothing there is overwritten.", lambda: start_copy(self.app, view.store.name), yes="Copy")

    def action_retire(self) -> None:
        view = self._view
        if view is None:
            return

        app, home, name = self.app, self.app.home, view.store.name

        def retired(done: StoreRetired) -> None:
            app.say(notice(summarize(done)))
            self._table.expect_removal(view)
            app.changed()

        def retire() -> None:
            self.record(f"retire {safe(name)}", lambda db: retire_store(db, home, name), retired)

        confirm(app, f"Retire {safe(name)}?", "Nothing on the disk is touched. Add the same folder again to bring its "
                "records back.", retire, yes="Retire it", careful=True)


def store_words(view: StoreView) -> Content:
    """Everything about one store."""
    store, held = view.store, view.holding
    parts = [line((store.name, "bold"), f"   {store.kind} store")]
    if view.root is None:
        parts.append(line(("– ", "$quiet"), f"offline; last seen at {store.root}"))
    else:
        parts.append(line(("✓ ", "$success"), f"at {view.root}"))
    parts.append(line(f"{counted(held.files, 'file')}, {data_size(held.bytes)}" + (
        f"; {counted(held.missing, 'file')} missing" if held.missing else "")))
    if view.free is not None and view.total:
        used = 1 - view.free / view.total
        length = 30
        bar = "█" * round(used * length) + "░" * (length - round(used * length))
        parts.append(line(f"{bar} {used:.0%} used, {data_size(view.free)} free of {data_size(view.total)}"))
    parts.append(line(f"oldest check {ago(held.oldest_check)}; last audit {ago(view.last_audit)}"))
    warnings = (view.stand_in,
                f"{summarize_unread(view.unread)}: press i" if view.unread else "",
                counted(view.findings, "open finding") if view.findings else "",
                summarize_set_aside(view.set_aside) if view.set_aside else "",
                "no marker: not recognised at another mount point" if store.marker.startswith(UNMARKED) else "")
    parts += [line(("! ", "bold $warning"), warning) for warning in warnings if warning]
    if store.one_reader:
        parts.append(line(("spinning disk: one reader at a time", "$quiet")))
    return lines(parts)
