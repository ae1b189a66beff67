"""A proposed order line, with everything a person should see before recording it."""

from dataclasses import dataclass

from catalogue.ledger.editions import State
from catalogue.ledger.evidence import Evidence
from catalogue.ledger.fit import Fit
from catalogue.ledger.health import Health
from catalogue.records.orders import Line, NewLine
from catalogue.records.pieces import Piece


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to check before printing. A ``grave`` one must be confirmed."""

    kind: str
    text: str
    hint: str = ""
    grave: bool = False


@dataclass(frozen=True, slots=True)
class Proposal:
    """``line`` is what would be recorded; ``last`` is the line it repeats.

    ``used`` is the scan of last time, where it is known and in the catalogue; ``master`` the piece's current master;
    ``printing`` the one the new print is made from. ``evidence`` tells how ``used`` and ``master`` relate where they
    are not the same bytes. ``currency`` is last time's, else the shop's: that of the line's two prices, which are empty
    if none is known. ``numbers`` are those of its edition that would be issued now for the whole quantity, such as
    ``"18, 24"``; fewer where fewer are free.
    """

    piece: Piece
    last: Line | None
    line: NewLine
    used: Health | None
    master: Health | None
    printing: Health | None
    evidence: Evidence | None
    fit: Fit | None
    edition: State | None
    currency: str = ""
    also: tuple[Line, ...] = ()     # further lines of this piece in last time's order, where a piece was asked for
    cautions: tuple[Caution, ...] = ()
    numbers: str = ""

    @property
    def same_bytes(self) -> bool | None:
        """Whether last time's scan is the current master, bit for bit; None if either is unknown."""
        if self.last is None or not self.last.scan_sha256 or self.master is None:
            return None
        return self.last.scan_sha256 == self.master.scan.sha256

    @property
    def grave(self) -> tuple[Caution, ...]:
        """The cautions that must be confirmed."""
        return tuple(caution for caution in self.cautions if caution.grave)
