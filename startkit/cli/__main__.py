"""``python -m startkit.cli`` is the command `startkit`."""

from startkit.cli import main

main(prog_name="startkit")
