"""The desk: forms, cards and plots in the notebook."""

from startkit.desk.notebook import open_book

__all__ = ["open_book"]
