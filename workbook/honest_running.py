"""An honest job from the oil to the last stop: oil, first start, pull-down, loads, stop."""

from __future__ import annotations

from collections.abc import Iterator

from startkit.facts.machine import Machine
from workbook.honest_plant import HonestPlant
from workbook.people import ELECTRICIAN, TECHNICIAN
from workbook.start_cards import card, check, oil_at_start, stopped
from workbook.story import Chapter, Line, flat, moment, row, zero_rows

PHASE_CURRENTS = (1.004, 0.994, 1.001)  # shares of their mean


class HonestRunning(HonestPlant):
    """The chapters of the work with oil pump and compressor running."""

    # --- oil --------------------------------------------------------------------------------------

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
            Line(
                "lube.pre_lube", self._glanced_at(m.oil_rows(m.pre_lube_left, "left")), tag="PO-S"
            ),
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
        rested = (
            *stopped(2, moment("15 16:18:00"), "stopped by hand"),
            Line(
                "lube.coast_down",
                self._glanced_at(m.oil_rows(m.coast_down, "coast-down")),
                tag="PO-S",
            ),
            Line("lube.stopped", "0", "s"),
            Line("lube.at_rest", f"{m.truth.coast_down:.0f}", "s", "SW-1"),
        )
        return (
            Chapter("Oil at rest", "15 08:15", TECHNICIAN, before, pace=20),
            Chapter("Oil pump running", "15 08:40", TECHNICIAN, running, pace=20),
            Chapter("First ordinary stop", "15 16:25", TECHNICIAN, rested, pace=20),
        )

    def _glanced_at(self, block: str) -> str:
        """A record; without a recorder, what is written down from the panel every five seconds."""
        head, *rows = block.splitlines()
        glances = [row for row in rows if float(row.split("\t")[0]) % 5 == 0]
        return block if self.recorder else "\n".join([head, *glances])

    # --- start and pull-down ----------------------------------------------------------------------

    def _first_start(self) -> tuple[Chapter, ...]:
        m, motor = self.measured, self.sheet.motor
        inrush = self.si(motor.locked_rotor_current, "A") * inrush_share(self.sheet)
        settled = self.si(motor.full_load_current, "A") * 0.58
        run_up = self.si(motor.run_up_time, "s") * 0.92
        lines = (
            Line("first_start.run_up_time", f"{run_up:.1f}", "s", "SW-1"),
            *(
                Line(f"first_start.peak_l{n}", f"{inrush * share:.0f}", "A", "AM-1")
                for n, share in enumerate(PHASE_CURRENTS, 1)
            ),
            Line("first_start.peak_by", "recorder or analyser, RMS of each cycle"),
            Line("first_start.oil_lowest", f"{self._oil_differential - 4:.1f}", "kPa", "PD-1"),
            Line(
                "first_start.current_where",
                "between starter or drive and motor"
                if motor.starter == "variable-speed drive"
                else "in the supply, before starter or drive",
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
            *self._card(2, "15 11:52:00", 0.60),
            Line("trips.any", "no"),
        )
        bump = (
            Line("first_start.rotation", "right, by phase meter and pressure rise"),
            *self._card(1, "15 10:34:00", 1.0),
            *stopped(1, moment("15 10:34:02"), "bump"),
        )
        return (
            check(1, "15 10:28"),
            Chapter("Bump", "15 10:36", TECHNICIAN, bump, pace=10),
            check(2, "15 11:48"),
            Chapter("First start", "15 12:20", TECHNICIAN, lines, pace=4),
        )

    @property
    def _oil_differential(self) -> float:
        """[kPa] true."""
        circuit = self.measured.oil_circuit(self.measured.truth.zero_left)
        return circuit.true_differential / 1e3

    def _card(self, n: int, began: str, limit: float) -> tuple[Line, ...]:
        return card(n, moment(began), oil_at_start(self.measured, n), limit, "")

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

    # --- load and stop ---------------------------------------------------------------------------

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
        yield check(3, "16 08:38")
        third = self._card(3, "16 08:42:00", 1.0)
        yield Chapter("Third day", "16 08:50", TECHNICIAN, third, pace=10)
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
            *stopped(3, moment("16 15:31:00"), "stopped by hand"),
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
