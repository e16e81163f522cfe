"""The frame of every stage: what a stage is, what it reads, how it is judged."""
