"""Levels of digital preservation: answer what only a person knows."""

from catalogue.fixity.levels import answer as answer_question

__all__ = ["answer_question"]
