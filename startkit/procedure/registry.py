"""Which stages a job has: the built-in ones, those that other packages add, and the check lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from importlib import import_module
from pkgutil import iter_modules

from startkit.errors import SheetError, StartkitError
from startkit.facts import checklists as checklists_
from startkit.facts.checklists import CheckList
from startkit.facts.job import Job
from startkit.facts.plugins import entry_points
from startkit.procedure import checklist
from startkit.procedure.holds import NAMES
from startkit.procedure.stage import Field, Stage

GROUP = "startkit.stages"
# Every stage takes pictures: what was seen and is asked for nowhere.
PHOTOGRAPHS = Field(
    "photographs",
    "Photographs of this stage",
    "photo",
    "Anything not asked for above: a nameplate, a message on the panel, damage, a setting.",
    required=False,
    group="Photographs",
)


def stages(lists: Iterable[CheckList] | None = None) -> dict[str, Stage]:
    """Every stage by name, in working order; check lists by default the shipped and the installed
    ones.

    Raises
    ------
    StartkitError
        An added stage cannot be loaded, has a name twice, or names no hold point; a check list
        names no stage or hold point.
    """
    found = [import_module(f"{GROUP}.{name}").STAGE for name in _built_in()]
    found += [_loaded(point) for point in entry_points(group=GROUP)]
    return ordered(with_lists(found, checklists_.every() if lists is None else lists))


def _built_in() -> list[str]:
    """Names of the stages that come with the tool: its folders."""
    return [module.name for module in iter_modules(import_module(GROUP).__path__)]


def for_job(job: Job) -> dict[str, Stage]:
    """The stages of one job: those that its machine has, with the check lists of its folder."""
    every = stages(checklists_.every(job.folder))
    return {name: stage for name, stage in every.items() if stage.applies(job.machine)}


def with_lists(found: Iterable[Stage], lists: Iterable[CheckList]) -> list[Stage]:
    """Stages and check lists together: a list becomes a stage, or is added to the one that it
    names.

    Raises
    ------
    SheetError
        A list names a stage or a hold point that is not there: file and line.
    """
    by_name = {stage.name: stage for stage in found}
    alone = []
    for each in lists:
        _refuse_unknown_holds(each)
        if not each.stage and each.name in by_name:
            raise SheetError(
                f"there is already a stage {each.name!r}",
                each.where,
                f'rename the check list, or add its items there with  stage = "{each.name}"',
            )
        if not each.stage:
            alone.append(checklist.stage(each))
        elif each.stage in by_name:
            by_name[each.stage] = checklist.added(by_name[each.stage], each)
        else:
            raise SheetError(
                f"there is no stage {each.stage!r} to add the check list to",
                each.where,
                f"use one of {', '.join(by_name)}, or leave the key out",
            )
    return [*by_name.values(), *alone]


def _refuse_unknown_holds(each: CheckList) -> None:
    for gate, where in (
        (each.before, each.where),
        *((item.gate, item.where) for item in each.items),
    ):
        if gate and gate not in NAMES:
            raise SheetError(
                f"{gate!r} is not a hold point", where, f"use one of {', '.join(NAMES)}"
            )


def ordered(found: Iterable[Stage]) -> dict[str, Stage]:
    """Stages by name in the order of their `order`; a name twice is refused."""
    result: dict[str, Stage] = {}
    for stage in sorted(found, key=lambda s: s.order):
        if stage.name in result:
            raise StartkitError(
                f"there are two stages {stage.name!r}", "stages", "rename the added one"
            )
        if stage.before not in NAMES:
            raise StartkitError(
                f"stage {stage.name!r} precedes an unknown hold point {stage.before!r}",
                "stages",
                f"use one of {', '.join(NAMES)}",
            )
        result[stage.name] = _photographed(stage)
    return result


def _photographed(stage: Stage) -> Stage:
    known = any(field.name == PHOTOGRAPHS.name for field in stage.fields)
    return stage if known else replace(stage, fields=(*stage.fields, PHOTOGRAPHS))


def _loaded(point) -> Stage:
    try:
        stage = point.load()
    except Exception as error:  # a foreign package may fail in any way
        raise StartkitError(
            f"the added stage {point.name!r} cannot be loaded ({error})",
            point.value,
            "repair or uninstall its package",
        ) from None
    if not isinstance(stage, Stage):
        raise StartkitError(
            f"the entry point {point.name!r} is not a stage",
            point.value,
            "point it to a startkit.procedure.stage.Stage",
        )
    return stage
