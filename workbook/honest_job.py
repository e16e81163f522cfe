"""A whole job on any machine of the plant, honestly measured: nothing is wrong with the machine,
and every reading is off by no more than its instrument may be.

What the readings are comes from the physical model; settings come from the machine's sheet. Used to
count false alarms, and to make wrong machines from.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import pint

from startkit.facts.journal import Entry
from startkit.facts.machine import Machine
from workbook.machines import MACHINES, Modelled
from workbook.measured import Measured, Truth, trace
from workbook.people import ELECTRICIAN, ENGINEER, TECHNICIAN, WITNESS
from workbook.sensors_model import stream
from workbook.story import Chapter, Line, flat, moment, row, safety, setting_up, zero_rows
from workbook.story_before import rise
from workbook.stroke_model import VaneDrive

CELSIUS = 273.15
# Readings of the electrical and water circuits as shares of what is due.
IMBALANCE = (1.002, 0.9985, 0.9995)
PHASE_CURRENTS = (1.004, 0.994, 1.001)


@dataclass(frozen=True)
class HonestJob:
    """Entries of a whole job.

    Parameters
    ----------
    sheet : Machine
        The machine's sheet; its tag names the model.
    seed : int
        Draws the errors of the instruments and the small differences of the plant.
    """

    sheet: Machine
    seed: int = 1

    def entries(self) -> list[Entry]:
        """Every entry, in the order of the work."""
        told = sorted(self.chapters(), key=lambda chapter: moment(chapter.begins))
        return [entry for chapter in told for entry in chapter.entries()]

    def chapters(self) -> Iterator[Chapter]:
        yield from self._set_up()
        yield from safety_of(self)
        if self.sheet.machine.work == "overhauled":
            yield self._overhaul()
        yield self._tightness()
        yield self._electrical()
        yield self._water()
        yield self._controls()
        yield self._vanes()
        yield from self._oil()
        yield from self._first_start()
        yield self._pull_down()
        yield from self._loads()
        yield self._stop()
        yield self._handover()

    # --- the plant ------------------------------------------------------------------------------

    @property
    def modelled(self) -> Modelled:
        return MACHINES[self.sheet.machine.tag]

    @cached_property
    def measured(self) -> Measured:
        """The model of this machine at this site, without anything wrong."""
        drawn = stream(self.seed, "plant")
        volts = float(self.sheet.motor.voltage.to("V").magnitude)
        air = barometer_at(self.sheet.site.elevation) + drawn.normal(0, 0.25)
        truth = Truth(
            barometer=air,
            ambient=float(drawn.uniform(20, 26)),
            zero_found=float(drawn.normal(0, 500)),
            zero_left=float(drawn.normal(0, 500)),
            voltages=(volts * IMBALANCE[0], volts * IMBALANCE[1], volts * IMBALANCE[2]),
            standstill_water=float(drawn.uniform(19, 23)),
            condenser_warmer=float(drawn.uniform(-0.3, 0.3)),
            coast_down=self.si(self.sheet.oil.coast_down_time, "s")
            * float(drawn.uniform(0.95, 1.05)),
            pump_off=self.si(self.sheet.oil.coast_down_time, "s")
            + self.si(self.sheet.oil.post_lube_time, "s") * 1.04,
            loads=(0.985, 0.88, 0.755),
            chilled_flow=float(drawn.uniform(0.98, 1.02)),
            condenser_flow=float(drawn.uniform(0.98, 1.02)),
        )
        return Measured(truth, self.seed, self.modelled)

    def si(self, quantity: pint.Quantity, unit: str) -> float:
        return float(quantity.to(unit).magnitude)

    # --- setup, safety, overhaul ------------------------------------------------------------------

    def _set_up(self) -> tuple[Chapter, ...]:
        sheet = self.sheet
        plate = {
            "setup.nameplate_serial": (sheet.machine.serial, ""),
            "setup.nameplate_refrigerant": (sheet.machine.refrigerant, ""),
            "setup.nameplate_voltage": (f"{self.si(sheet.motor.voltage, 'V'):.0f}", "V"),
            "setup.nameplate_current": (f"{self.si(sheet.motor.full_load_current, 'A'):.1f}", "A"),
            "setup.order_capacity": (f"{self.si(sheet.design.capacity, 'kW'):.1f}", "kW"),
            "setup.order_refrigerant_charge": (
                f"{self.si(sheet.machine.refrigerant_charge, 'kg'):.1f}",
                "kg",
            ),
        }
        return tuple(
            replace(chapter, lines=tuple(_replaced(chapter.lines, plate)))
            for chapter in setting_up(self.measured)
        )

    def _overhaul(self) -> Chapter:
        lines = flat(
            row("overhaul.opened", 1, {"part": "Compressor", "who": TECHNICIAN}),
            row(
                "overhaul.clearances",
                1,
                (
                    ("place", "Impeller eye"),
                    ("as_found", "0.42", "mm"),
                    ("as_left", "0.31", "mm"),
                    ("low", "0.25", "mm"),
                    ("high", "0.38", "mm"),
                    ("source", "maker's manual, clearances"),
                    ("who", TECHNICIAN),
                ),
            ),
            row(
                "overhaul.run_outs",
                1,
                (
                    ("place", "Shaft, drive end"),
                    ("as_left", "0.015", "mm"),
                    ("high", "0.030", "mm"),
                    ("source", "maker's manual, run-outs"),
                    ("who", TECHNICIAN),
                ),
            ),
            (
                *(
                    Line(f"overhaul.{item}", value)
                    for item in ("clean", "bolts", "turns_by_hand")
                    for item, value in ((item, "yes"), (f"{item}_by", TECHNICIAN))
                ),
                *(Line(f"overhaul.{item}", "yes") for item in ("gaskets", "oil_filter", "drier")),
                Line("overhaul.alignment", "yes"),
                Line("overhaul.alignment_photo", "photographs/terminal-box.svg"),
                *row("overhaul.baseline", 1, {"figure": "Evaporator approach", "value": "1.4 K"}),
                Line("overhaul.clean_photo", "photographs/terminal-box.svg"),
            ),
        )
        return Chapter("Overhaul", "14 08:56:30", TECHNICIAN, lines, pace=1)

    # --- tightness --------------------------------------------------------------------------------

    def _tightness(self) -> Chapter:
        m, sheet = self.measured, self.sheet
        volume = self.si(sheet.machine.refrigerant_charge, "kg") / 610.0 * 3.9
        lines = (
            Line("tightness.scope", "opened, or shipped without its charge"),
            Line("tightness.test_gas", "dry nitrogen"),
            Line("tightness.test_regulator", "yes"),
            Line("tightness.test_kind", "leak test at the maker's leak-test pressure"),
            *self._hold(),
            Line("tightness.temperature_spread", "0.5", "K"),
            Line("tightness.gauge_left", "yes"),
            Line("tightness.test_volume", f"{volume * 1000:.0f}", "L"),
            Line("tightness.joints", "yes"),
            Line("tightness.shut_off", m.shows("VG-1", 31.0, "shut off"), "Pa", "VG-1"),
            Line("tightness.coldest", m.shows("TN-1", 18.6, "coldest"), "°C", "TN-1"),
            Line("tightness.rise", rise(m), tag="VG-1"),
            Line("tightness.freezing_guarded", "yes"),
            *self._cylinders(),
        )
        return Chapter("Tightness and charge", "14 08:57", TECHNICIAN, lines, pace=6)

    def _hold(self) -> tuple[Line, ...]:
        m = self.measured
        test, warm, cold = self.test_pressure, 22.4, 20.1
        airs = m.truth.barometer + 0.3, m.truth.barometer - 0.2
        end = held_pressure(test + airs[0], CELSIUS + warm, CELSIUS + cold) - airs[1]
        return flat(
            *(
                (
                    Line(f"tightness.{which}_at", at),
                    Line(
                        f"tightness.{which}_pressure",
                        m.shows("PN-1", pressure, "hold", which),
                        "kPa gauge",
                        "PN-1",
                    ),
                    Line(
                        f"tightness.{which}_temperature",
                        m.shows("TN-1", warmth, "hold", which),
                        "°C",
                        "TN-1",
                    ),
                    Line(
                        f"tightness.{which}_barometer",
                        m.shows("BA-1", air, "hold", which),
                        "kPa",
                        "BA-1",
                    ),
                )
                for which, at, pressure, warmth, air in (
                    ("start", "2026-04-10 16:00", test, warm, airs[0]),
                    ("end", "2026-04-12 07:30", end, cold, airs[1]),
                )
            )
        )

    @property
    def test_pressure(self) -> float:
        """[kPa gauge] below the lowest relief setting and design pressure."""
        sides = (self.sheet.evaporator, self.sheet.condenser)
        lowest = min(self.si(each.design_pressure, "kPa") for each in sides)
        # A low-pressure machine is not pushed up to its bursting disc: common practice, no source.
        return lowest * 0.9 if lowest > 500 else 65.0

    def _cylinders(self) -> tuple[Line, ...]:
        m, charge = self.measured, self.si(self.sheet.machine.refrigerant_charge, "kg")
        count = math.ceil(charge / 76.0)
        lines: list[Line] = []
        for n in range(1, count + 1):
            mass = (charge + 1.1) / count
            cells = (
                ("number", f"N{4470 + n}"),
                ("label", self.sheet.machine.refrigerant),
                ("before", m.shows("SC-1", 89.0, "before", n), "kg", "SC-1"),
                ("after", m.shows("SC-1", 89.0 - mass, "after", n), "kg", "SC-1"),
            )
            lines += row("tightness.cylinders", n, cells)
        return (*lines, Line("tightness.residue", "1.1", "kg"))

    # --- electrical -------------------------------------------------------------------------------

    def _electrical(self) -> Chapter:
        m, motor = self.measured, self.sheet.motor
        high = self.si(motor.voltage, "V") > 1000
        test_voltage, good = ("2500", 3900.0) if high else ("500", 940.0)
        lines = (
            Line("electrical.winding_system", "thermosetting"),
            Line("electrical.winding_kind", motor.winding),
            Line("electrical.thermal_class", "F"),
            Line("electrical.under_vacuum", "no"),
            Line(
                "electrical.winding_temperature",
                m.shows("TN-1", m.truth.ambient, "winding"),
                "°C",
                "TN-1",
            ),
            *row(
                "electrical.insulation",
                1,
                (
                    ("place", "All phases to frame"),
                    ("test_voltage", test_voltage, "V"),
                    ("one_minute", m.shows("IR-1", good, "one minute"), "MΩ", "IR-1"),
                    ("ten_minutes", m.shows("IR-1", 2.8 * good, "ten minutes"), "MΩ", "IR-1"),
                ),
            ),
            Line("electrical.discharged", "yes"),
            *(
                Line(f"electrical.{name}", m.shows("VM-1", volts, "at rest", name), "V", "VM-1")
                for name, volts in zip(("v12", "v23", "v31"), m.truth.voltages, strict=True)
            ),
            Line("electrical.frequency", f"{self.si(motor.frequency, 'Hz') + 0.01:.2f}", "Hz"),
            Line("electrical.rotation", "in the order that the motor's marking asks"),
            *row(
                "electrical.connections",
                1,
                (
                    ("place", "Supply and motor"),
                    ("specified", "54", "N·m"),
                    ("applied", "54", "N·m", "TQ-1"),
                    ("marked", "yes"),
                    ("who", ELECTRICIAN),
                ),
            ),
            Line("electrical.control_rated", "120", "V"),
            Line("electrical.control_voltage", m.shows("VM-1", 121.3, "control"), "V", "VM-1"),
            Line("electrical.starter_seen", motor.starter),
            Line("electrical.starter_limit", self._starter_limit, "%"),
            *(
                Line(f"electrical.{item}", value)
                for name in ("wiring", "fuses", "earth", "emergency_stop")
                for item, value in ((name, "yes"), (f"{name}_by", ELECTRICIAN))
            ),
            *(
                Line(f"electrical.{item}", "yes")
                for item in ("taps", "heaters", "covers", "capacitors")
            ),
            Line("electrical.covers_photo", "photographs/terminal-box.svg"),
        )
        return Chapter("Winding and supply", "14 09:12", ELECTRICIAN, lines, pace=8)

    @property
    def _starter_limit(self) -> str:
        motor = self.sheet.motor
        for limit in (motor.drive_current_limit, motor.starter_current_limit):
            if limit is not None:
                return f"{self.si(limit, 'percent'):.0f}"
        return "100"

    # --- water ------------------------------------------------------------------------------------

    def _water(self) -> Chapter:
        m = self.measured
        lines: list[Line] = []
        for name, meter, warmth, share in (
            ("evaporator", "FW-1", 12.4, m.truth.chilled_flow),
            ("condenser", "FW-2", 21.8, m.truth.condenser_flow),
        ):
            side = getattr(self.sheet, name)
            drop, flow = (
                self.si(side.design_pressure_drop, "kPa"),
                self.si(side.design_flow, "L/s"),
            )
            # Turbulent in tubes and nozzles: the model's own exponent.
            lines += [
                Line(f"water.{name}_fluid", "water"),
                Line(f"water.{name}_temperature", m.shows("TB-1", warmth, name), "°C", "TB-1"),
                Line(f"water.{name}_drop", m.shows("PW-1", drop * share**1.9, name), "kPa", "PW-1"),
                Line(f"water.{name}_swing", "0.8", "kPa"),
                Line(f"water.{name}_strainer_inside", "no"),
                Line(f"water.{name}_strainer_drop", m.shows("PW-1", 5.1, name, 1), "kPa", "PW-1"),
                Line(f"water.{name}_strainer_clean", "yes"),
                Line(f"water.{name}_air", "yes"),
                Line(f"water.{name}_meter", m.shows(meter, flow * share, name), "L/s", meter),
                Line(
                    f"water.{name}_opens_drop",
                    m.shows("PW-1", drop * 0.70**1.9, name, 2),
                    "kPa",
                    "PW-1",
                ),
                Line(
                    f"water.{name}_closes_drop",
                    m.shows("PW-1", drop * 0.78**1.9, name, 3),
                    "kPa",
                    "PW-1",
                ),
            ]
        return Chapter("Water", "14 09:25", TECHNICIAN, tuple(lines), pace=10)

    # --- controls ---------------------------------------------------------------------------------

    def _controls(self) -> Chapter:
        return Chapter(
            "Sensors and safeties",
            "14 09:42",
            TECHNICIAN,
            (*self._sensors(), *safeties_of(self)),
            pace=3,
        )

    def _sensors(self) -> tuple[Line, ...]:
        m, lines = self.measured, []
        names = ("Chilled water leaving", "Chilled water entering")
        names += ("Condenser water leaving", "Condenser water entering")
        for n, name in enumerate(names, 1):
            truth = 12.4 if n < 3 else 21.8
            error = stream(self.seed, "panel", n).uniform(-0.05, 0.05)
            cells = (
                ("sensor", name),
                ("panel", f"{truth + error:.2f}", "°C"),
                ("reference", m.shows("TB-1", truth, "sensor", n), "°C", "TB-1"),
                ("accuracy", "0.15", "K"),
            )
            lines += row("controls.temperature_sensors", n, cells)
        still = m.resting_pressure / 1e3 - m.truth.barometer
        for n, (name, tag) in enumerate((("Evaporator", "PE-1"), ("Condenser", "PC-1")), 1):
            error = stream(self.seed, "transducer", n).uniform(-2, 2)
            cells = (
                ("sensor", f"{name} pressure"),
                ("panel", f"{still + error:.1f}", "kPa gauge"),
                ("reference", m.shows(tag, still, "sensor", n), "kPa gauge", tag),
                ("accuracy", "6", "kPa"),
            )
            lines += row("controls.pressure_sensors", n, cells)
        return tuple(lines)

    # --- vanes and oil ----------------------------------------------------------------------------

    def _vanes(self) -> Chapter:
        from workbook.stroke_model import simulate_strokes

        travel = self.si(self.sheet.vanes.opening_time, "s")
        drive = VaneDrive(
            opening_time=travel * 0.94,
            closing_time=travel * 0.935,
            zero=0.003,
            span=0.997,
            make=0.017,
            timer=travel + 8.0,
        )
        records = simulate_strokes(drive, stream(self.seed, "strokes"), pairs=10, interval=0.5)
        from workbook.story import stroke_row

        lines = (
            *flat(*(stroke_row(record) for record in records)),
            Line(self._trace_item, self._feedback_shown(trace(records)), tag="VP-1"),
            Line("vanes.closed_seen", "yes"),
            Line("vanes.open_seen", "yes"),
        )
        return Chapter("Vanes", "14 11:20", TECHNICIAN, lines, pace=4)

    @property
    def _trace_item(self) -> str:
        feedback = self.sheet.vanes.feedback
        return "vanes.trace" + ("" if feedback == "percent" else f"_{feedback}")

    def _feedback_shown(self, block: str) -> str:
        """The trace with its feedback as this machine shows it: percent, volts or ohms."""
        vanes = self.sheet.vanes
        if vanes.feedback == "percent":
            return block
        low, high = vanes.feedback_closed, vanes.feedback_open
        head, *rows = block.splitlines()
        shown = [head.replace("Feedback [%]", "Feedback")]
        for each in rows:
            cells = each.split("\t")
            cells[3] = f"{low + (high - low) * float(cells[3]) / 100:.3f}"
            shown.append("\t".join(cells))
        return "\n".join(shown)

    def _oil(self) -> tuple[Chapter, ...]:
        m, oil = self.measured, self.sheet.oil
        set_point = f"{self.si(oil.differential_set_point, 'kPa'):.0f}"
        trip = self.si(oil.low_trip, "kPa")
        before = (
            Line("lube.oil_kind", f"{oil.kind} {oil.grade}"),
            Line("lube.sight_glass", "clear, level in the glass"),
            Line("lube.heater_on_since", "2026-04-13 06:30"),
            Line("lube.sump_temperature", m.shows("TO-1", m.sump_celsius, "sump"), "°C", "TO-1"),
            Line(
                "lube.sump_pressure",
                m.gauge("PO-P", m.resting_pressure, "sump"),
                "kPa gauge",
                "PO-P",
            ),
            *zero_rows(m.zero_rows(m.truth.zero_left, "left"), ""),
        )
        running = (
            Line("lube.pre_lube", m.oil_rows(m.pre_lube_left, "left"), tag="PO-S"),
            Line(
                "lube.supply_temperature",
                m.shows("TO-1", m.oil_supply_celsius, "supply"),
                "°C",
                "TO-1",
            ),
            *(
                (Line("lube.pump_speed", m.pump_speed(m.pre_lube_left), "Hz"),)
                if oil.pump == "variable speed"
                else ()
            ),
            Line("lube.filter_drop", m.shows("PD-1", m.filter_drop / 1e3, "filter"), "kPa", "PD-1"),
            Line("lube.cooler_water", "yes"),
            Line("lube.set_point_found", set_point, "kPa"),
            Line("lube.set_point_left", set_point, "kPa"),
            Line("lube.trip_setting", f"{trip:.0f}", "kPa"),
            Line("lube.trip_seen", f"{trip - 0.5:.1f}", "kPa", "PO-S"),
            Line("lube.trip_method", "pressure lowered with the pump running"),
        )
        stopped = (
            Line("lube.coast_down", m.oil_rows(m.coast_down, "coast-down"), tag="PO-S"),
            Line("lube.stopped", "0", "s"),
            Line("lube.at_rest", f"{m.truth.coast_down:.0f}", "s", "SW-1"),
        )
        return (
            Chapter("Oil at rest", "15 08:15", TECHNICIAN, before, pace=20),
            Chapter("Oil pump running", "15 08:40", TECHNICIAN, running, pace=20),
            Chapter("First ordinary stop", "15 16:25", TECHNICIAN, stopped, pace=20),
        )

    # --- start and pull-down ----------------------------------------------------------------------

    def _first_start(self) -> tuple[Chapter, ...]:
        m, motor = self.measured, self.sheet.motor
        inrush = self.si(motor.locked_rotor_current, "A") * inrush_share(self.sheet)
        settled = self.si(motor.full_load_current, "A") * 0.58
        run_up = self.si(motor.run_up_time, "s") * 0.92
        lines = (
            Line("first_start.closed_proof", "made"),
            Line("first_start.vane_position", "0.3", "%", "VP-1"),
            Line("first_start.rotation", "right, by phase meter and pressure rise"),
            Line("first_start.run_up_time", f"{run_up:.1f}", "s", "SW-1"),
            *(
                Line(f"first_start.peak_l{n}", f"{inrush * share:.0f}", "A", "AM-1")
                for n, share in enumerate(PHASE_CURRENTS, 1)
            ),
            Line("first_start.peak_by", "recorder or analyser, RMS of each cycle"),
            Line("first_start.oil_lowest", f"{self._oil_differential - 4:.1f}", "kPa", "PD-1"),
            *(
                (Line("first_start.current_where", "motor side of the drive"),)
                if motor.starter == "variable-speed drive"
                else ()
            ),
            *(
                Line(f"first_start.settled_l{n}", f"{settled * share:.1f}", "A", "AM-1")
                for n, share in enumerate(PHASE_CURRENTS, 1)
            ),
            Line("first_start.full_speed", f"{self.si(motor.speed, 'rpm'):.0f}", "r/min"),
            *(
                Line(f"first_start.voltage_{pair}", volts, "V", "VM-1", who=ELECTRICIAN)
                for pair, volts in zip(("12", "23", "31"), m.voltages(), strict=True)
            ),
            *flat(
                *(
                    row(
                        "first_start.vibration",
                        n,
                        (
                            ("bearing", bearing),
                            ("direction", direction),
                            ("velocity", velocity, "mm/s", "VB-1"),
                            ("band", "10 to 1000 Hz"),
                        ),
                    )
                    for n, (bearing, direction, velocity) in enumerate(m.vibration(), 1)
                )
            ),
            Line("first_start.noise_heard", "Nothing unusual."),
            *self._start(1, "2026-04-15 10:34:00", "2026-04-15 10:34:02", "bump"),
            *self._start(2, "2026-04-15 11:52:00", "2026-04-15 16:18:00", "stopped by hand"),
            *self._start(3, "2026-04-16 08:42:00", "2026-04-16 15:31:00", "stopped by hand"),
            Line("trips.any", "no"),
        )
        return (Chapter("First start", "15 12:20", TECHNICIAN, lines, pace=4),)

    @property
    def _oil_differential(self) -> float:
        """[kPa] true."""
        circuit = self.measured.oil_circuit(self.measured.truth.zero_left)
        return circuit.true_differential / 1e3

    def _start(self, n: int, began: str, ended: str, end: str) -> tuple[Line, ...]:
        return row("first_start.starts", n, {"started": began, "stopped": ended, "end": end})

    @property
    def _pulled(self) -> float:
        """[A] at the limit of the pull-down."""
        return 0.60 * self.si(self.sheet.motor.full_load_current, "A")

    def _pull_down(self) -> Chapter:
        sheet = self.sheet
        rows = [
            {"minute": f"{minute}", "entering": f"{warm:.2f}", "leaving": f"{warm - 4.5:.2f}"}
            for minute, warm in ((0, 20.0), (5, 17.6), (10, 15.4), (15, 13.4), (20, 11.1))
        ]
        lines = (
            Line("pull_down.start", "20.0", "°C", "TW-1"),
            Line("pull_down.volume", f"{self.si(sheet.loop.volume, 'm^3'):.1f}", "m³"),
            Line("pull_down.volume_known", "10", "%"),
            Line("pull_down.load", f"{self.si(sheet.loop.connected_load, 'kW'):.0f}", "kW"),
            Line("pull_down.load_known", "15", "%"),
            Line("pull_down.current_low", f"{self._pulled * 0.985:.1f}", "A", "AM-1"),
            Line("pull_down.current_high", f"{self._pulled * 1.012:.1f}", "A", "AM-1"),
            Line("pull_down.watched", "10", "min"),
            Line("pull_down.trend_limit", "60", "%"),
            Line("pull_down.chosen", "60", "%"),
            Line("pull_down.chosen_by", TECHNICIAN),
            Line("pull_down.hold", "15", "min"),
            Line("pull_down.began", "2026-04-15 11:52:28"),
            *flat(
                *(
                    row(
                        "pull_down.readings",
                        n,
                        [
                            (name, value, "min" if name == "minute" else "°C")
                            for name, value in cells.items()
                        ],
                    )
                    for n, cells in enumerate(rows, 1)
                )
            ),
            Line("pull_down.ended", "set point reached"),
            Line("pull_down.limit_left", "100", "%"),
        )
        return Chapter("Pull-down", "15 12:50", TECHNICIAN, lines, pace=4)

    # --- load, stop, hand-over --------------------------------------------------------------------

    def _loads(self) -> Iterator[Chapter]:
        m = self.measured
        yield Chapter(
            "Air at standstill",
            "16 08:05",
            TECHNICIAN,
            (
                Line("load_up.standstill_pressure", m.standstill[0], "kPa gauge", "PC-1"),
                Line("load_up.standstill_temperature", m.standstill[1], "°C", "TW-3"),
            ),
        )
        clocks = ("09:40", "11:05", "13:20")
        for n, (load, clock) in enumerate(zip(m.truth.loads, clocks, strict=True), 1):
            cells = [
                ("label", f"{100 * round(load * 4) / 4:.0f} %"),
                ("moment", f"2026-04-16 {clock}"),
                ("steady", "yes"),
                ("steady_by", TECHNICIAN),
                *m.load_cells(load),
            ]
            lines = row("load_up.points", n, cells)
            yield Chapter(f"Load {n}", f"16 {clock}", TECHNICIAN, lines, pace=15)

    def _stop(self) -> Chapter:
        m = self.measured
        lines = (
            Line("shut_down.stop", "ordinary stop, unloaded first"),
            Line("shut_down.stopped_at", "2026-04-16 15:31:00"),
            Line("shut_down.vanes_before", f"{m.truth.vanes_at_stop:.0f}", "%", "VP-1"),
            Line("shut_down.closing_time", m.shows("SW-1", 5.7, "stop"), "s", "SW-1"),
            Line("shut_down.closed_proof", "made"),
            Line("shut_down.vane_position", "0.3", "%", "VP-1"),
            Line("shut_down.backward", "no"),
            Line("shut_down.heater_on", "yes"),
            Line(
                "shut_down.timer_left",
                f"{self.si(self.sheet.motor.stop_to_start, 'min'):.0f}",
                "min",
            ),
            Line("shut_down.left_as", "ready to start"),
        )
        return Chapter("Last stop", "16 15:40", TECHNICIAN, lines, pace=20)

    def _handover(self) -> Chapter:
        lines = (
            *row(
                "handover.settings",
                1,
                {
                    "item": "Chilled water set point",
                    "as_found": "7.0 °C",
                    "as_left": "7.0 °C",
                    "by": TECHNICIAN,
                },
            ),
            Line("handover.nothing_open", "yes"),
            Line("handover.instructed", "yes"),
            Line("handover.instructed_who", f"{WITNESS}, two operators"),
            Line("handover.documents", "This record, machine sheet, wiring diagrams"),
            Line("handover.next_visit", "2026-10-20"),
            *flat(
                *(
                    tuple(
                        Line(f"handover.statements.{n}.{column}", value, who=name)
                        for column, value in (
                            ("name", name),
                            ("role", role),
                            ("statement", "I took part, and what is written is what I saw."),
                            ("date", "2026-04-16"),
                        )
                    )
                    for n, (name, role) in enumerate(
                        (
                            (TECHNICIAN, "technician"),
                            (WITNESS, "owner's witness"),
                            (ENGINEER, "commissioning engineer"),
                        ),
                        1,
                    )
                )
            ),
        )
        return Chapter("Hand-over", "16 16:05", TECHNICIAN, lines, pace=10)


def _replaced(lines: tuple[Line, ...], values: dict[str, tuple[str, str]]) -> Iterator[Line]:
    for line in lines:
        value, unit = values.get(line.what, (line.value, line.unit))
        yield replace(line, value=value, unit=unit)


def safety_of(job: HonestJob) -> tuple[Chapter, ...]:
    """The safety stage of the demonstration, with this machine's charge and an exhaust to match."""
    charge = job.si(job.sheet.machine.refrigerant_charge, "kg")
    values = {
        "safety.room_charge": (f"{charge:.0f}", "kg"),
        # 10 % more than the square-root rule asks: G = 0.07 sqrt(charge), m3/s and kg.
        "safety.emergency_installed": (f"{1.15 * 0.07 * math.sqrt(charge):.2f}", "m³/s"),
        "safety.detector_alarm": ("400", "ppm"),
    }
    return tuple(
        replace(chapter, lines=tuple(_replaced(chapter.lines, values))) for chapter in safety()
    )


