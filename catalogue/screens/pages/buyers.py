"""Buyers: who orders, how to reach them, and merging two spellings."""

from collections.abc import Callable, Iterable, Sequence

from textual.widget import Widget

from catalogue.indexing.corrections import Correction
from catalogue.operations import buyers as operations
from catalogue.operations.buyers import BuyerChanged
from catalogue.records import buyers
from catalogue.records.buyers import Buyer
from catalogue.records.database import Database
from catalogue.screens.actions.correcting import announce_correction
from catalogue.screens.dialogs.confirm import Choice
from catalogue.screens.dialogs.form import Field, Filled, FormDialog
from catalogue.screens.page import Page
from catalogue.screens.texts.formats import counted, day
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable


class BuyersPage(Page):
    """Every buyer, over the orders; ``chosen`` is called with the one whose orders are wanted."""

    KEY_CONTEXT = "buyers"
    MODE = "orders"
    LIST = "buyers"

    def __init__(self, chosen: Callable[[Buyer], object]) -> None:
        super().__init__()
        self._chosen = chosen
        self._table = RowTable[Buyer](
            [Column("Buyer", 0, lambda row: row.name, weight=3),
             Column("Orders", 6, lambda row: row.orders, right=True),
             Column("Last order", 11, lambda row: day(row.last_order, self.app.day_form)),
             Column("Contact", 0, lambda row: row.contact, least=60, weight=3),
             Column("Notes", 0, lambda row: row.notes, least=90, weight=2)],
            lambda row: row.key, id="buyers")

    def body(self) -> Iterable[Widget]:
        yield self._table

    def load(self, *, keep: bool = False) -> None:
        def show(rows: list[Buyer]) -> None:
            self._table.set_title("Buyers", len(rows))
            self._table.show_rows(rows, keep=keep)

        self.ask(all_buyers, show, group="buyers", holds=self)

    def action_orders(self) -> None:
        row = self._table.row_to_act_on
        if row is not None:
            self.app.pop_screen()
            self._chosen(row)

    def action_edit(self) -> None:
        row = self._table.row_to_act_on
        if row is not None:
            self.app.push_screen(buyer_form(row), lambda done: self._changed([row], done) if done else None)

    def action_merge(self) -> None:
        """Two spellings are one buyer: the two marked, or the one marked and the one under the cursor."""
        both = self._table.two_to_merge
        if both is None:
            self.app.say("Mark one buyer with Space, go to the other, and press m.", "warning")
            return

        def chosen(keep: int | None) -> None:
            if keep is not None:
                stays, gone = both[keep], both[1 - keep]
                self.record(f"{gone.name} merged with {stays.name}",
                            lambda db: corrected(operations.merge_buyers(db, stays.key, gone.key)),
                            lambda done: self._changed(both, done))

        self.app.push_screen(Choice("Merge two buyers. Which name stays?", [
            (n, row.name, counted(row.orders, "order")) for n, row in enumerate(both)],
            "All their orders, past and future, go under that name. u to undo."), chosen)

    def _changed(self, rows: Sequence[Buyer], done: Correction) -> None:
        self._table.dealt_with(rows)    # the list goes by names
        announce_correction(self.app, done)


def all_buyers(db: Database) -> list[Buyer]:
    """Every buyer, by name as it is filed."""
    listed: list[Buyer] = []
    page = buyers.listed(db)
    while page:
        listed += page
        page = buyers.listed(db, after=page[-1].key)
    return listed


def buyer_form(buyer: Buyer) -> FormDialog:
    """Name, contact and notes of one buyer."""
    fields = [Field("name", "Name", buyer.name), Field("contact", "Contact", buyer.contact),
              Field("notes", "Notes", buyer.notes)]

    def save(filled: Filled) -> Callable[[Database], Correction]:
        if not filled.texts["name"]:
            raise ValueError("A buyer needs a name")
        changed = filled.changed
        return lambda db: corrected(operations.describe_buyer(
            db, buyer.key, name=changed.get("name"), contact=changed.get("contact"), notes=changed.get("notes")))

    return FormDialog(f"Buyer: {buyer.name}", fields, save, clash="If they are the same buyer, mark both with Space "
                                                            "and press m.")


def corrected(done: BuyerChanged) -> Correction:
    """A change of a buyer as what the screens take back."""
    return Correction(done.event or 0, " ".join(operations.summarize(done)).removesuffix("."))
