"""Trends: readings of many points over time, from a file to marked values in SI."""
