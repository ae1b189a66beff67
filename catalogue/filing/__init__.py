"""Whose work a file shows, judged by its name, its folders, its neighbours and its tags. Knows no database."""
