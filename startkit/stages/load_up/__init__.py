"""Load-up: steady readings at each load, compared with the selection."""

from __future__ import annotations

from startkit.errors import StartkitError
from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.entries import Entries
from startkit.procedure.stage import Column, Field, Findings, Stage
from startkit.stages.load_up import rating as load_rating
from startkit.stages.load_up import signs as load_signs
from startkit.stages.load_up import trend_findings, trend_windows
from startkit.stages.load_up.findings import figures, tables
from startkit.stages.load_up.plots import plots, top
from startkit.stages.load_up.readings import Point, points
from startkit.stages.load_up.tolerance import AS_LISTED, LABORATORY
from startkit.stages.load_up.trend_windows import Steady
from startkit.stages.load_up.verdicts import Court, verdicts
from startkit.units import KINDS

_TEMPERATURE = ("-15 °C", "60 °C")

COLUMNS = (
    Column("label", "Load", help="As aimed at, for example 75 %", required=True),
    Column("moment", "Read at", "moment"),
    Column(
        "steady",
        "Steady",
        "yes_no",
        help=(
            "Yes only if water temperatures, current and oil have stood still for the last ten"
            " minutes or more"
        ),
        required=True,
    ),
    Column("steady_by", "Steady, says", "person", help="Who watched and says so"),
    Column(
        "chilled_entering",
        "Chilled water entering",
        "temperature",
        plausible=("-5 °C", "40 °C"),
        required=True,
    ),
    Column(
        "chilled_leaving",
        "Chilled water leaving",
        "temperature",
        plausible=("-10 °C", "30 °C"),
        required=True,
    ),
    Column("evaporator_flow", "Chilled water flow", "flow", plausible=("1 L/s", "2000 L/s")),
    Column(
        "evaporator_drop",
        "Evaporator pressure drop",
        "pressure_drop",
        plausible=("1 kPa", "400 kPa"),
    ),
    Column(
        "condenser_entering",
        "Condenser water entering",
        "temperature",
        plausible=("0 °C", "50 °C"),
        required=True,
    ),
    Column(
        "condenser_leaving",
        "Condenser water leaving",
        "temperature",
        plausible=("0 °C", "60 °C"),
        required=True,
    ),
    Column("condenser_flow", "Condenser water flow", "flow", plausible=("1 L/s", "2500 L/s")),
    Column(
        "condenser_drop", "Condenser pressure drop", "pressure_drop", plausible=("1 kPa", "400 kPa")
    ),
    Column(
        "evaporator_pressure",
        "Evaporator pressure",
        "gauge_pressure",
        help="A vacuum with its unit, such as 12 in Hg vac",
        required=True,
    ),
    Column("condenser_pressure", "Condenser pressure", "gauge_pressure", required=True),
    Column("suction_temperature", "Suction temperature", "temperature", plausible=_TEMPERATURE),
    Column(
        "discharge_temperature",
        "Discharge temperature",
        "temperature",
        plausible=("5 °C", "120 °C"),
    ),
    Column(
        "liquid_temperature",
        "Liquid temperature leaving condenser",
        "temperature",
        plausible=("0 °C", "70 °C"),
    ),
    Column(
        "power",
        "Input power",
        "power",
        help="At the terminals of the machine, drive included",
        required=True,
    ),
    Column("current", "Motor current, mean of the phases", "current"),
    Column("vane_position", "Vane position", "percent", plausible=("0 %", "110 %")),
    Column("speed", "Motor speed", "frequency"),
    Column("oil_differential", "Oil differential", "pressure_difference"),
    Column(
        "oil_temperature", "Oil supply temperature", "temperature", plausible=("10 °C", "90 °C")
    ),
)

WINDOWS = (
    Column("label", "Load", help="As aimed at, for example 75 %"),
    Column("begin", "Begin", "moment", help="From the list of steady stretches", required=True),
    Column(
        "end", "End", "moment", help="From the list of steady stretches, or earlier", required=True
    ),
    Column(
        "chosen_by",
        "Chosen by",
        "person",
        help="Who looked at the plot and chose it",
        required=True,
    ),
)

