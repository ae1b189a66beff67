"""What a person types to find order lines, in one line: ``2025-11 quill canvas printed``. Pure."""

import re
from datetime import date

from catalogue.ledger.periods import take_period
from catalogue.records.order_list import OrderFilter
from catalogue.records.orders import PARTLY_COLLECTED, STATUS_SPELLINGS, STATUSES

_PARTS = re.compile(r'"([^"]*)"|(\S+)')


def read_filter(text: str, today: date) -> OrderFilter:
    """A period (:func:`catalogue.ledger.periods.take_period`), states of an order, and words; in any order.

    Several states mean any of them. What stands in quotation marks is sought as words, whatever it says. A year beside
    another period, and a second period, are words.
    """
    parts = [(match[1], True) if match[1] is not None else (match[2], False) for match in _PARTS.finditer(text)]
    plain = [part for part, quoted in parts if not quoted]
    period, plain = take_period(plain, today)
    statuses = tuple(dict.fromkeys(status for part in plain if (status := _status(part))))
    words = [part for part in plain if not _status(part)] + [part for part, quoted in parts if quoted]
    return OrderFilter(period.first if period else "", period.last if period else "", statuses=statuses,
                       words=" ".join(words))


def _status(word: str) -> str:
    plain = word.casefold()
    status = STATUS_SPELLINGS.get(plain, plain)
    return status if status in (*STATUSES, PARTLY_COLLECTED) else ""
