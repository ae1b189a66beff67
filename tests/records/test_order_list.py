"""The order list against the same filters, sorts and sums over plain Python values."""

import random
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest

from catalogue.records import buyers, order_list, orders, pieces
from catalogue.records.database import Database, open_database, transaction
from catalogue.records.folding import fold_name
from catalogue.records.order_list import Money, OrderFilter
from catalogue.records.orders import NewLine

MEDIA = ("Cotton rag", "Canvas", "Fibre gloss", "")
BUYERS = ("Ann Colquhane", "ANN COLQUHANE", "Hotel Umberlow", "", "The Umberlow")
PRICES = ("", "10.00", "0.10", "1234.56", "99.99")


@pytest.fixture(scope="module")
def db(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    made = open_database(tmp_path_factory.mktemp("list") / "catalogue.sqlite")
    rng = random.Random(18)
    with transaction(made):
        works = [pieces.piece_called(made, pieces.artist_called(made, artist).id, title)
                 for artist, title in (("Ada Quill", "Harbour"), ("Ada Quill", "Pier"), ("Bo Rand", "Canvas Mill"))]
        for n in range(120):
            placed = f"2025-{rng.randint(9, 12):02}-{rng.randint(1, 30):02}" + ("T09:30" if n % 17 == 0 else "")
            placed = "2025-11-30T09:30" if n == 50 else placed  # in the last day's morning
            order = orders.add(made, f"R-{n:03}", placed, buyer=rng.choice(BUYERS), status=rng.choice(orders.STATUSES),
                               currency=rng.choice(("EUR", "CHF")))
            for _ in range(rng.randint(1, 3)):
                line = orders.add_line(made, order, NewLine(
                    rng.choice(works), rng.choice((300.0, 500.0)), 700.0, rng.randint(1, 9), rng.choice(MEDIA),
                    price=rng.choice(PRICES)))
                if rng.random() < 0.05:
                    orders.cancel_line(made, line)
        buyers.state(made, "the umberlow", {"joined_into": "hotel umberlow"})
        buyers.state(made, "hotel umberlow", {"name": "Hotel Umberlow"})
    yield made
    made.close()


def _fits(line: orders.Line, wanted: OrderFilter) -> bool:
    """The rule in plain words."""
    buyer = fold_name(line.buyer).replace("the umberlow", "hotel umberlow")
    width, height = f"{line.width_mm / 10:.0f}", f"{line.height_mm / 10:.0f}"
    text = fold_name(f"{line.number} {line.placed} {line.buyer} {line.artist} {line.title} {line.medium} "
                  f"{width}x{height} {height}x{width}")
    return (wanted.first <= line.placed[:10] <= (wanted.last or "9") and (wanted.buyer in ("", buyer))
            and (not wanted.statuses or line.status in wanted.statuses)
            and fold_name(wanted.medium) in fold_name(line.medium)
            and (wanted.artist_id is None or line.artist == {1: "Ada Quill", 2: "Bo Rand"}[wanted.artist_id])
            and all(any(word.startswith(part) for word in text.split()) for part in fold_name(wanted.words).split()))


FILTERS = [
    OrderFilter(), OrderFilter("2025-11-01", "2025-11-30"), OrderFilter(first="2025-11-01"),
    OrderFilter(last="2025-10-15"), OrderFilter(statuses=("printed",)),
    OrderFilter(statuses=("requested", "cancelled")),
    OrderFilter(artist_id=1), OrderFilter(buyer="hotel umberlow"), OrderFilter(buyer="ann colquhane"),
    OrderFilter(medium="canvas"), OrderFilter(words="canvas"), OrderFilter(words="quill canvas"),
    OrderFilter(words="rag harb"), OrderFilter(words="50x70 pier"), OrderFilter(words="R-01"),
    OrderFilter("2025-11-01", "2025-11-30", 1, buyer="hotel umberlow", statuses=("collected", "printed")),
    OrderFilter(words="2025-11"), OrderFilter(buyer="nobody")]
KEYS = {
    "date": lambda one: one.placed, "number": lambda one: one.number, "artist": lambda one: fold_name(one.artist),
    "piece": lambda one: fold_name(one.title), "medium": lambda one: one.medium, "quantity": lambda one: one.quantity,
    "buyer": lambda one: fold_name(one.buyer).replace("the umberlow", "hotel umberlow"),
    "price": lambda one: float(one.price or 0), "status": lambda one: orders.STATUSES.index(one.status)}


def test_every_sort_has_its_rule_here() -> None:
    assert set(KEYS) == set(order_list.SORTS)


@pytest.mark.parametrize("wanted", FILTERS, ids=str)
def test_a_filter_gives_what_fits_and_its_sums(db: Database, wanted: OrderFilter) -> None:
    fitting = [line for line in orders.all_lines(db) if _fits(line, wanted)]
    listed = order_list.page(db, wanted, limit=10_000)
    assert [one.line for one in listed] == sorted(fitting, key=lambda one: (one.placed, one.id), reverse=True)
    assert wanted.buyer == "nobody" or len(fitting) > 2, "the filter is tried on something"
    counted = [line for line in fitting if line.status != "cancelled"]
    sums = order_list.sums(db, wanted)
    money: dict[str, Decimal] = {}
    for line in counted:
        if line.price:
            money[line.currency] = money.get(line.currency, Decimal(0)) + Decimal(line.price)
    assert sums.money == tuple(Money(currency, f"{amount:.2f}") for currency, amount in sorted(money.items()))
    assert (sums.orders, sums.lines, sums.prints, sums.unpriced, sums.cancelled) == (
        len({line.order_id for line in counted}), len(counted), sum(line.quantity for line in counted),
        sum(1 for line in counted if not line.price), len(fitting) - len(counted))


@pytest.mark.parametrize("sort", order_list.SORTS)
@pytest.mark.parametrize("descending", [True, False])
@pytest.mark.parametrize("wanted", [FILTERS[0], FILTERS[6]], ids=["all", "one artist"])
def test_pages_in_either_direction_join_to_the_sorted_list(db: Database, sort: str, descending: bool,
                                                           wanted: OrderFilter) -> None:
    lines = [line for line in orders.all_lines(db) if _fits(line, wanted)]
    expected = [line.id for line in sorted(lines, key=lambda one: (KEYS[sort](one), one.id), reverse=descending)]
    found: list[order_list.ListedLine] = []
    while page := order_list.page(db, wanted, sort=sort, descending=descending, limit=7,
                                  beyond=found[-1].position if found else None):
        found += page
        assert len(found) <= len(expected)
    assert [one.line.id for one in found] == expected
    back: list[order_list.ListedLine] = []
    while page := order_list.page(db, wanted, sort=sort, descending=descending, limit=7, forward=False,
                                  beyond=back[0].position if back else None):
        back = page + back
        assert len(back) <= len(expected)
    assert back == found


def test_a_line_names_the_buyer_it_is_for(db: Database) -> None:
    listed = order_list.page(db, OrderFilter(buyer="hotel umberlow"), limit=1000)
    assert {(one.buyer, one.buyer_key) for one in listed} == {("Hotel Umberlow", "hotel umberlow")}
    assert {one.line.buyer for one in listed} == {"Hotel Umberlow", "The Umberlow"}, "the order keeps what it says"


def test_the_usual_direction_is_newest_and_dearest_first(db: Database) -> None:
    for sort in order_list.SORTS:
        assert order_list.page(db, OrderFilter(), sort=sort) == order_list.page(
            db, OrderFilter(), sort=sort, descending=sort in ("date", "number", "quantity", "price"))


def test_a_slip_of_the_finger_finds_it_too(db: Database, tmp_path: Path) -> None:
    assert order_list.page(db, OrderFilter(words="quil")) == order_list.page(db, OrderFilter(words="quill"))
    assert order_list.page(db, OrderFilter(words="harbuor")) == order_list.page(db, OrderFilter(words="harbour"))
    assert order_list.page(db, OrderFilter(words='"; DROP')) == []
    for typed in ("xyzzy harbour", "with harbour"):     # a sum of money is of what was asked for and nothing more
        assert order_list.page(db, OrderFilter(words=typed)) == []


def test_an_orders_number_means_that_order_and_no_other(db: Database) -> None:
    """"R-1" also begins words of many: r of a buyer, 1 of a size or date."""
    with transaction(db):
        order = orders.add(db, "R-1", "2025-09-01", buyer="Rosa 100")
        line = orders.add_line(db, order, NewLine(1, 300.0, 700.0, 1))
    for typed in ("R-1", "r-1"):
        assert [row.line.id for row in order_list.page(db, OrderFilter(words=typed))] == [line]
        assert order_list.sums(db, OrderFilter(words=typed)).lines == 1
    assert len(order_list.page(db, OrderFilter(words="R-1 rosa"))) >= 1
