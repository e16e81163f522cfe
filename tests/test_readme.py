"""README and DEVELOPERS say what is true: commands exist, links lead somewhere, dependencies have
their reason.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import click
import pytest

from startkit.cli import main
from startkit.procedure.registry import stages

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def command_lines() -> list[str]:
    """Every line of a code block that calls startkit."""
    blocks = re.findall(r"```\w*\n(.*?)```", README, re.DOTALL)
    lines = [line.strip() for block in blocks for line in block.splitlines()]
    found = [re.sub(r"^\S*[/\\]startkit", "startkit", line) for line in lines]
    return [line.split("#")[0].strip() for line in found if line.startswith("startkit ")]


def test_every_command_of_the_readme_exists_with_its_options() -> None:
    for line in command_lines():
        name, *rest = line.split()[1:]
        assert name in main.commands, line
        command = main.commands[name]
        while isinstance(command, click.Group):
            command = command.commands[rest.pop(0)]
        known = {option for parameter in command.params for option in parameter.opts}
        assert {word for word in rest if word.startswith("--")} <= known, line


def test_every_command_is_in_the_readme() -> None:
    shown = {line.split()[1] for line in command_lines()}
    assert set(main.commands) <= shown


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_link_and_picture_leads_to_a_file(text: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        if not target.startswith("http"):
            assert (ROOT / target).exists(), target


def test_the_make_targets_of_the_readme_exist() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in set(re.findall(r"\bmake (\w+)\b", README)):
        assert re.search(rf"^{target}:", makefile, re.MULTILINE), target


def test_every_stage_has_its_line_in_the_readme() -> None:
    for stage in stages().values():
        assert f"| {stage.title} |" in README, stage.title


def _names(requirements: list[str]) -> set[str]:
    return {re.match(r"[A-Za-z0-9_.\-]+", r).group().lower() for r in requirements} - {"startkit"}


def test_every_dependency_has_its_reason_and_a_stated_range() -> None:
    extras = [r for group in PROJECT["optional-dependencies"].values() for r in group]
    listed = {
        name.lower()
        for name in re.findall(
            r"^\| `([^`]+)` \|",
            DEVELOPERS.split("## Dependencies")[1].split("\n## ")[0],
            re.MULTILINE,
        )
    }
    assert _names(PROJECT["dependencies"] + extras) <= listed
    assert all(">=" in r for r in PROJECT["dependencies"])


def test_the_readme_stays_short() -> None:
    assert len(README.splitlines()) < 250
