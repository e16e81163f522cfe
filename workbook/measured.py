"""What the instruments of CH-1 showed: the model's truth, seen through its instruments.

Everything that a test may want to know as truth is next to the readings in `Truth`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from startkit.science.strokes import CLOSING, Stroke
from workbook.chiller_model import CELSIUS, Conditions, Steady
from workbook.fluids import refrigerant
from workbook.loop_model import Control, Loop, PullDown, VaneMap, pull_down
from workbook.machines import CH1, Modelled
from workbook.oil_model import OilCircuit, OilCourse, coast_down, pre_lube, warm_up
from workbook.people import SENSORS
from workbook.sensors_model import stream
from workbook.start_model import PHASES, Ramp, RunUpRecord, run_up
from workbook.stroke_model import VaneDrive, simulate_strokes

SEED = 2027
SECOND_START = datetime(2026, 4, 15, 11, 52)  # the start that held, wall clock on site
Limited = tuple[tuple[float, float], ...]  # from second, current limit
MOTOR_HERTZ = 59.3  # shaft frequency of the motor at design speed


@dataclass(frozen=True)
class Truth:
    """What is so in the plant, whatever the instruments show.

    Parameters
    ----------
    barometer : float
        [kPa].
    ambient : float
        [°C] plant room on the day before the start; the machine at rest is at this temperature.
    switch_found, switch_left : float
        Share of travel at which the closed-position switch makes.
    zero_found, zero_left : float
        [Pa] by which the oil differential is shown too high.
    trip_setting : float
        [Pa].
    voltages : tuple of float
        [V] L1 to L2, L2 to L3, L3 to L1.
    vibration : tuple of (str, str, float)
        Bearing, direction, RMS velocity [mm/s].
    loop_volume, loop_load : float
        [m3], [W].
    loop_start, loop_condenser : float
        [°C] at which the chilled-water loop and the condenser water stood at the first start.
    limit_found : float
        Current limit at the first start, share of full-load current.
    limits_left : tuple of (float, float)
        (from second, limit) for the pull-down that held.
    slowing_found, slowing_left : float
        Share of full-load current over which the limiter slows the vanes down.
    coast_down, pump_off : float
        [s] from the stop until the shaft has stopped, and until the pump is switched off.
    vanes_at_stop : float
        [%] of travel, after unloading.
    loads : tuple of float
        Shares of design capacity that were held during load-up.
    condenser_warmer : float
        [K] by which the condenser water entered warmer than the selection says.
    standstill_water : float
        [°C] condenser water on the third morning.
    chilled_flow, condenser_flow : float
        Shares of design flow.
    """

    barometer: float = 101.08
    ambient: float = 23.6
    switch_found: float = 0.112
    switch_left: float = 0.017
    zero_found: float = 21.4e3
    zero_left: float = 0.9e3
    trip_setting: float = 110e3
    voltages: tuple[float, float, float] = (461.2, 460.1, 460.5)
    vibration: tuple[tuple[str, str, float], ...] = (
        ("Motor, free end", "horizontal", 0.82),
        ("Motor, free end", "vertical", 0.71),
        ("Motor, drive end", "horizontal", 1.06),
        ("Motor, drive end", "vertical", 0.93),
        ("Motor, drive end", "axial", 0.58),
    )
    loop_volume: float = 58.0
    loop_load: float = 240e3
    loop_start: float = 27.0
    loop_condenser: float = 26.0
    limit_found: float = 1.00
    limits_left: Limited = ((0.0, 0.60), (900.0, 0.75))
    slowing_found: float = 0.0
    slowing_left: float = 0.40
    coast_down: float = 62.0
    pump_off: float = 185.0
    vanes_at_stop: float = 12.0
    loads: tuple[float, ...] = (0.985, 0.755, 0.505, 0.262)
    condenser_warmer: float = 0.3
    standstill_water: float = 21.3
    chilled_flow: float = 0.992
    condenser_flow: float = 1.006


@dataclass(frozen=True)
class Measured:
    """All readings of the job, made on first use."""

    truth: Truth = Truth()
    seed: int = SEED
    machine: Modelled = CH1

    # --- displays ---------------------------------------------------------------------------------

    def shows(self, tag: str, value: float, *names: str | int, samples: int = 1) -> str:
        """What the display of instrument `tag` shows for a true value in the instrument's unit."""
        return SENSORS[tag].shows(value, self.seed, *names, samples=samples)

    def gauge(self, tag: str, absolute: float, *names: str | int) -> str:
        """Gauge reading [kPa] for a true absolute pressure [Pa]."""
        return self.shows(tag, absolute / 1e3 - self.truth.barometer, *names)

    @cached_property
    def resting_pressure(self) -> float:
        """[Pa] in the machine at rest: saturation at the plant room's temperature."""
        return refrigerant(self.machine.design.refrigerant).saturation_pressure(
            CELSIUS + self.truth.ambient
        )

    # --- guide vanes -----------------------------------------------------------------------------

    @property
    def _drive(self) -> VaneDrive:
        return VaneDrive(
            opening_time=40.0,
            closing_time=39.5,
            zero=0.003,
            span=0.997,
            make=self.truth.switch_left,
            timer=48.0,
        )

    @cached_property
    def strokes_found(self) -> list[Stroke]:
        """Three pairs and a staircase each way, as found."""
        drive = replace(self._drive, make=self.truth.switch_found)
        return simulate_strokes(drive, stream(self.seed, "strokes", "found"), pairs=3, interval=0.5)

    @cached_property
    def strokes_left(self) -> list[Stroke]:
        """Ten pairs and a staircase each way, after the switch was moved; numbered on."""
        records = simulate_strokes(
            self._drive, stream(self.seed, "strokes", "left"), pairs=10, interval=0.5
        )
        return [replace(r, number=r.number + len(self.strokes_found)) for r in records]

    def switch_position(self, records: list[Stroke]) -> float:
        """Mean feedback [%] at which the switch made in these closings, as read off the traces."""
        made = [
            float(r.feedback[np.flatnonzero(r.switch)[0]])
            for r in records
            if r.direction == CLOSING and r.switch.any()
        ]
        return 100 * float(np.mean(made))

    # --- oil --------------------------------------------------------------------------------------

    @cached_property
    def sump_celsius(self) -> float:
        """Sump temperature after a night of heating, pump off."""
        return float(warm_up(self.truth.ambient, self.truth.ambient, np.array([24.0]))[0])

    @property
    def oil_supply_celsius(self) -> float:
        return 47.5

    def oil_circuit(self, zero: float) -> OilCircuit:
        """The circuit with the supply transducer that far off."""
        return replace(self.machine.oil, supply_zero=zero)

    @cached_property
    def pre_lube_found(self) -> OilCourse:
        return pre_lube(
            self.oil_circuit(self.truth.zero_found),
            self.oil_supply_celsius,
            stream(self.seed, "pre-lube", "found"),
            120.0,
        )

    @cached_property
    def pre_lube_left(self) -> OilCourse:
        return pre_lube(
            self.oil_circuit(self.truth.zero_left),
            self.oil_supply_celsius,
            stream(self.seed, "pre-lube", "left"),
            180.0,
        )

    def zero_rows(self, zero: float, when: str) -> list[tuple[str, str]]:
        """Supply and sump reading [kPa gauge], three times with the pump off."""
        rest = self.resting_pressure / 1e3 - self.truth.barometer
        rows = []
        for n in range(3):
            noise = stream(self.seed, "zero", when, n).normal(0, 0.3, 2)
            rows.append((f"{rest + zero / 1e3 + noise[0]:.1f}", f"{rest + noise[1]:.1f}"))
        return rows

    def oil_rows(self, course: OilCourse, when: str) -> str:
        """A block to paste: seconds, supply, sump, no differential, pump speed."""
        rest = self.resting_pressure / 1e3 - self.truth.barometer
        noise = stream(self.seed, "sump", when).normal(0, 0.3, course.time.size)
        lines = [
            "Time [s]\tSupply [kPa gauge]\tSump [kPa gauge]\tDifferential [kPa]\tPump speed [Hz]"
        ]
        for t, read, speed, n in zip(course.time, course.read, course.speed, noise, strict=True):
            lines.append(f"{t:.0f}\t{rest + n + read / 1e3:.1f}\t{rest + n:.1f}\t\t{speed:.2f}")
        return "\n".join(lines)

    @cached_property
    def filter_drop(self) -> float:
        """[Pa] over the clean filter at the true differential."""
        circuit = self.oil_circuit(self.truth.zero_left)
        return circuit.filter_drop(
            circuit.bearing_flow(circuit.true_differential, self.oil_supply_celsius),
            self.oil_supply_celsius,
        )

    @property
    def trip_seen(self) -> str:
        """[kPa] on the panel at the trip; the display lags slightly behind."""
        return f"{self.truth.trip_setting / 1e3 - stream(self.seed, 'trip').uniform(0.2, 1.2):.1f}"

    @cached_property
    def coast_down(self) -> OilCourse:
        """From the first ordinary stop on."""
        return coast_down(
            self.oil_circuit(self.truth.zero_left),
            self.oil_supply_celsius,
            stream(self.seed, "coast-down"),
            self.truth.coast_down,
            self.truth.pump_off,
        )

    def pump_speed(self, course: OilCourse) -> str:
        """[Hz] mean of the last third."""
        return f"{course.speed[-course.speed.size // 3 :].mean():.2f}"

    # --- start and pull-down ----------------------------------------------------------------------

    @cached_property
    def _vane_map(self) -> VaneMap:
        flows = (
            self.truth.chilled_flow * self.machine.conditions.chilled_flow,
            self.truth.condenser_flow * self.machine.conditions.condenser_flow,
        )
        return VaneMap(self.machine.as_built, flows, self.truth.loop_condenser)

    def _pulled(self, limits: Limited, when: str, slowing: float) -> PullDown:
        leaving = self.machine.design.leaving_chilled
        control = Control(limits, leaving, 42.0, 42.0, slowing=slowing)
        loop = Loop(self.truth.loop_volume, self.truth.loop_load, self.truth.loop_start)
        return pull_down(
            self._vane_map,
            self.machine.as_built,
            self.machine.full_load_current,
            loop,
            control,
            stream(self.seed, "pull-down", when),
            4200.0,
        )

    @cached_property
    def pull_down_tripped(self) -> PullDown:
        """The first start in the warm loop, the current limit as it was found."""
        return self._pulled(((0.0, self.truth.limit_found),), "tripped", self.truth.slowing_found)

    @cached_property
    def pull_down_held(self) -> PullDown:
        """The second, with the limiter slowed down and a lower limit stepped up."""
        return self._pulled(self.truth.limits_left, "held", self.truth.slowing_left)

    def pulled_at(self, limit: float) -> PullDown:
        """What the loop would have done at another limit."""
        return self._pulled(((0.0, limit),), f"at {limit:g}", self.truth.slowing_left)

    def run_up(self, course: PullDown, when: str) -> RunUpRecord:
        """The record of the start that led into this pull-down."""
        return run_up(
            Ramp(),
            course,
            self.machine.full_load_current,
            self.oil_circuit(self.truth.zero_left),
            self.oil_supply_celsius,
            stream(self.seed, "run-up", when),
            75.0,
        )

    def trip_values(self) -> list[tuple[str, str, str, str]]:
        """What the panel froze at the trip: (name, value, unit, instrument)."""
        course, record = self.pull_down_tripped, self.run_up(self.pull_down_tripped, "tripped")
        flow = self.truth.condenser_flow * self.machine.conditions.condenser_flow
        rise = (course.capacity[-1] + course.power[-1]) / (flow * 1e3 * 4180.0)
        cells = (
            ("entering", "TW-1", course.entering[-1]),
            ("leaving", "TW-2", course.leaving[-1]),
            ("leaving_condenser", "TW-4", self.truth.loop_condenser + rise),
        )
        voltages = zip(("voltage_12", "voltage_23", "voltage_31"), self.voltages(), strict=True)
        return [
            ("since_start", f"{record.tripped_at:.0f}", "s", ""),
            ("limit", f"{100 * self.truth.limit_found:.0f}", "%", ""),
            ("current", f"{record.currents.max():.1f}", "A", "AM-1"),
            ("vanes", f"{100 * course.position[-1]:.1f}", "%", "VP-1"),
            *(
                (name, self.shows(tag, value, "trip", name), SENSORS[tag].unit, tag)
                for name, tag, value in cells
            ),
            ("oil", f"{record.oil[-1] / 1e3:.1f}", "kPa", "PO-S"),
            *((name, value, "V", "VM-1") for name, value in voltages),
        ]

    def trip_minutes(self) -> str:
        """A block to paste: the columns of the trip from its beginning to the trip itself."""
        course = self.pull_down_tripped
        oil = self.truth.zero_left + self.oil_circuit(self.truth.zero_left).true_differential
        noise = stream(self.seed, "minutes").normal(0, 0.6, course.time.size)
        lines = [
            "Trip\tTime [s]\tCurrent [A]\tVanes [%]\tEntering [°C]\tLeaving [°C]\tOil differential"
            " [kPa]"
        ]
        for t, current, vanes, entering, leaving, n in zip(
            course.time,
            course.current,
            course.position,
            course.entering,
            course.leaving,
            noise,
            strict=True,
        ):
            amperes = PHASES[0] * current * self.machine.full_load_current
            lines.append(
                f"1\t{t:.0f}\t{amperes:.1f}\t{100 * vanes:.1f}\t{entering:.2f}\t{leaving:.2f}"
                f"\t{oil / 1e3 + n:.1f}"
            )
        return "\n".join(lines)

    @property
    def pull_down_began(self) -> datetime:
        """When the vanes began to open on the second start: minute 0 of the pull-down."""
        return SECOND_START + timedelta(seconds=Ramp().time + Ramp().wait)

    def current_trend(self) -> str:
        """A block to paste: time and current of the highest phase during the first limit."""
        course = self.pull_down_held
        end = self.truth.limits_left[1][0] if len(self.truth.limits_left) > 1 else 1800.0
        kept = (course.time >= 120) & (course.time < end)
        lines = ["Time [s]\tCurrent [A]"]
        lines += [
            f"{t:.0f}\t{PHASES[0] * share * self.machine.full_load_current:.1f}"
            for t, share in zip(course.time[kept], course.current[kept], strict=True)
        ]
        return "\n".join(lines)

    def pull_down_rows(self) -> str:
        """A block to paste: minute, entering, leaving, flow, current, limit, and four columns that
        were not read.
        """
        course, limits = self.pull_down_held, self.truth.limits_left
        end = (
            int(
                self.pull_down_held.reached(self.machine.design.leaving_chilled + 0.2)
                or course.time[-1]
            )
            + 240
        )
        flow = self.truth.chilled_flow * self.machine.conditions.chilled_flow * 1e3
        lines = ["Minute [min]\tEntering [°C]\tLeaving [°C]\tFlow [L/s]\tCurrent [A]\tLimit [%]"]
        for i in range(0, min(end, course.time.size), 60):
            limit = [share for since, share in limits if since <= course.time[i]][-1]
            entering, leaving = (
                self.shows(tag, float(value), "pull-down", i)
                for tag, value in (("TW-1", course.entering[i]), ("TW-2", course.leaving[i]))
            )
            amperes = PHASES[0] * course.current[i] * self.machine.full_load_current
            lines.append(
                f"{course.time[i] / 60:.0f}\t{entering}\t{leaving}"
                f"\t{self.shows('FW-1', flow, 'pull-down', i)}\t{amperes:.1f}\t{100 * limit:.0f}"
            )
        return "\n".join(lines)

    def settled(self) -> list[str]:
        """[A] the three phases a quarter of an hour into the pull-down that held, averaged over a
        minute.
        """
        mean = float(self.pull_down_held.current[840:900].mean()) * self.machine.full_load_current
        return [self.shows("AM-1", part * mean, "settled", n) for n, part in enumerate(PHASES)]

    def voltages(self) -> list[str]:
        """[V] between the phases, machine running."""
        return [
            self.shows("VM-1", volts, "running", pair)
            for pair, volts in enumerate(self.truth.voltages)
        ]

    def vibration(self) -> list[tuple[str, str, str]]:
        """Bearing, direction, RMS velocity [mm/s]."""
        return [
            (bearing, direction, self.shows("VB-1", value, bearing, direction))
            for bearing, direction, value in self.truth.vibration
        ]

    # --- load -------------------------------------------------------------------------------------

    @cached_property
    def steady(self) -> dict[float, Steady]:
        """The truth at each load that was held."""
        machine, design, truth = self.machine.as_built, self.machine.conditions, self.truth
        relief = sorted(self.machine.relief.items())
        return {
            load: machine.steady(
                Conditions(
                    load * design.capacity,
                    design.leaving_chilled + stream(self.seed, "leaving", load).normal(0, 0.05),
                    CELSIUS
                    + truth.condenser_warmer
                    + float(np.interp(load, *zip(*relief, strict=True))),
                    truth.chilled_flow * design.chilled_flow,
                    truth.condenser_flow * design.condenser_flow,
                )
            )
            for load in truth.loads
        }

    @cached_property
    def standstill(self) -> tuple[str, str]:
        """Condenser pressure [kPa gauge] and water temperature [°C] with the machine at rest."""
        water = self.truth.standstill_water
        pressure = refrigerant(self.machine.design.refrigerant).saturation_pressure(CELSIUS + water)
        return self.gauge("PC-1", pressure, "standstill"), self.shows("TW-3", water, "standstill")

    @property
    def closing_time(self) -> float:
        """[s] from the last stop until the vanes were closed."""
        return (
            self._drive.dead_time + self.truth.vanes_at_stop / 100 * self._drive.closing_time * 1.05
        )

    def load_cells(self, load: float) -> list[tuple[str, str, str, str]]:
        """One column of readings: (name, value, unit, instrument)."""
        s = self.steady[load]
        at = s.conditions
        oil = self.oil_circuit(self.truth.zero_left)
        cells = [
            ("chilled_entering", "TW-1", s.entering_chilled - CELSIUS),
            ("chilled_leaving", "TW-2", at.leaving_chilled - CELSIUS),
            ("evaporator_flow", "FW-1", at.chilled_flow * 1e3),
            ("evaporator_drop", "PW-1", s.chilled_drop / 1e3),
            ("condenser_entering", "TW-3", at.entering_condenser - CELSIUS),
            ("condenser_leaving", "TW-4", s.leaving_condenser - CELSIUS),
            ("condenser_flow", "FW-2", at.condenser_flow * 1e3),
            ("condenser_drop", "PW-1", s.condenser_drop / 1e3),
            ("evaporator_pressure", "PE-1", s.evaporator_pressure / 1e3 - self.truth.barometer),
            ("condenser_pressure", "PC-1", s.condenser_total_pressure / 1e3 - self.truth.barometer),
            ("suction_temperature", "TR-1", s.suction_temperature - CELSIUS),
            ("discharge_temperature", "TR-1", s.discharge_temperature - CELSIUS),
            ("liquid_temperature", "TR-1", s.liquid_temperature - CELSIUS),
            ("power", "WM-1", s.power / 1e3),
            ("current", "AM-1", s.current),
            ("vane_position", "VP-1", 100 * s.operation.position),
            ("oil_differential", "PD-1", oil.true_differential / 1e3),
            ("oil_temperature", "TO-1", self.oil_supply_celsius),
        ]
        shown = [
            (name, self.shows(tag, value, "load", load, name, samples=10), SENSORS[tag].unit, tag)
            for name, tag, value in cells
        ]
        return [*shown, ("speed", f"{MOTOR_HERTZ * s.operation.speed:.1f}", "Hz", "")]


def trace(records: list[Stroke]) -> str:
    """A block to paste: stroke, seconds, command, feedback, switch."""
    lines = ["Stroke\tTime [s]\tCommand [%]\tFeedback [%]\tSwitch"]
    for record in records:
        for t, command, feedback, made in zip(
            record.time, record.command, record.feedback, record.switch, strict=True
        ):
            lines.append(
                f"{record.number}\t{t:.1f}\t{100 * command:.0f}\t{100 * feedback:.1f}"
                f"\t{'made' if made else 'open'}"
            )
    return "\n".join(lines)
