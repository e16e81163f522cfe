"""The frame on which every stage stands: what a stage is, what it reads, how it is judged."""
