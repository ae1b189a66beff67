"""Levels of digital preservation: answer what only a person knows."""

from catalogue.fixity import levels
from catalogue.records.database import Database


def answer_question(db: Database, question: str, answer: str) -> None:
    """Keep a person's answer, "yes" or "no" and a reason, with name and date. Raises Refused as ``levels.answer``."""
    levels.answer(db, question, answer)
