"""The demonstration: an invented plant, a physical model of its chillers, and the story of one
start-up.
"""
