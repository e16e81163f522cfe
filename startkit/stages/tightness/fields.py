"""Fields of the stage Tightness: pressure hold, search, evacuation, refrigerant, leak log."""

from __future__ import annotations

from startkit.facts.machine import Machine
from startkit.procedure.choice import Choice
from startkit.procedure.stage import Column, Field
from startkit.science.charge import TRIGGERS

OPENED = Choice("opened", "opened, or shipped without its charge")
CHARGED = Choice("charged", "shipped with its charge and not opened")
HOLD, EVACUATION, CHARGE, LOG = "Pressure hold", "Evacuation", "Refrigerant charge", "Leak log"


DRY = Choice("dry_nitrogen", "dry nitrogen")
TRACE = Choice("nitrogen_with_trace", "dry nitrogen with a trace of refrigerant")
OTHER = Choice("other", "something else")


LEAK_TEST = Choice(
    "leak_test",
    "leak test, vessels tested at the factory",
    ("leak test at the maker's leak-test pressure",),
)
STRENGTH = Choice("strength_test", "field strength test at design pressure")
WARMED = Choice("warmed", "low pressure: raised by warming the charge")
VACUUM = Choice("vacuum", "low pressure: held under vacuum")


APPLIANCES = tuple(Choice(name.replace(" ", "_"), name) for name in TRIGGERS)


def _overhauled(machine: Machine) -> bool:
    return machine.machine.work == "overhauled"


def _end_fields(which: str, words: str) -> tuple[Field, ...]:
    return (
        Field(
            f"{which}_at",
            f"Date and time at the {words}",
            "moment",
            "For example  2026-11-25 14:30.",
            required=False,
            group=HOLD,
        ),
        Field(
            f"{which}_pressure",
            f"Pressure at the {words}",
            "gauge_pressure",
            "Same gauge at both ends.",
            required=False,
            plausible=("20 kPa gauge", "4500 kPa gauge"),
            measured=True,
            group=HOLD,
        ),
        Field(
            f"{which}_temperature",
            f"Temperature of the machine at the {words}",
            "temperature",
            "Metal in the shade; mean of several places.",
            required=False,
            plausible=("-10 °C", "50 °C"),
            measured=True,
            group=HOLD,
        ),
        Field(
            f"{which}_barometer",
            f"Barometer at the {words}",
            "barometer",
            "Gauge pressure follows the barometer: a 1 kPa change looks like a leak.",
            required=False,
            plausible=("60 kPa", "108 kPa"),
            measured=True,
            group=HOLD,
        ),
    )


