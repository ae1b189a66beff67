"""Amounts of money as exact decimals: reading them, rounding them to a currency's smallest coin, showing them. Pure.

Currencies and their minor units are those of ISO 4217, List One, published 2026-01-01. Those that the euro replaced
stand in old order books: their codes are of List Three, their minor units of CLDR. Rounding is half up everywhere.
"""

import re
from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal
from difflib import get_close_matches

_TWO = """AED AFN ALL AMD AOA ARS AUD AWG AZN BAM BBD BDT BMD BND BOB BOV BRL BSD BTN BWP BYN BZD CAD CDF CHE CHF CHW
CNY COP COU CRC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GTQ GYD HKD HNL HTG HUF IDR ILS INR
IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN
NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB
TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS VED VES WST XAD XCD XCG YER ZAR ZMW ZWG"""
_OTHERS = {0: "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF",
           3: "BHD IQD JOD KWD LYD OMR TND", 4: "CLF UYW"}
_BEFORE_THE_EURO = {2: "ATS BEF BGN CYP DEM EEK FIM FRF GRD HRK IEP LTL LVL MTL NLG PTE SIT SKK", 0: "ESP ITL LUF"}
_SIGNS = {"€": "EUR", "EURO": "EUR", "£": "GBP"}  # those that mean one currency only
CURRENCIES: dict[str, int] = dict.fromkeys(_TWO.split(), 2) | {
    code: digits for table in (_OTHERS, _BEFORE_THE_EURO) for digits, codes in table.items() for code in codes.split()}
UNKNOWN_MINOR_UNITS = 2     # of a currency recorded by an older catalogue under a name that is not a code
LIMIT = Decimal(10) ** 12   # amounts are below it
LONGEST = 40                # characters of an amount as typed
_MEANT = {"€": {"EUR"}, "EURO": {"EUR"}, "£": {"GBP", "EGP", "FKP", "GIP", "LBP", "SDG", "SHP", "SSP", "SYP"},
          "¥": {"JPY", "CNY"}, "ZŁ": {"PLN"}, "ZL": {"PLN"}, "KČ": {"CZK"}, "FT": {"HUF"}, "DM": {"DEM"},
          "SFR": {"CHF"}, "KR": {"SEK", "NOK", "DKK", "ISK"}}   # what a sign or word beside an amount can mean (CLDR)
_NO_DOLLARS = frozenset(["EUR", "GBP", "CHF", "JPY", "CNY", "SEK", "NOK", "DKK", "PLN", "CZK", "HUF"])
_AMOUNT = (  # a currency sign or word may stand before or after; ".-" and ",-" say no cents
    r"(?P<minus>[-−–])?\s*(?P<before>[^\w.,\s-]|[A-Za-zÀ-ɏ]{1,4}\.?)?\s*(?P<minus2>[-−])?"
    r"(?P<whole>[1-9][0-9]{0,2}(?:[.,'’ \u00a0\u202f][0-9]{3})+|[0-9]+)"
    r"(?:(?P<sign>[.,])(?P<cents>[0-9]{1,4})|[.,][-–])?\s*(?P<after>[^\w.,\s-]|[A-Za-zÀ-ɏ]{1,4}\.?)?")


def currency_code(text: str) -> str:
    """The ISO 4217 code meant: ``"eur"`` and ``"€"`` → ``EUR``. Raises ValueError if it is none."""
    word = text.strip().upper()
    code = _SIGNS.get(word, word)
    if code in CURRENCIES:
        return code
    near = get_close_matches(word, CURRENCIES, 3)
    raise ValueError(f"{text!r} is not a currency; write its three letters such as EUR"
                     + (f" (near are {', '.join(near)})" if near else ""))


def minor_units(currency: str) -> int:
    """How many decimals an amount has."""
    return CURRENCIES.get(currency, UNKNOWN_MINOR_UNITS)


def round_amount(amount: Decimal, currency: str) -> Decimal:
    """To the currency's smallest coin, half up (away from zero)."""
    return amount.quantize(Decimal(1).scaleb(-minor_units(currency)), ROUND_HALF_UP)


def decimal_sign(amounts: Iterable[str]) -> str:
    """The sign before the cents in amounts that were written by one hand: a comma or a point; empty if none says so,
    or some write the one and some the other."""
    signs = {amount[match.start()] for amount in amounts if (match := re.search(r"[.,][0-9]{1,2}(?![0-9])", amount))}
    return signs.pop() if len(signs) == 1 else ""