FIELDS = (
    Field(
        "points",
        "Readings at each load",
        "table",
        "One column of the sheet is one load. Load step by step, wait until everything stands"
        " still, then read all within a few minutes. Do not read approaches while the loop swings.",
        columns=COLUMNS,
        rows=4,
        across=True,
        group="Readings",
        required=False,
    ),
    Field(
        "trend",
        "Trend",
        "text",
        "Name of a trend that was imported with the command trend. Its steady stretches are then"
        " listed and drawn below.",
        required=False,
        group="From a trend",
    ),
    Field(
        "windows",
        "Stretches to use",
        "table",
        "Look at the drawn trend, then copy begin and end of the stretches to use. Each becomes one"
        " load, its readings the means over the stretch.",
        columns=WINDOWS,
        rows=2,
        required=False,
        group="From a trend",
    ),
    Field(
        "tolerance",
        "Judge by",
        "choice",
        "The laboratory's tolerances are those of a factory test; limits of sheet and specification"
        " stand above either.",
        required=False,
        choices=(AS_LISTED, LABORATORY),
        group="Against the selection",
    ),
    Field(
        "standstill_pressure",
        "Condenser pressure at standstill",
        "gauge_pressure",
        "Machine stopped, condenser water circulating until the refrigerant has its temperature.",
        required=False,
        group="Air in the machine",
    ),
    Field(
        "standstill_temperature",
        "Condenser water at standstill",
        "temperature",
        required=False,
        plausible=("0 °C", "50 °C"),
        group="Air in the machine",
    ),
)
_KINDS = {column.name: column.kind for column in COLUMNS if column.kind in KINDS}
_LABELS = {column.name: column.label for column in COLUMNS}


def judge(machine: Machine, limits: Limits, entries: Entries) -> Findings:
    """Figures at each load with their uncertainty, from readings and from a trend, against limits
    and selection.
    """
    typed, problem = points(machine, entries)
    seen, chosen, remarks = _from_trend(machine, limits, entries)
    found = (*typed, *chosen)
    rated = load_rating.part_load(found)
    court = Court(machine, limits, entries, found, _KINDS, _LABELS)
    shown = [
        *tables(machine, entries, found, rated.why_not),
        load_rating.table(machine, rated),
        load_signs.table(machine, limits, entries, top(found)),
    ]
    shown = [
        *(trend_findings.tables(entries, seen) if seen is not None else ()),
        *(table for table in shown if table is not None),
    ]
    drawn = (
        *(trend_findings.plots(seen) if seen is not None else ()),
        *plots(machine, limits, entries, found, seen),
    )
    return Findings(
        (*figures(machine, entries, found), *load_rating.figures(rated)),
        (*verdicts(court), *load_rating.verdicts(machine, limits, entries, rated)),
        tuple(shown),
        drawn,
        tuple(each for each in (problem, *remarks) if each),
    )


def _from_trend(
    machine: Machine, limits: Limits, entries: Entries
) -> tuple[Steady | None, tuple[Point, ...], tuple[str, ...]]:
    """What the named trend shows, the loads chosen from it, and what cannot be used."""
    trend, sentence = trend_windows.chosen_trend(entries)
    if trend is None:
        return None, (), (sentence,)
    try:
        seen = trend_windows.steady(machine, limits, trend, entries.job.barometer.quantity)
    except StartkitError as error:
        return None, (), (f"Trend {trend.name}: {error}",)
    chosen, problems = trend_windows.chosen(machine, entries, seen, _KINDS)
    return seen, chosen, (*trend_findings.remarks(seen), *problems)


STAGE = Stage(
    "load_up",
    "Load-up",
    "Whether the machine gives at each load what it was selected for, from readings taken while it"
    " stood still.",
    FIELDS,
    judge,
    before="hand_over",
    order=110,
    cautions=(
        "Keep clear of shaft, terminal box and hot discharge pipe while reading gauges.",
        "Local code, the maker's manual and licensed practice come first.",
    ),
)
