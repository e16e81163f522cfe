"""Wrong machines: what is wrong, how it was entered, and the verdict that has to notice.

Each row is entered on an honest, clear job of every machine that it fits. ``set`` gives items as
patterns and what is entered in their place; a callable gets the entry that was there, None leaves
it out. Rows are common ways of being wrong, tired or careless; none names a real machine.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from startkit.facts.journal import Entry


@dataclass(frozen=True)
class SameAs:
    """The value that the item of the same last name has below another prefix, or another item."""

    prefix: str


ALL = ("CH-1", "CH-2", "CH-3")
Value = str | None | SameAs | Callable[[Entry], Entry | None]


@dataclass(frozen=True)
class Row:
    """One wrong machine.

    Parameters
    ----------
    wrong : str
        What is wrong with the machine, the work or the readings.
    by : str
        Verdicts that may notice, as patterns separated by blanks.
    set : mapping of str -> Value
    add : mapping of str -> str
        Items that are entered besides.
    on : tuple of str
        Machines.
    early : str
        Hold point next to which page 1 has to say that something came before its release; then no
        verdict need notice.
    """

    wrong: str
    by: str
    set: Mapping[str, Value]
    add: Mapping[str, str] | None = None
    on: tuple[str, ...] = ALL
    early: str = ""


def times(factor: float) -> Callable[[Entry], Entry]:
    return lambda e: replace(e, value=f"{float(e.value) * factor:.6g}")


def plus(much: float) -> Callable[[Entry], Entry]:
    return lambda e: replace(e, value=f"{float(e.value) + much:.6g}")


def no_instrument(entry: Entry) -> Entry:
    return replace(entry, instrument="")


def tag(name: str) -> Callable[[Entry], Entry]:
    return lambda e: replace(e, instrument=name)


def unit(name: str) -> Callable[[Entry], Entry]:
    return lambda e: replace(e, unit=name)


def at(moment: str) -> Callable[[Entry], Entry]:
    return lambda e: replace(e, at=moment)


def column(n: int, change: Callable[[str], str]) -> Callable[[Entry], Entry]:
    """One column of a pasted block changed."""

    def changed(entry: Entry) -> Entry:
        head, *rows = entry.value.splitlines()
        cells = [row.split("\t") for row in rows]
        for row in cells:
            if n < len(row) and row[n]:
                row[n] = change(row[n])
        return replace(entry, value="\n".join([head, *("\t".join(row) for row in cells)]))

    return changed


def scaled(factor: float) -> Callable[[str], str]:
    return lambda text: f"{float(text) * factor:.4g}"


def moved(much: float) -> Callable[[str], str]:
    return lambda text: f"{float(text) + much:.5g}"


def rows_cut(keep: int) -> Callable[[Entry], Entry]:
    return lambda e: replace(e, value="\n".join(e.value.splitlines()[: keep + 1]))


def rising(entry: Entry) -> Entry:
    """A vacuum that rises all the time."""
    rows = (f"{t}\t{31 + 4 * t}" for t in range(0, 125, 5))
    return replace(entry, value="\n".join(["time (min)\tpressure (Pa)", *rows]))


# Known gaps: on these machines no verdict notices yet. A row leaves the list with the check that
# notices it; the test fails if a listed one is noticed.
UNNOTICED: dict[str, tuple[str, ...]] = {}

ROWS = (
    # --- closed proof
    Row(
        "vanes seen 12 % open at every closed end",
        "vanes.closed_proof",
        {
            "vanes.strokes.*.seen_position": lambda e: (
                replace(e, value="12") if float(e.value) < 50 else e
            )
        },
    ),
    Row(
        "lever seen off its stop",
        "vanes.closed_proof vanes.closed_seen",
        {"vanes.closed_seen": "no"},
    ),
    Row(
        "switch open at every closed end",
        "vanes.closed_proof vanes.*",
        {"vanes.strokes.*.switch_at_end": lambda e: replace(e, value="open")},
    ),
    Row(
        "switch made at every open end",
        "vanes.closed_proof vanes.*",
        {"vanes.strokes.*.switch_at_end": lambda e: replace(e, value="made")},
    ),
    Row(
        "the recorder looks at a switch that is always made",
        "vanes.closed_proof vanes.*",
        {"vanes.trace*": column(4, lambda text: "made")},
    ),
    Row(
        "travel finishes in a tenth of its time: a slipped coupling",
        "vanes.opening_time vanes.closing_time vanes.*",
        {"vanes.trace*": column(1, scaled(0.1)), "vanes.strokes.*.finished": times(0.1)},
    ),
    Row(
        "feedback recorder out of calibration", "vanes.*", {"setup.instruments.*.due": "2019-01-01"}
    ),
    Row("no recorder named for the trace", "vanes.*", {"vanes.trace*": no_instrument}),
    Row(
        "vanes 30 % open at the first start, closed at the last",
        "first_start.start_1",
        {"first_start.starts.1.vanes": "30"},
    ),
    Row(
        "switch open at the first start, made at the last",
        "first_start.start_1",
        {"first_start.starts.1.closed": "open"},
    ),
    Row("switch open at the last start", "first_start.*", {"first_start.starts.3.closed": "open"}),
    Row("vanes 30 % open after the stop", "shut_down.*", {"shut_down.vane_position": "30"}),
    Row("switch open after the stop", "shut_down.*", {"shut_down.closed_proof": "open"}),
    # --- safety and locks
    Row("machine not locked out", "safety.*", {"safety.lock_out": "no"}),
    Row("lock-out confirmed by no one", "safety.*", {"safety.lock_out_by": None}),
    Row(
        "lock-out confirmed by somebody not on the job",
        "safety.*",
        {"safety.lock_out_by": "Nils Fairweather"},
    ),
    Row("detector not working", "safety.*", {"safety.detector": "no"}),
    Row("relief line blocked", "safety.*", {"safety.relief": "no"}),
    Row("relief valves not those of the drawing", "safety.*", {"safety.relief_devices": "no"}),
    Row(
        "exhaust fan a tenth of what is due", "safety.*", {"safety.emergency_installed": times(0.1)}
    ),
    Row("detector alarms at 50 times the limit", "safety.*", {"safety.detector_alarm": "25000"}),
    Row("charge of the room left out", "safety.*", {"safety.room_charge": times(0.01)}),
    # --- identity and site
    Row("another machine's nameplate", "setup.*", {"setup.nameplate_serial": "XX-1"}),
    Row("another refrigerant on the nameplate", "setup.*", {"setup.nameplate_refrigerant": "R-22"}),
    Row("another voltage on the nameplate", "setup.*", {"setup.nameplate_voltage": "690"}),
    Row(
        "barometer from the weather report, reduced to sea level",
        "setup.barometer load_up.*",
        {"setup.barometer": "101.3"},
        on=("CH-2",),
    ),
    Row(
        "thermometer a thousand times too accurate",
        "setup.instruments",
        {"setup.instruments.1.accuracy": "0.0001 K"},
    ),
    Row(
        "calibration due in nine years",
        "setup.instruments",
        {"setup.instruments.3.due": "2035-06-30"},
    ),
    Row("barometer a decimal off", "setup.*", {"setup.barometer": "10.1"}),
    # --- tightness
    Row("pressure lost in the hold", "tightness.*", {"tightness.end_pressure": plus(-9)}),
    Row("hold without an instrument", "tightness.*", {"tightness.*_pressure": no_instrument}),
    Row(
        "hold pressure in psi, taken as kPa",
        "tightness.*",
        {"tightness.start_pressure": times(0.145), "tightness.end_pressure": times(0.145)},
    ),
    Row("hold for a quarter of an hour", "tightness.*", {"tightness.end_at": "2026-04-10 16:15"}),
    Row("hold tested with oxygen or air", "tightness.*", {"tightness.test_gas": "something else"}),
    Row("cylinder without a regulator", "tightness.*", {"tightness.test_regulator": "no"}),
    Row(
        "test pressure twice the relief setting",
        "tightness.*",
        {"tightness.start_pressure": times(2), "tightness.end_pressure": times(2)},
    ),
    Row(
        "hold at a pressure that proves nothing",
        "tightness.*",
        {"tightness.start_pressure": "1.5", "tightness.end_pressure": "1.5"},
    ),
    Row("joints not looked at", "tightness.*", {"tightness.joints": "no"}),
    Row("vacuum rises all the time", "tightness.*", {"tightness.rise": rising}),
    Row(
        "vacuum read without a vacuum gauge",
        "tightness.*",
        {"tightness.shut_off": no_instrument, "tightness.rise": no_instrument},
    ),
    Row("vacuum gauge in the wrong unit", "tightness.*", {"tightness.shut_off": unit("mbar")}),
    Row(
        "charged to half",
        "tightness.*",
        {
            "tightness.cylinders.*.after": lambda e: replace(
                e, value=f"{(89 + float(e.value)) / 2:.1f}"
            )
        },
    ),
    Row("wrong refrigerant in a cylinder", "tightness.*", {"tightness.cylinders.1.label": "R-22"}),
    Row(
        "cylinder weights swapped",
        "tightness.*",
        {"tightness.cylinders.1.before": "10", "tightness.cylinders.1.after": "89"},
    ),
    Row(
        "tested above the relief setting with the devices in place",
        "tightness.relief_isolated",
        {
            "tightness.*_pressure": times(1.15),
            "tightness.test_kind": "field strength test at design pressure",
        },
        on=("CH-1", "CH-3"),
    ),
    Row(
        "two hours under vacuum called a vacuum hold",
        "tightness.vacuum_hold_time",
        {"tightness.test_kind": "low pressure: held under vacuum"},
        on=("CH-2",),
    ),
    Row(
        "a vacuum hold in place of a pressure hold on a machine of high pressure",
        "tightness.*",
        {
            "tightness.test_kind": "low pressure: held under vacuum",
            "tightness.start_pressure": None,
            "tightness.end_pressure": None,
        },
        on=("CH-1", "CH-3"),
    ),
    Row(
        "tubes left to freeze while charging",
        "tightness.freezing",
        {"tightness.freezing_guarded": "no"},
    ),
    # --- electrical
    Row(
        "winding wet",
        "electrical.*",
        {"electrical.insulation.1.one_minute": "0.8", "electrical.insulation.1.ten_minutes": "0.9"},
    ),
    Row(
        "megohms entered as ohms",
        "electrical.*",
        {
            "electrical.insulation.1.one_minute": unit("ohm"),
            "electrical.insulation.1.ten_minutes": unit("ohm"),
        },
    ),
    Row("insulation tested under vacuum", "electrical.*", {"electrical.under_vacuum": "yes"}),
    Row("winding not discharged", "electrical.*", {"electrical.discharged": "no"}),
    Row("one phase missing", "electrical.*", {"electrical.v12": "12"}),
    Row("supply 20 % low", "electrical.*", {"electrical.v??": times(0.8)}),
    Row("voltages unbalanced by 4 %", "electrical.*", {"electrical.v12": times(1.06)}),
    Row("voltages without an instrument", "electrical.*", {"electrical.v??": no_instrument}),
    Row("phases reversed", "electrical.*", {"electrical.rotation": "reversed"}),
    Row("rotation not checked", "electrical.*", {"electrical.rotation": "not checked"}),
    Row(
        "joint at half its torque", "electrical.*", {"electrical.connections.1.applied": times(0.5)}
    ),
    Row(
        "another starter than in the sheet",
        "electrical.*",
        {"electrical.starter_seen": "across the line"},
    ),
    Row("control power 30 % low", "electrical.*", {"electrical.control_voltage": times(0.7)}),
    Row("emergency stop not tried", "electrical.*", {"electrical.emergency_stop": "no"}),
    Row("frequency of another continent", "electrical.*", {"electrical.frequency": "50"}),
    # --- controls
    Row(
        "high-pressure trip above the relief setting",
        "controls.*",
        {
            "controls.pressure_safeties.1.setting": "1900",
            "controls.pressure_safeties.1.seen": "1899",
        },
    ),
    Row(
        "high-pressure trip resets itself",
        "controls.*",
        {"controls.pressure_safeties.1.reset": "by itself"},
    ),
    Row("emergency stop resets itself", "controls.*", {"controls.interlocks.3.reset": "by itself"}),
    Row(
        "low-water trip below freezing",
        "controls.*",
        {
            "controls.temperature_safeties.1.setting": "-3",
            "controls.temperature_safeties.1.seen": "-3",
        },
    ),
    Row(
        "winding trip far above its class",
        "controls.*",
        {
            "controls.temperature_safeties.2.setting": "250",
            "controls.temperature_safeties.2.seen": "250",
        },
    ),
    Row(
        "high-pressure trip set to fall",
        "controls.*",
        {"controls.pressure_safeties.1.direction": "falling"},
    ),
    Row(
        "low-pressure trip set to rise",
        "controls.*",
        {"controls.pressure_safeties.2.direction": "rising"},
    ),
    Row(
        "trip acted 20 % past its setting",
        "controls.*",
        {"controls.pressure_safeties.1.seen": times(1.2)},
    ),
    Row(
        "started without oil pressure when it was tried",
        "controls.refused_oil",
        {"controls.refused_oil": "not refused"},
    ),
    Row(
        "started with the vanes open when it was tried",
        "controls.refused_vanes",
        {"controls.refused_vanes": "not refused"},
    ),
    Row(
        "closed-position switch only bridged when the start was tried",
        "controls.refused_vanes",
        {"controls.refused_vanes": "refused, condition simulated"},
    ),
    Row(
        "start without condenser flow never tried",
        "controls.refused_condenser",
        {"controls.refused_condenser": None},
    ),
    Row("flow switch never seen to act", "controls.*", {"controls.interlocks.1.seen": "no"}),
    Row(
        "overcurrent trip at twice the current",
        "controls.*",
        {"controls.current_safeties.1.setting": "200", "controls.current_safeties.1.seen": "200"},
    ),
    Row(
        "safeties forced in the controls only",
        "controls.*",
        {"controls.pressure_safeties.*.method": "forced in the controls"},
    ),
    Row(
        "sensor 2 K off and left so",
        "controls.*",
        {"controls.temperature_sensors.1.panel": plus(2)},
    ),
    Row(
        "reference without an instrument",
        "controls.*",
        {"controls.temperature_sensors.*.reference": no_instrument},
    ),
    Row("no high-pressure safety listed", "controls.*", {"controls.pressure_safeties.1.*": None}),
    Row(
        "low-pressure trip saturates below freezing",
        "controls.low_pressure_setting_2",
        {
            "controls.pressure_safeties.2.setting": plus(-25),
            "controls.pressure_safeties.2.seen": plus(-25),
        },
    ),
    Row(
        "refrigerant detector resets itself",
        "controls.interlocks.6",
        {"controls.interlocks.6.reset": "by itself"},
    ),
    Row(
        "overcurrent trip under the drive's current limit",
        "controls.overcurrent_above_limit_1",
        {"controls.current_safeties.1.setting": "99", "controls.current_safeties.1.seen": "99"},
        on=("CH-1",),
    ),
    # --- water
    Row(
        "evaporator flow half of design",
        "water.*",
        {"water.evaporator_meter": times(0.5), "water.evaporator_drop": times(0.27)},
    ),
    Row("meter and drop disagree", "water.*", {"water.evaporator_meter": times(0.6)}),
    Row(
        "drop in feet of water, entered as kPa",
        "water.*",
        {"water.evaporator_drop": times(1 / 2.989)},
    ),
    Row(
        "flow switch opens at a tenth of the flow",
        "water.*",
        {"water.evaporator_opens_drop": times(0.02), "water.evaporator_closes_drop": times(0.02)},
    ),
    Row("strainer blocked", "water.*", {"water.condenser_strainer_drop": "60"}),
    Row("strainer not cleaned", "water.*", {"water.condenser_strainer_clean": "no"}),
    Row("air in the circuit", "water.*", {"water.evaporator_air": "no"}),
    Row("drop without a gauge", "water.*", {"water.*_drop": no_instrument}),
    # --- lubrication
    Row("another oil", "lube.*", {"lube.oil_kind": "mineral ISO VG 32 blend 7"}),
    Row("foam in the glass", "lube.*", {"lube.sight_glass": "foaming"}),
    Row("heater on for an hour", "lube.*", {"lube.heater_on_since": "2026-04-15 07:15"}),
    Row("oil cold", "lube.*", {"lube.sump_temperature": "18"}),
    Row(
        "oil differential half of its set point",
        "lube.*",
        {"lube.pre_lube": column(1, scaled(0.9))},
    ),
    Row("differential below the trip", "lube.*", {"lube.pre_lube": column(1, moved(-120))}),
    Row("pre-lube record ends after five seconds", "lube.*", {"lube.pre_lube": rows_cut(5)}),
    Row("trip set to nothing", "lube.*", {"lube.trip_setting": "1", "lube.trip_seen": "1"}),
    Row("trip never seen", "lube.*", {"lube.trip_method": "not proven"}),
    Row(
        "trip simulated at the transducer",
        "lube.*",
        {"lube.trip_method": "simulated at the transducer"},
    ),
    Row("filter blocked", "lube.*", {"lube.filter_drop": "180"}),
    Row("oil series without an instrument", "lube.*", {"lube.pre_lube": no_instrument}),
    Row(
        "sump pressure of another place than the zero readings",
        "lube.*",
        {"lube.sump_pressure": plus(150)},
    ),
    Row(
        "no oil pressure while the shaft runs out",
        "lube.* shut_down.*",
        {"lube.coast_down": column(1, moved(-160))},
    ),
    # --- first start
    Row("rotation wrong", "first_start.*", {"first_start.rotation": "wrong"}),
    Row("rotation not seen", "first_start.*", {"first_start.rotation": "not seen"}),
    Row("run-up three times as long", "first_start.*", {"first_start.run_up_time": times(3)}),
    Row("inrush twice what the starter gives", "first_start.*", {"first_start.peak_l?": times(2)}),
    Row(
        "phase currents unbalanced by 20 %", "first_start.*", {"first_start.settled_l1": times(1.4)}
    ),
    Row(
        "currents without an instrument", "first_start.*", {"first_start.settled_l?": no_instrument}
    ),
    Row(
        "current read at the drive's input, taken for the motor's",
        "first_start.settled_current",
        {"first_start.current_where": "in the supply, before starter or drive"},
        on=("CH-1",),
    ),
    Row(
        "where the current was read left out",
        "first_start.current_where",
        {"first_start.current_where": None},
    ),
    Row(
        "overload read inside the delta, where it looks small",
        "first_start.settled_current",
        {
            "first_start.current_where": "inside the delta, at one winding's lead",
            "first_start.settled_l?": times(1.05),
        },
    ),
    Row("vibration of 12 mm/s", "first_start.*", {"first_start.vibration.1.velocity": "12"}),
    Row(
        "vibration without an instrument",
        "first_start.*",
        {"first_start.vibration.*.velocity": no_instrument},
    ),
    Row(
        "restarted after two minutes",
        "first_start.*",
        {"first_start.starts.2.started": "2026-04-15 10:36:00"},
    ),
    Row(
        "started before the job began",
        "first_start.*",
        {"first_start.starts.1.started": "2026-04-13 10:34:00"},
    ),
    Row("oil differential lost during run-up", "first_start.*", {"first_start.oil_lowest": "20"}),
    Row(
        "winding at 180 °C",
        "first_start.*",
        {},
        add={
            "first_start.temperatures.1.place": "Motor winding",
            "first_start.temperatures.1.temperature": "180 °C",
        },
    ),
    Row(
        "jumper left in before the first start",
        "first_start.restored",
        {"first_start.starts.1.taken_out": "no"},
    ),
    Row(
        "no one looked whether the machine was restored before the second start",
        "first_start.start_2",
        {
            "first_start.starts.2.taken_out": None,
            "first_start.starts.2.automatic": None,
            "first_start.starts.2.unlocked": None,
        },
    ),
    Row(
        "locks still on before the last start",
        "first_start.start_3",
        {"first_start.starts.3.unlocked": "no"},
    ),
    Row(
        "checked before the start by somebody not on the job",
        "first_start.start_2",
        {"first_start.starts.2.by": "Nils Fairweather"},
    ),
    Row(
        "current limit above the overcurrent trip",
        "first_start.start_3",
        {"first_start.starts.3.limit": "115"},
    ),
    Row(
        "started without water flow",
        "first_start.start_2",
        {"first_start.starts.2.flows": "no"},
    ),
    Row(
        "oil at half its differential before the first start",
        "first_start.start_1",
        {"first_start.starts.1.oil_before": times(0.5)},
    ),
    Row(
        "oil lost during the second start",
        "first_start.start_2",
        {"first_start.starts.2.oil_after": "20"},
    ),
    Row(
        "vane position at the start without an instrument",
        "first_start.start_2",
        {"first_start.starts.2.vanes": no_instrument},
    ),
    Row(
        "a start that is still to come",
        "first_start.*",
        {"first_start.starts.3.started": "2026-04-23 08:42:00"},
    ),
    # --- the order of the work
    Row(
        "vanes proven after the loads",
        "",
        {"vanes.*": at("2026-04-16T15:45:00.000-04:00")},
        early="turn_shaft",
        on=("CH-2",),
    ),
    Row(
        "locked out after the oil pump ran",
        "",
        {"safety.lock_out*": at("2026-04-15T12:00:00.000-04:00")},
        early="oil_pump",
        on=("CH-2",),
    ),
    Row(
        "started before the hold point was released, and entered after it",
        "",
        {
            "first_start.starts.1.started": "2026-04-15 08:20:00",
            "first_start.starts.1.stopped": "2026-04-15 08:20:02",
        },
        early="turn_shaft",
        on=("CH-2",),
    ),
    Row(
        "loaded before the first start was judged",
        "",
        {"load_up.points.1.moment": "2026-04-15 12:00:00"},
        early="load",
        on=("CH-2",),
    ),
    Row(
        "a load read while the machine stood",
        "load_up.*",
        {"load_up.points.2.moment": "2026-04-15 20:00:00"},
    ),
    # --- trips
    Row(
        "a trip while nothing ran: its start is missing",
        "trips.complete",
        {"trips.any": "yes"},
        add={
            "trips.events.1.trip": "1",
            "trips.events.1.at": "2026-04-15 09:40:00",
            "trips.events.1.message": "Low oil differential",
            "trips.events.1.kind": "low oil differential",
            "trips.events.1.latched": "starter",
            "trips.events.1.reset": "by hand at the starter or drive",
            "trips.events.1.reset_by": "Tomasz Aweke",
            "trips.events.1.result": "ran on",
            "trips.causes.1.trip": "1",
            "trips.causes.1.cause": "filter blocked",
            "trips.causes.1.shown_by": "filter drop of 180 kPa",
            "trips.causes.1.changed": "filter",
            "trips.causes.1.by": "Ngozi Halvorsen",
        },
    ),
    Row("a trip that nobody explains", "trips.*", {"trips.any": "yes"}),
    Row(
        "a trip whose cause is unknown and shown by nothing",
        "trips.*",
        {"trips.any": "yes"},
        add={
            "trips.events.1.trip": "1",
            "trips.events.1.at": "2026-04-15 12:00:00",
            "trips.events.1.message": "Overcurrent",
            "trips.events.1.kind": "overcurrent",
            "trips.events.1.latched": "starter",
            "trips.events.1.reset": "by hand at the starter or drive",
            "trips.events.1.reset_by": "Tomasz Aweke",
            "trips.events.1.result": "ran on",
            "trips.causes.1.trip": "1",
            "trips.causes.1.cause": "unknown",
            "trips.causes.1.shown_by": "nothing",
            "trips.causes.1.changed": "nothing",
            "trips.causes.1.by": "Ngozi Halvorsen",
        },
    ),
    # --- pull-down
    Row("pull-down at full current", "pull_down.*", {"pull_down.chosen": "100"}),
    Row("loop volume a tenth", "pull_down.*", {"pull_down.volume": times(0.1)}),
    Row("tripped on the way down", "pull_down.*", {"pull_down.ended": "tripped on overcurrent"}),
    Row("limit not given back", "pull_down.*", {"pull_down.limit_left": "60"}),
    # --- load-up
    Row(
        "evaporator gauge 200 kPa too high: refrigerant warmer than its water",
        "load_up.*",
        {"load_up.points.*.evaporator_pressure": plus(200)},
    ),
    Row(
        "absolute pressures typed as gauge", "load_up.*", {"load_up.points.*.*_pressure": plus(101)}
    ),
    Row(
        "condenser gauge 120 kPa too low: refrigerant colder than its water",
        "load_up.*",
        {"load_up.points.*.condenser_pressure": times(0.8)},
    ),
    Row(
        "chilled thermometers swapped",
        "load_up.*",
        {
            "load_up.points.*.chilled_entering": lambda e: replace(e, value="7.0"),
            "load_up.points.*.chilled_leaving": lambda e: replace(e, value="12.4"),
        },
    ),
    Row("power of the wrong phase count", "load_up.*", {"load_up.points.*.power": times(1 / 3)}),
    Row("power a tenth: efficiency above one", "load_up.*", {"load_up.points.*.power": times(0.1)}),
    Row(
        "flow meter in the wrong unit",
        "load_up.*",
        {"load_up.points.*.evaporator_flow": times(3.6)},
    ),
    Row(
        "one load copied three times",
        "load_up.*",
        {"load_up.points.[23].*": SameAs("load_up.points.1.")},
    ),
    Row(
        "discharge colder than saturation",
        "load_up.*",
        {"load_up.points.*.discharge_temperature": "12"},
    ),
    Row(
        "suction below saturation by 20 K",
        "load_up.*",
        {"load_up.points.*.suction_temperature": "-15"},
    ),
    Row("liquid 25 K subcooled", "load_up.*", {"load_up.points.*.liquid_temperature": "8"}),
    Row("loads not steady", "load_up.*", {"load_up.points.*.steady": "no"}),
    Row(
        "loads without instruments", "load_up.*", {"load_up.points.*.*": lambda e: no_instrument(e)}
    ),
    Row(
        "loads taken the day before the first start",
        "load_up.*",
        {"load_up.points.*.moment": lambda e: replace(e, value=e.value.replace("04-16", "04-14"))},
    ),
    Row("air in the condenser", "load_up.*", {"load_up.standstill_pressure": plus(60)}),
    Row("current far from the power", "load_up.*", {"load_up.points.*.current": times(0.4)}),
    # --- shut-down, hand-over
    Row("shaft turned backward", "shut_down.*", {"shut_down.backward": "yes"}),
    Row("heater off after the stop", "shut_down.*", {"shut_down.heater_on": "no"}),
    Row(
        "open item and none open",
        "handover.*",
        {},
        add={
            "handover.open_items.1.item": "Oil leak at the filter",
            "handover.open_items.1.owner": "Ngozi Halvorsen",
            "handover.open_items.1.due": "2026-10-30",
            "handover.open_items.1.severity": "before the next start",
            "handover.open_items.1.state": "open",
        },
    ),
    Row("handed over with a jumper in", "handover.taken_out", {"handover.taken_out": "no"}),
    Row("handed over with the vanes in manual", "handover.automatic", {"handover.automatic": "no"}),
    Row("lock left on at hand-over", "handover.unlocked", {"handover.unlocked": "no"}),
    Row("nobody instructed", "handover.*", {"handover.instructed": "no"}),
    Row("no statement of the technician", "handover.*", {"handover.statements.1.*": None}),
)
