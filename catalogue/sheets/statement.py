"""A statement to an artist as a page, as text and as a CSV table."""

from dataclasses import fields

from catalogue.dates import shown_day
from catalogue.ledger.artist_statement import Row, Statement
from catalogue.money import show_amount
from catalogue.sheets.page import render
from catalogue.spreadsheets import csv_table

ROUNDING = ("What is owed for a print is its price times the rate, rounded to the smallest coin, half up; totals are "
            "sums of the rounded amounts.")
TAX = "Prices are as recorded by the shop. Tax is not calculated."


def statement_page(made: Statement, dates: str) -> str:
    """The page as self-contained HTML, identical whenever it is made again."""
    period = f"{shown_day(made.first, dates)} to {shown_day(made.last, dates)}"
    return render("statement.html", made=made, period=period, issued=shown_day(made.issued, dates), dates=dates,
                  rounding=ROUNDING, tax=TAX, money=show_amount)


def statement_csv(made: Statement) -> str:
    """A row for each group of prints and each correction, then the totals, amounts as plain decimals."""
    names = [field.name for field in fields(Row) if field.name != "line_id"]
    groups = (("print", made.rows), ("correction", made.corrections))
    rows: list[list[object]] = [[kind, made.artist, *(getattr(row, name) for name in names)]
                                for kind, several in groups for row in several]
    for total in made.totals:
        facts = {"amount": total.amount, "owed_in": total.currency, "prints": made.prints}
        rows.append(["total", made.artist, *(facts.get(name, "") for name in names)])
    return csv_table(["kind", "artist", *names], rows)
