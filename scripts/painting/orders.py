"""Five years of orders and the editions they draw on, numbers issued in order and never twice."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from .shelf import Shelf
from .stock import BUYERS, CANVASES, PAPERS, Original

COLUMNS = (
    "invoice",
    "date",
    "artist",
    "piece",
    "buyer",
    "width_cm",
    "height_cm",
    "medium",
    "border_mm",
    "wrap_mm",
    "edge",
    "quantity",
    "edition_numbers",
    "price",
    "currency",
    "status",
    "notes",
    "master file",
)
ALL, EACH = "all sizes", "one size"
_EDITIONED = {  # title: (N, proofs, scope)
    "Harbour, Low Water": (50, 5, ALL),
    "Harbour, Blue Hour": (30, 3, EACH),
    "Three Kites": (100, 10, ALL),
    "Quarter Past": (25, 3, ALL),
    "Contour Study": (40, 4, ALL),
    "Ember over Slate": (12, 2, ALL),
    "Long Yellow": (15, 2, EACH),
    "Tide Table 1 of 6": (20, 2, ALL),
    "Tide Table 4 of 6": (20, 2, ALL),
    "Marché [épreuve]": (10, 1, ALL),
    "Estuary Morning": (35, 4, ALL),
    "אור על המים": (18, 2, ALL),
    "Copper Bottle": (8, 1, ALL),
}
_NOTES = (
    "",
    "",
    "",
    "",
    "",
    "collects Friday",
    "as last time",
    "darker by a hair, agreed on proof",
    "framer waits",
    "gift, no invoice in the tube",
    "match the print in the hall",
)


@dataclass
class Edition:
    """A limit and the next number of each size that has its own count."""

    limit: int
    scope: str
    issued: dict[str, int]

    def take(self, size: str, quantity: int) -> list[int]:
        """The next `quantity` numbers for this size; fewer when it runs out."""
        key = "" if self.scope == ALL else size
        first = self.issued.get(key, 0) + 1
        last = min(self.limit, first + quantity - 1)
        self.issued[key] = max(last, first - 1)
        return list(range(first, last + 1))


def _sizes(o: Original) -> list[tuple[float, float]]:
    """Two sizes a piece is sold in, cm: the longer side 40 or 60 (miniatures 12 or 20)."""
    longs = (12.0, 20.0) if o.ppi == 600 else (40.0, 60.0)
    top = max(o.width, o.height)
    return [(round(long * o.width / top, 1), round(long * o.height / top, 1)) for long in longs]


def write_editions(shelf: Shelf, stock: Sequence[Original]) -> dict[str, Edition]:
    """editions.csv; `size` is empty where all sizes share one count, else the edition is of that size alone."""
    with shelf.path("editions.csv").open("w", newline="", encoding="utf-8") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(("artist", "title", "N", "proofs", "scope", "size"))
        for o in stock:
            if o.title in _EDITIONED:
                limit, proofs, scope = _EDITIONED[o.title]
                for w, h in _sizes(o) if scope == EACH else [(0.0, 0.0)]:
                    out.writerow((o.artist, o.title, limit, proofs, scope, f"{w:g}x{h:g}" if w else ""))
    shelf.record("editions.csv", role="list")
    return {title: Edition(limit, scope, {}) for title, (limit, _, scope) in _EDITIONED.items()}


def spans(numbers: Sequence[int]) -> str:
    """ "3-5, 9" for 3, 4, 5, 9 (numbers rising)."""
    runs: list[list[int]] = []
    for n in numbers:
        if runs and n == runs[-1][1] + 1:
            runs[-1][1] = n
        else:
            runs.append([n, n])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)


def _progress(left: int) -> str:
    """How far an order has come when `left` lines, itself among them, follow to the end of the list."""
    return "asked" if left <= 2 else "approved" if left <= 5 else "printed" if left <= 8 else "collected"


def order_rows(
    stock: Sequence[Original], printed: dict[str, str], editions: dict[str, Edition], seed: int, count: int
) -> list[dict[str, object]]:
    """`count` order lines from 2021 to 2025, by date; an invoice may have several lines."""
    rng = np.random.default_rng([seed, 77])
    weight = np.array([6.0 if o.title in _EDITIONED else 1.5 for o in stock])
    weight[0] *= 3  # everyone wants the harbour
    days = np.sort(rng.integers(0, 5 * 365 - 20, count))
    rows: list[dict[str, object]] = []
    number, buyer, day, status = 2100, "", date(2021, 1, 4), ""
    for k in range(count):
        if k == 0 or rng.random() > 0.22:
            number, buyer, day = (
                number + 1,
                BUYERS[int(rng.integers(len(BUYERS)))],
                date(2021, 1, 4) + timedelta(days=int(days[k])),
            )
            status = "cancelled" if rng.random() < 0.04 else _progress(count - k)
        o = stock[int(rng.choice(len(stock), p=weight / weight.sum()))]
        w, h = _sizes(o)[int(rng.integers(2))]
        canvas = o.manner in ("impasto", "knife") and rng.random() < 0.55
        quantity = int(rng.choice([1, 1, 1, 2, 3, 5, 10], p=[0.3, 0.2, 0.15, 0.15, 0.1, 0.06, 0.04]))
        numbers: list[int] = []
        if o.title in editions and status != "cancelled":
            numbers = editions[o.title].take(f"{w:g}x{h:g}", quantity)
            if not numbers:
                o = next(s for s in stock if s.title == "Ferry Stop")
                w, h = _sizes(o)[0]
                canvas = False
            else:
                quantity = len(numbers)
        file = printed[o.title]
        # the harbour was scanned anew in 2023; earlier prints came from the first master
        if o.title == "Harbour, Low Water" and day < date(2023, 11, 1):
            file = file.replace(" master.tif", " master 2019.tif")
        media = CANVASES if canvas else PAPERS
        rows.append(
            {
                "invoice": f"OL{number}",
                "date": day.isoformat(),
                "artist": o.artist,
                "piece": o.title,
                "buyer": buyer,
                "width_cm": f"{w:g}",
                "height_cm": f"{h:g}",
                "medium": media[int(rng.integers(len(media)))],
                "border_mm": "" if canvas else int(rng.choice([0, 25, 30, 50])),
                "wrap_mm": int(rng.choice([20, 38, 45])) if canvas else "",
                "edge": str(rng.choice(["mirrored", "white", "stretched"])) if canvas else "",
                "quantity": quantity,
                "edition_numbers": spans(numbers),
                "price": f"{quantity * round(w * h * 0.035 + 28, 0):.2f}",
                "currency": "EUR",
                "status": status,
                "notes": _NOTES[int(rng.integers(len(_NOTES)))],
                "master file": file,
            }
        )
    return rows


def write_orders(
    shelf: Shelf, stock: Sequence[Original], printed: dict[str, str], editions: dict[str, Edition], count: int = 120
) -> None:
    """orders.csv."""
    with shelf.path("orders.csv").open("w", newline="", encoding="utf-8") as f:
        out = csv.DictWriter(f, COLUMNS, lineterminator="\n")
        out.writeheader()
        out.writerows(order_rows(stock, printed, editions, shelf.seed, count))
    shelf.record("orders.csv", role="list")