def safeties_of(job: HonestJob) -> tuple[Line, ...]:
    """Every safety seen to act at its setting; overcurrent and pressures as the sheet sets them."""
    from workbook.story_before import _safeties

    trip = job.si(job.sheet.motor.overcurrent_trip, "percent")
    settings = job.sheet.safeties
    high, low = (
        job.si(each.setting, "kPa")
        for each in (settings.high_condenser_pressure, settings.low_evaporator_pressure)
    )
    values = {
        "controls.pressure_safeties.1.setting": (f"{high:.1f}", "kPa gauge"),
        "controls.pressure_safeties.1.seen": (f"{high - 0.6:.1f}", "kPa gauge"),
        "controls.pressure_safeties.2.setting": (f"{low:.1f}", "kPa gauge"),
        "controls.pressure_safeties.2.seen": (f"{low + 0.4:.1f}", "kPa gauge"),
        "controls.current_safeties.1.setting": (f"{trip:.0f}", "%"),
        "controls.current_safeties.1.seen": (f"{trip + 0.2:.1f}", "%"),
    }
    return tuple(_replaced(_safeties(), values))


def barometer_at(elevation: pint.Quantity | None) -> float:
    """[kPa] standard atmosphere (ISO 2533, lower layer)."""
    metres = 0.0 if elevation is None else float(elevation.to("m").magnitude)
    return 101.325 * (1 - 2.25577e-5 * metres) ** 5.25588


def held_pressure(start: float, warm: float, cold: float) -> float:
    """[kPa] of a tight vessel of nitrogen after cooling, by the equation of Span and others."""
    from CoolProp.CoolProp import PropsSI

    density = PropsSI("D", "P", start * 1e3, "T", warm, "Nitrogen")
    return PropsSI("P", "D", density, "T", cold, "Nitrogen") / 1e3


def inrush_share(sheet: Machine) -> float:
    """Starting current over locked-rotor current, by starter."""
    starter, motor = sheet.motor.starter, sheet.motor
    full, locked = (
        float(each.to("A").magnitude)
        for each in (motor.full_load_current, motor.locked_rotor_current)
    )
    if starter == "wye-delta":
        return 1 / 3
    if starter == "autotransformer" and motor.autotransformer_tap is not None:
        return float(motor.autotransformer_tap.to("").magnitude) ** 2
    if starter in ("soft start", "variable-speed drive"):
        limit = motor.starter_current_limit or motor.drive_current_limit
        share = 1.0 if limit is None else float(limit.to("").magnitude)
        return share * full / locked
    return 1.0
