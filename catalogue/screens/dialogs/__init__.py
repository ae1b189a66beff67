"""Panels over a page: forms, questions, search, help."""
