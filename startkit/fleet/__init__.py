"""The fleet: many jobs in one folder, run to records together, read together, compared with what
they were.
"""
