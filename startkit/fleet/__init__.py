"""The fleet: many jobs in one folder, run together, listed in one register, compared with their
baselines.
"""
