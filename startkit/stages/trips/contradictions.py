"""What readings say against a trip's cause, and what of a trip cannot be true."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pint

from startkit.facts.limits import Limits
from startkit.facts.machine import Machine
from startkit.procedure.contradiction import contradiction, where_wrong
from startkit.procedure.entries import Entries
from startkit.procedure.hunting_readings import sizes, too_large, watched
from startkit.procedure.judging import check
from startkit.procedure.reading import Reading
from startkit.science import trip_causes
from startkit.science.trip_causes import AGAINST, NEAR_START, NOT_READ
from startkit.stages.trips.fields import HUNTS, NOTHING_SAID, OVERCURRENT, VANES_OPEN
from startkit.stages.trips.readings import Story, Trip
from startkit.units import Q
from startkit.verdict import Verdict

MINUTES = "trips.minutes"
_CANDIDATES = {
    VANES_OPEN.code: trip_causes.VANES,
    "warm_loop": trip_causes.WARM_LOOP,
    HUNTS.code: trip_causes.HUNTING,
    "voltage": trip_causes.LOW_VOLTAGE,
    "unbalance": trip_causes.UNBALANCE,
    "lift": trip_causes.LIFT,
}


def says_something(text: str) -> bool:
    """Whether a text names anything: “unknown” and “nothing” do not."""
    return " ".join(text.lower().strip(" .!").split()) not in NOTHING_SAID


# --- the cause ------------------------------------------------------------------------------------


def unsupported(machine: Machine, limits: Limits, entries: Entries, trip: Trip) -> str:
    """What the readings at the trip say against the causes given; empty if nothing."""
    groups = {row.code("group") for row in trip.causes}
    if not _has_reading(trip):
        return "no reading at the trip is entered, and no figure is given that proves it"
    hunts = hunting_said(machine, limits, entries, trip)
    if hunts and HUNTS.code not in groups:
        return f"it hunted before it tripped ({hunts}), and no cause deals with that"
    strengths = {c.cause: c.strength for c in trip.candidates}
    for code in sorted(groups & set(_CANDIDATES)):
        found = strengths.get(_CANDIDATES[code])
        if found == AGAINST:
            return f"the readings speak against “{_CANDIDATES[code]}”"
        if found == NOT_READ:
            return f"what “{_CANDIDATES[code]}” would show was not read"
    return ""


def _has_reading(trip: Trip) -> bool:
    """A reading at the trip, or a figure in what the cause is shown by."""
    values = trip.values.cells if trip.values is not None else {}
    typed = any(r.quantity is not None for name, r in values.items() if name != "trip")
    said = any(re.search(r"\d", row.text("shown_by")) for row in trip.causes)
    return typed or said or trip.minutes is not None


def hunting_said(machine: Machine, limits: Limits, entries: Entries, trip: Trip) -> str:
    """What swung periodically before the trip by more than it may, in words."""
    kinds = watched(machine.motor.full_load_current)
    return "; ".join(too_large(sizes(entries, limits, "trips", trip.swings, kinds, (MINUTES,))))


# --- the trip -------------------------------------------------------------------------------------


def contradictions(
    machine: Machine, limits: Limits, entries: Entries, story: Story, trip: Trip
) -> Iterator[Verdict]:
    """What of one trip cannot be true."""
    yield from _first_fault(trip)
    yield from _by_figures(machine, limits, entries, story, trip)


# Words in a message that belong to one kind of trip.
MESSAGES = {
    "overcurrent": ("overcurrent", "over current", "overload"),
    "low_oil_differential": ("oil pressure", "oil differential", "low oil"),
    "low_evaporator_pressure": ("evaporator pressure", "suction pressure", "low refrigerant"),
    "high_condenser_pressure": ("condenser pressure", "discharge pressure", "head pressure"),
    "high_motor_temperature": ("winding", "motor temperature"),
    "high_bearing_temperature": ("bearing",),
    "flow_lost": ("flow",),
    "surge": ("surge",),
    "vibration": ("vibration",),
}


def _first_fault(trip: Trip) -> Iterator[Verdict]:
    """The message as displayed, against the kind that was chosen."""
    message, kind = trip.message.lower(), trip.event.code("kind")
    named = [code for code, words in MESSAGES.items() if any(word in message for word in words)]
    if kind not in MESSAGES or not named or kind in named:
        return
    yield contradiction(
        f"trips.{trip.number}.first_fault",
        f"Trip {trip.number}: first fault and kind agree",
        f"The message “{trip.message}” is not of the kind “{trip.event.text('kind')}”: one of the"
        " two was not the first.",
        "Read the first-out message again, from the panel's list of events.",
        trip.event.items("message", "kind"),
    )


def _by_figures(
    machine: Machine, limits: Limits, entries: Entries, story: Story, trip: Trip
) -> tuple[Verdict, ...]:
    kind, motor = trip.event.code("kind"), machine.motor
    current, oil = _at(trip, "current"), _at(trip, "oil")
    trips_at = motor.overcurrent_trip.to("dimensionless") * motor.full_load_current
    none = Reading()
    judged = (
        (
            "current_least",
            current.relative_to(trips_at) if kind == OVERCURRENT.code else none,
            "Of the overcurrent trip: at this current nothing is over. The reading is of another"
            " moment, or the first fault was another.",
        ),
        (
            "current_most",
            _share(current, motor.locked_rotor_current),
            "Of the locked-rotor current: a unit or a decimal is wrong.",
        ),
        (
            "oil_most",
            oil.relative_to(machine.oil.low_trip) if kind == "low_oil_differential" else none,
            "Of the low-oil trip: the pressure was there. The reading is of another moment, or the"
            " first fault was another.",
        ),
        (
            "vanes_at_start",
            _vanes_in_the_run_up(machine, trip),
            "It tripped in the run-up: the vanes were not closed at the start, whatever the switch"
            " said.",
        ),
        (
            "since_start",
            _since_start(story, trip),
            "As read, against the moments of the start and of the trip: one of the three is wrong.",
        ),
    )
    return where_wrong(
        *(
            check(
                entries,
                limits[f"trips.{name}"],
                reading,
                key=f"trips.{trip.number}.{name}",
                title=f"Trip {trip.number}: {limits[f'trips.{name}'].title.lower()}",
                next_step="Correct the reading, or find out what it means.",
                note=note,
                rests_on=trip.event.items("at", "kind"),
            )
            for name, reading, note in judged
        )
    )


def _at(trip: Trip, column: str) -> Reading:
    """A reading at the trip: as typed, else from the last row of the minutes before."""
    if trip.values is not None and trip.values.quantity(column) is not None:
        return trip.values.reading(column)
    found = trip.read(column)
    return Reading() if found is None else Reading(quantity=found, taken=True, items=(MINUTES,))


def _share(reading: Reading, of: pint.Quantity | None) -> Reading:
    return Reading() if of is None else reading.relative_to(of)


def _vanes_in_the_run_up(machine: Machine, trip: Trip) -> Reading:
    """Vane position at a trip in the run-up; if open vanes are the cause given, they are known."""
    since = trip.read("since_start")
    known = VANES_OPEN.code in {row.code("group") for row in trip.causes}
    if since is None or known or since > NEAR_START * machine.motor.run_up_time:
        return Reading()
    return _at(trip, "vanes")


def _since_start(story: Story, trip: Trip) -> Reading:
    began = [run.began for run in story.runs if trip.at is not None and run.began <= trip.at]
    since = _at(trip, "since_start")
    if not began or trip.at is None or since.quantity is None:
        return Reading()
    return since.less(Q((trip.at - max(began)).total_seconds(), "second"))
