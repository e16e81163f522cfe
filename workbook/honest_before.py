"""An honest job at standstill: from setup, safety and overhaul to controls and guide vanes."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from workbook.honest_plant import HonestPlant, replaced
from workbook.measured import trace
from workbook.people import ELECTRICIAN, TECHNICIAN
from workbook.sensors_model import stream
from workbook.story import Chapter, Line, flat, row, safety, setting_up, stroke_row
from workbook.story_before import hold_ends, refusals, rise, safeties
from workbook.stroke_model import CLOSING, OPENING, Stroke, VaneDrive, simulate_strokes

CELSIUS = 273.15


class HonestBefore(HonestPlant):
    """The chapters of the work at standstill."""

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
            replace(chapter, lines=tuple(replaced(chapter.lines, plate)))
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
            Line("tightness.test_kind", "leak test, vessels tested at the factory"),
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
        return hold_ends(m, (test, end), (warm, cold), airs)

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

    def _refused(self) -> Chapter:
        return Chapter("Starts refused", "15 09:55", TECHNICIAN, refusals(), pace=30)

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

    # --- vanes --------------------------------------------------------------------------------

    def _vanes(self) -> Chapter:
        travel = self.si(self.sheet.vanes.opening_time, "s")
        drive = VaneDrive(
            opening_time=travel * 0.94,
            closing_time=travel * 0.935,
            zero=0.003,
            span=0.997,
            make=0.017,
            timer=travel + 8.0,
        )
        pairs = 10 if self.recorder else 5
        records = simulate_strokes(drive, stream(self.seed, "strokes"), pairs=pairs, interval=0.5)
        recorded = (
            *flat(*(stroke_row(record) for record in records)),
            Line(self._trace_item, self._feedback_shown(trace(records)), tag="VP-1"),
        )
        lines = (
            *(recorded if self.recorder else self._by_hand(drive, records)),
            Line("vanes.closed_seen", "yes"),
            Line("vanes.open_seen", "yes"),
        )
        return Chapter("Vanes", "14 11:20", TECHNICIAN, lines, pace=4)

    def _by_hand(self, drive: VaneDrive, records: list[Stroke]) -> Iterator[Line]:
        """Strokes timed by stopwatch and read from the panel, and the switch inched five times."""
        drawn = stream(self.seed, "strokes by hand")
        times = {OPENING: drive.opening_time, CLOSING: drive.closing_time}
        for record in records:
            took = times[record.direction] + drive.dead_time + drawn.normal(0, 0.2)
            cells = (
                ("number", str(record.number)),
                ("direction", record.direction),
                ("travel_time", f"{took:.1f}", "s", "SW-1"),
                ("end_feedback", f"{100 * record.feedback[-1]:.1f}", "%", "VP-1"),
                ("switch_at_end", "made" if record.switch[-1] else "open"),
                ("seen_position", f"{100 * min(record.seen_position, 1.0):.0f}", "%"),
            )
            yield from row("vanes.strokes", record.number, cells)
        for n in range(1, 6):
            made = drive.make + drawn.normal(0, drive.switch_scatter)
            broke = drive.make + drive.differential + drawn.normal(0, drive.switch_scatter)
            cells = (
                ("made", f"{100 * (drive.zero + made):.1f}", "%", "VP-1"),
                ("broke", f"{100 * (drive.zero + broke):.1f}", "%", "VP-1"),
                ("clean", "yes"),
            )
            yield from row("vanes.jogs", n, cells)

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


def safety_of(job: HonestPlant) -> tuple[Chapter, ...]:
    """The safety stage of the demonstration, with this machine's charge and an exhaust to match."""
    charge = job.si(job.sheet.machine.refrigerant_charge, "kg")
    values = {
        "safety.room_charge": (f"{charge:.0f}", "kg"),
        # 10 % more than the square-root rule asks: G = 0.07 sqrt(charge), m3/s and kg.
        "safety.emergency_installed": (f"{1.15 * 0.07 * math.sqrt(charge):.2f}", "m³/s"),
        "safety.detector_alarm": ("400", "ppm"),
    }
    return tuple(
        replace(chapter, lines=tuple(replaced(chapter.lines, values))) for chapter in safety()
    )


def safeties_of(job: HonestPlant) -> tuple[Line, ...]:
    """Every safety seen to act at its setting; overcurrent and pressures as the sheet sets them."""
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
    return tuple(replaced(safeties(), values))


def held_pressure(start: float, warm: float, cold: float) -> float:
    """[kPa] of a tight vessel of nitrogen after cooling, by the equation of Span and others."""
    from CoolProp.CoolProp import PropsSI

    density = PropsSI("D", "P", start * 1e3, "T", warm, "Nitrogen")
    return PropsSI("P", "D", density, "T", cold, "Nitrogen") / 1e3