def read_amount(text: str, currency: str = "", *, decimal: str = "") -> str:
    """``"1.234,50 €"`` → ``"1234.50"``; empty stays empty. Decimal text with the currency's decimals.

    A lone sign before three digits parts thousands. In a currency of three decimals a lone point before three digits
    is the decimal point, as :func:`write_amount` has it; a comma there could be either and is refused. ``decimal``, if
    known (:func:`decimal_sign`), is the decimal sign before three digits too, in any currency.
    Raises ValueError: no amount, one of another currency, below zero, finer than the coin, or not below ``LIMIT``.
    """
    typed = text.strip()
    if not typed:
        return ""
    if len(typed) > LONGEST:
        raise ValueError(f"{typed[:LONGEST]}… is not a price: it is too long")
    digits = minor_units(currency)
    match = re.fullmatch(_AMOUNT, typed)
    if match is None:
        raise ValueError(f"{text!r} is not a price")
    if match["minus"] or match["minus2"]:
        raise ValueError(f"{text!r} is not a price: it is below zero")
    for word in (match["before"], match["after"]):
        if word and currency and not _can_mean(word.upper(), currency):
            raise ValueError(f"{text!r} is not a price in {currency}")
    whole, cents = match["whole"], match["cents"] or ""
    if decimal and not cents and re.sub(r"[0-9]", "", whole) == decimal:
        whole, cents = whole[:-4], whole[-3:]
    elif digits == 3 and not cents:
        whole, cents = _three_decimals(whole)
    if len(set(re.sub(r"[0-9]", "", whole))) > 1 or (match["cents"] and match["sign"] in whole):
        raise ValueError(f"{text!r} is not a price")
    if len(cents.rstrip("0")) > digits:
        unit = f"{digits} decimals" if digits else "no decimals"
        raise ValueError(f"{text!r} is not a price in {currency or 'this currency'}: it has {unit}")
    amount = Decimal(f"{re.sub(r'[^0-9]', '', whole)}.{cents or '0'}")
    return write_amount(_below_limit(amount, text), currency)


def _can_mean(word: str, currency: str) -> bool:
    """Whether a sign or word beside an amount may stand for a currency; what is no known one says nothing of it."""
    if word in CURRENCIES:
        return word == currency
    return currency in _MEANT.get(word.removesuffix("."), {currency}) and not (word == "$" and currency in _NO_DOLLARS)


def _three_decimals(whole: str) -> tuple[str, str]:
    """What is taken for groups of thousands, parted where its last sign must be the decimal one."""
    signs = re.sub(r"[0-9]", "", whole)
    if signs == ",":
        raise ValueError(f"{whole!r} could be a price in thousands or with three decimals; write {whole}.000 or "
                         f"{whole.replace(',', '.')}")
    if signs == "." or (len(set(signs)) == 2 and signs[-1] in ".," and signs.count(signs[-1]) == 1):
        return whole[:-4], whole[-3:]
    return whole, ""


def write_amount(amount: Decimal, currency: str) -> str:
    """Decimal text as it is recorded: ``Decimal("84.5")`` → ``"84.50"``."""
    return f"{round_amount(amount, currency):f}"


def exact_amount(amount: Decimal, currency: str) -> str:
    """As :func:`write_amount`, but finer where an older record is finer than the coin: nothing is rounded."""
    rounded = round_amount(amount, currency)
    return f"{rounded if rounded == amount else amount:f}"


def _below_limit(amount: Decimal, text: str) -> Decimal:
    if amount >= LIMIT:
        raise ValueError(f"{text} is more than a price can be (below {LIMIT:,})")
    return amount


def total_price(unit: str, quantity: int, currency: str) -> str:
    """The price of a line: exact, for a unit price has no more decimals than the currency. Empty for none."""
    if not unit:
        return ""
    return write_amount(_below_limit(quantity * Decimal(unit), f"{quantity} × {unit}"), currency)


def unit_price(total: str, quantity: int, currency: str) -> str:
    """The price of one print that a line's price implies: where it divides evenly, else empty."""
    if not total:
        return ""
    each = round_amount(Decimal(total) / quantity, currency)
    return write_amount(each, currency) if each * quantity == Decimal(total) else ""


def show_amount(amount: str, currency: str) -> str:
    """``"1234.50"`` → ``"1,234.50 EUR"``; empty for none. What an older record has beyond the coin is shown too."""
    if not amount:
        return ""
    return f"{Decimal(exact_amount(Decimal(amount), currency)):,f} {currency}".strip()
