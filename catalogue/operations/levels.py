"""Levels of digital preservation: recording the answers only a person can give."""

from catalogue.fixity.levels import answer as answer_question

__all__ = ["answer_question"]
