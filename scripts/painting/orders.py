"""Five years of orders and the editions they draw on, numbers issued in order and never twice."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import MappingProxyType

import numpy as np

from .shelf import Shelf
from .stock import BUYERS, CANVASES, PAPERS, Original, scanned_at

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
    "Harbour, Low Water": (100, 10, ALL),
    "Harbour, Blue Hour": (60, 6, EACH),
    "Three Kites": (100, 10, ALL),
    "Quarter Past": (60, 6, ALL),
    "Contour Study": (75, 8, ALL),
    "Ember over Slate": (50, 5, ALL),
    "Long Yellow": (50, 5, EACH),
    "Tide Table 1 of 6": (60, 6, ALL),
    "Tide Table 4 of 6": (60, 6, ALL),
    "Marché [épreuve]": (50, 5, ALL),
    "Estuary Morning": (75, 8, ALL),
    "אור על המים": (60, 6, ALL),
    "Copper Bottle": (8, 1, ALL),
}
_LAST_ONE_LEFT = "Copper Bottle"
# what the least ppi of a medium is: paper, and canvas, which is seen from further off; common practice, no source
_PAPER_PPI, _CANVAS_PPI = 200, 150
_EACH_BORDER_MM = 30
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


@dataclass(frozen=True)
class Exceptional:
    """An order to look at twice: too large for its master, of another shape, or from a master since replaced.

    Sizes as finished, cm.
    """

    title: str
    size: tuple[float, float]
    medium: str
    edge: str
    wrap_mm: int
    note: str


# by the number of the line
EXCEPTIONAL = {
    12: Exceptional("Harbour, Low Water", (40, 28), "cotton rag 310 g", "", 0, "from the first scan, before the tiles"),
    31: Exceptional("Quay by Night", (45, 32.1), "cotton rag 310 g", "", 0, "for a wall across a hall"),
    58: Exceptional("Herring Boats at Skarnøy", (30, 21), "canvas, satin", "stretched", 38, "picture round the edge"),
    77: Exceptional("Three Jugs and a Bowl", (20, 20), "etching paper 350 g", "", 0, "square; artist agreed the crop"),
    96: Exceptional("Regatta, Grey Morning", (42, 30), "baryta 300 g", "", 0, "told it will be soft close to"),
    113: Exceptional("Blue Jug (miniature)", (40, 29.3), "bamboo 290 g", "", 0, "as large as it goes"),
}


@dataclass
class Edition:
    """How many numbers may go out, and how many have, of each size that has its own count."""

    limit: int
    scope: str
    issued: dict[str, int]

    @property
    def sold_out(self) -> bool:
        """Whether no number is left for one of the sizes sold."""
        return max(self.issued.values(), default=0) >= self.limit

    def take(self, size: str, quantity: int) -> list[int]:
        """The next `quantity` numbers for this size; fewer when it runs out."""
        key = "" if self.scope == ALL else size
        first = self.issued.get(key, 0) + 1
        last = min(self.limit, first + quantity - 1)
        self.issued[key] = max(last, first - 1)
        return list(range(first, last + 1))


def _sizes(o: Original, canvas: bool = False) -> list[tuple[float, float]]:
    """Two sizes its picture is sold in, cm: as large as the original, and the largest its master serves."""
    w, h = o.cm
    largest = max(1.0, 0.99 * o.master_ppi / (_CANVAS_PPI if canvas else _PAPER_PPI))  # sizes are rounded
    return [(round(w * times, 1), round(h * times, 1)) for times in (1.0, largest)]


def _finished(size: tuple[float, float], border_mm: int) -> tuple[float, float]:
    """The sheet with its border, cm."""
    return round(size[0] + border_mm / 5, 1), round(size[1] + border_mm / 5, 1)


def write_editions(shelf: Shelf, stock: Sequence[Original]) -> dict[str, Edition]:
    """editions.csv; `size` is empty where all sizes share one count, else the edition is of that size alone."""
    with shelf.path("editions.csv").open("w", newline="", encoding="utf-8") as f:
        out = csv.writer(f, lineterminator="\n")
        out.writerow(("artist", "title", "N", "proofs", "scope", "size"))
        for o in stock:
            if o.title in _EDITIONED:
                limit, proofs, scope = _EDITIONED[o.title]
                each = [_finished(size, _EACH_BORDER_MM) for size in _sizes(o)]
                for w, h in each if scope == EACH else [(0.0, 0.0)]:
                    out.writerow((o.artist, o.title, limit, proofs, scope, f"{w:g}x{h:g}" if w else ""))
    shelf.record("editions.csv", role="list")
    return {
        title: Edition(limit - (title == _LAST_ONE_LEFT), scope, {}) for title, (limit, _, scope) in _EDITIONED.items()
    }


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


def _on_offer(scanned: np.ndarray, weight: np.ndarray, day: date) -> np.ndarray:
    """How likely each piece is ordered on `day`: none before it was scanned, unless none was."""
    there = weight * (scanned <= np.datetime64(day))
    chances = there if there.any() else weight
    return np.asarray(chances / chances.sum())


def _chosen(
    rng: np.random.Generator, o: Original, exceptional: Exceptional | None
) -> tuple[tuple[float, float], str, int, int, str, str]:
    """Finished size in cm, medium, border and wrap in mm, edge and note of one line."""
    note = _NOTES[int(rng.integers(len(_NOTES)))]
    canvas = o.manner in ("impasto", "knife") and _EDITIONED.get(o.title, (0, 0, ALL))[2] == ALL and rng.random() < 0.55
    size = _sizes(o, canvas)[int(rng.integers(2))]
    medium = (CANVASES if canvas else PAPERS)[int(rng.integers(2 if canvas else len(PAPERS)))]
    border, wrap = int(rng.choice([0, 20, 25, 30])), int(rng.choice([20, 38, 45]))
    edge = str(rng.choice(["mirrored", "white"]))
    if exceptional is not None:
        return exceptional.size, exceptional.medium, 0, exceptional.wrap_mm, exceptional.edge, exceptional.note
    if canvas:
        return size, medium, 0, wrap, edge, note
    if _EDITIONED.get(o.title, (0, 0, ALL))[2] == EACH:
        border = _EACH_BORDER_MM
    return _finished(size, border), medium, border, 0, "", note


def order_rows(
    stock: Sequence[Original],
    printed: dict[str, str],
    editions: dict[str, Edition],
    seed: int,
    count: int,
    exceptional: Mapping[int, Exceptional] = MappingProxyType({}),
) -> list[dict[str, object]]:
    """`count` order lines from 2021 to 2025, by date; an invoice may have several lines."""
    rng = np.random.default_rng([seed, 77])
    weight = np.array([6.0 if o.title in _EDITIONED else 1.5 for o in stock])
    scanned = np.array([scanned_at(o).date() for o in stock], "datetime64[D]")
    by_title = {o.title: o for o in stock}
    days = np.sort(rng.integers(0, 5 * 365 - 20, count))
    rows: list[dict[str, object]] = []
    number, buyer, day, status = 2100, "", date(2021, 1, 4), ""
    for k in range(count):
        special = exceptional.get(k)
        if k == 0 or special or rng.random() > 0.22:
            number, buyer, day = (
                number + 1,
                BUYERS[int(rng.integers(len(BUYERS)))],
                date(2021, 1, 4) + timedelta(days=int(days[k])),
            )
            status = "cancelled" if rng.random() < 0.04 and not special else _progress(count - k)
        drawn = stock[int(rng.choice(len(stock), p=_on_offer(scanned, weight, day)))]
        o = by_title[special.title] if special else drawn
        quantity = int(rng.choice([1, 1, 1, 2, 3, 5, 10], p=[0.3, 0.2, 0.15, 0.15, 0.1, 0.06, 0.04]))
        (w, h), medium, border, wrap, edge, note = _chosen(rng, o, special)
        numbers: list[int] = []
        if o.title in editions and status != "cancelled":
            numbers = editions[o.title].take(f"{w:g}x{h:g}", quantity)
            quantity = len(numbers)
            if editions[o.title].sold_out:
                weight[stock.index(o)] = 0
        file = printed[o.title]
        # the harbour was scanned anew in tiles; earlier prints came from the first master
        if o.title == "Harbour, Low Water" and day < scanned_at(o).date():
            file = file.replace(" master.tif", " master 2019.tif")
        rows.append(
            {
                "invoice": f"OL{number}",
                "date": day.isoformat(),
                "artist": o.artist,
                "piece": o.title,
                "buyer": buyer,
                "width_cm": f"{w:g}",
                "height_cm": f"{h:g}",
                "medium": medium,
                "border_mm": border or "",
                "wrap_mm": wrap or "",
                "edge": edge,
                "quantity": quantity,
                "edition_numbers": spans(numbers),
                "price": f"{quantity * round(w * h * 0.035 + 28, 0):.2f}",
                "currency": "EUR",
                "status": status,
                "notes": note,
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
        out.writerows(order_rows(stock, printed, editions, shelf.seed, count, EXCEPTIONAL))
    shelf.record("orders.csv", role="list")
