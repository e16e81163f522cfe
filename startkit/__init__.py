"""Commissioning and start-up workbook for centrifugal water chillers."""

__version__ = "0.2.0"
