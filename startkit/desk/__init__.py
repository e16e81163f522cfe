"""The desk: forms, cards and plots in the notebook."""

from startkit.desk.book import open_book

__all__ = ["open_book"]
