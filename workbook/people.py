"""Who is on the job and what they measure with. Every name is invented; any likeness is chance."""

from __future__ import annotations

import csv
from pathlib import Path

from workbook.sensors_model import Sensor

TECHNICIAN, ELECTRICIAN = "Ngozi Halvorsen", "Tomasz Aweke"
WITNESS, ENGINEER = "Leilani Marchetti-Rao", "Yusuf Brandt-Ito"
FIRM, OWNER, CONSULTANT = (
    "Plinth and Petrel Cooling Service",
    "Skerrow and Alder Estates",
    "Ninefold Commissioning Partners",
)

PEOPLE = (
    (TECHNICIAN, "technician", FIRM),
    (ELECTRICIAN, "electrician", FIRM),
    (WITNESS, "owner's witness", OWNER),
    (ENGINEER, "commissioning engineer", CONSULTANT),
)

# One line an instrument: what it reads, how its display shows it, its stated accuracy as a
# constant and a share of the reading, the noise of one reading, its range and its due date; of a
# matched pair the other one as well, and the accuracy of the difference of the two, which is
# better than that of each.
INSTRUMENTS = Path(__file__).parent / "data" / "instruments.csv"


def _sensors() -> dict[str, Sensor]:
    """Every instrument by its tag."""
    with INSTRUMENTS.open(encoding="utf-8", newline="") as file:
        return {row["tag"]: _sensor(row) for row in csv.DictReader(file)}


def _sensor(row: dict[str, str]) -> Sensor:
    """One line of the table; an empty size is nil, an empty range is none."""
    low, high = row.pop("low"), row.pop("high")
    sizes = {name: float(row.pop(name) or 0) for name in _SIZES}
    span = (int(low), int(high)) if low else None
    digits = int(row.pop("digits"))
    return Sensor(**row, **sizes, digits=digits, span=span)


# Columns that are numbers in the instrument's own unit; of_reading is a share.
_SIZES = ("constant", "of_reading", "noise", "pair_constant")
# The readings of CH-1 come from these.
SENSORS = _sensors()
