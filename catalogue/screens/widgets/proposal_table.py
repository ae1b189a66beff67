"""The originals of an intake plan, one row each."""

from rich.text import Text

from catalogue.intake.proposals import Plan, Proposal
from catalogue.progress import data_size
from catalogue.screens.texts.formats import cell, counted
from catalogue.screens.widgets.row_drawing import Column
from catalogue.screens.widgets.row_table import RowTable


def identity(proposal: Proposal) -> object:
    """What an original is known by, whatever is answered about it: its files."""
    return tuple(item.arrival.path for item in proposal.items)


class ProposalTable(RowTable[Proposal]):
    """What each original is taken for, and whether it is ready."""

    def __init__(self, *, id: str) -> None:
        super().__init__([Column("", 1), Column("What", 24, least=60), Column("Artist", 0), Column("Piece", 0),
                          Column("Files", 5, right=True), Column("Size", 9, least=70, right=True)], id=id)
        self.set_title("New scans")

    def clear(self) -> None:
        """Nothing is proposed yet."""
        self.set_rows([], _cells)
        self.set_title("New scans")

    def show_plan(self, plan: Plan, *, keep: bool) -> None:
        """Show a plan; with ``keep`` the cursor stays on its original."""
        ready = sum(len(p.items) for p in plan.proposals if p.ready)
        self.set_title(f"New scans: {counted(ready, 'file')} ready" if plan.proposals else "No pictures there")
        self.show_rows(plan.proposals, _cells, identity, keep=keep)


def _cells(p: Proposal) -> list[Text]:
    sign = "✓" if p.ready else "?" if p.questions else "–"
    return [cell(sign), cell(p.kind.value), cell(p.artist.value), cell(p.piece.value),
            cell(len(p.items), right=True), cell(data_size(p.size), right=True)]