FIELDS = (
    Field(
        "scope",
        "State of the refrigerant side",
        "choice",
        choices=(OPENED, CHARGED),
        group="Before",
    ),
    Field(
        "test_gas",
        "Test gas",
        "choice",
        choices=(DRY, TRACE, OTHER),
        required=False,
        group=HOLD,
    ),
    Field(
        "test_regulator",
        "Regulator and relief device in the filling line",
        "yes_no",
        "The relief device set above the test pressure.",
        required=False,
        group=HOLD,
    ),
    Field(
        "test_kind",
        "Kind of test",
        "choice",
        "At the maker's pressure where the vessels were tested at the factory and not welded since;"
        " else, and left empty, it is judged as a strength test.",
        choices=(LEAK_TEST, STRENGTH, WARMED, VACUUM),
        required=False,
        group=HOLD,
    ),
    Field(
        "relief_isolated",
        "Relief devices isolated or removed for the test",
        "yes_no",
        "Needed if the test pressure is above a relief setting. Local code and licensed people"
        " decide; put them back before charging.",
        required=False,
        group=HOLD,
    ),
    Field("relief_isolated_by", "Isolated or removed by", "person", required=False, group=HOLD),
    *_end_fields("start", "start"),
    *_end_fields("end", "end"),
    Field(
        "temperature_spread",
        "Largest temperature difference between places",
        "temperature_difference",
        "Sun on one end, a warm motor; if left empty, 1 K is assumed.",
        required=False,
        plausible=("0 K", "15 K"),
        group=HOLD,
    ),
    Field("gauge_left", "Gauge left in place, untouched", "yes_no", required=False, group=HOLD),
    Field(
        "test_volume",
        "Volume under gas",
        "volume",
        "Shells, compressor and piping on the refrigerant side; from the maker's manual, or worked"
        " out from the gas charged.",
        required=False,
        plausible=("100 L", "60000 L"),
        group=HOLD,
    ),
    Field(
        "wanted_leak",
        "Largest leak of test gas that may go unseen",
        "yearly_mass",
        "If the specification names one.",
        required=False,
        group=HOLD,
    ),
    Field(
        "joints",
        "Every joint checked under pressure with soap or a detector",
        "yes_no",
        group="Search",
    ),
    Field(
        "leaks",
        "Leaks found",
        "table",
        "One row per leak, including those repaired at once.",
        required=False,
        rows=2,
        group="Search",
        columns=(
            Column("place", "Where", required=True),
            Column(
                "method",
                "Found by",
                "choice",
                choices=("soap", "detector", "ultrasound", "otherwise"),
            ),
            Column("repaired", "Repaired", "yes_no", required=True),
            Column("tight", "Searched again and tight", "yes_no", required=True),
            Column("who", "By", "person"),
        ),
    ),
    Field(
        "shut_off",
        "Pressure when the pump was shut off",
        "vacuum",
        "At the machine, far from the pump, with an electronic vacuum gauge.",
        required=False,
        plausible=("1 Pa", "2000 Pa"),
        group=EVACUATION,
        measured=True,
    ),
    Field(
        "coldest",
        "Temperature of the coldest part",
        "temperature",
        "Water hides where it is coldest.",
        required=False,
        plausible=("-10 °C", "50 °C"),
        group=EVACUATION,
        measured=True,
    ),
    Field(
        "freezing_guarded",
        "Kept from freezing while evacuating, charging and recovering",
        "yes_no",
        "Water drained, or pumps running; charge gas only, no liquid, until the saturation"
        " temperature is above freezing.",
        required=False,
        group=EVACUATION,
    ),
    Field(
        "rise",
        "Rise after the pump was shut off",
        "series",
        "Paste time and pressure, one row per reading; six or more, over at least an hour.",
        required=False,
        group=EVACUATION,
        columns=(
            Column("time", "Time", "minutes"),
            Column("pressure", "Pressure", "vacuum"),
        ),
        measured=True,
    ),
    Field(
        "rise_time", "or: time after which it was read", "minutes", required=False, group=EVACUATION
    ),
    Field("rise_end", "or: pressure after that time", "vacuum", required=False, group=EVACUATION),
    Field(
        "cylinders",
        "Cylinders",
        "table",
        "Weigh each before and after, with hoses off.",
        required=False,
        group=CHARGE,
        columns=(
            Column("number", "Cylinder", required=True),
            Column("label", "Refrigerant on its label", required=True),
            Column("before", "Before", "mass", plausible=("1 kg", "2000 kg"), measured=True),
            Column("after", "After", "mass", plausible=("0.5 kg", "2000 kg"), measured=True),
        ),
    ),
    Field(
        "residue",
        "Left in hoses and recovered",
        "mass",
        required=False,
        plausible=("0 kg", "20 kg"),
        group=CHARGE,
    ),
    Field(
        "added",
        "Refrigerant added to restore the full charge",
        "mass",
        required=False,
        plausible=("0.1 kg", "3000 kg"),
        group=LOG,
        applies=_overhauled,
    ),
    Field(
        "added_before",
        "Date of the previous addition",
        "date",
        required=False,
        group=LOG,
        applies=_overhauled,
    ),
    Field(
        "added_on", "Date of this addition", "date", required=False, group=LOG, applies=_overhauled
    ),
    Field(
        "appliance",
        "Kind of system",
        "choice",
        choices=APPLIANCES,
        required=False,
        group=LOG,
        applies=_overhauled,
    ),
)
