"""Before anything is energised: tightness and charge, electrical, controls, water.

A hold of nitrogen over a cool night, a rise test that is tight, a charge by weight; a winding, a
supply, bolted joints; sensors against references, one of which is corrected; safeties seen to trip;
water circuits, one of them with a strainer still full of what flushing left behind.
"""

from __future__ import annotations

import math

import numpy as np

from workbook.measured import Measured
from workbook.people import ELECTRICIAN, TECHNICIAN
from workbook.sensors_model import stream
from workbook.story import Chapter, Line, flat, row

FITTERS = "From the fitters' signed sheet of 9 to 13 April; instruments checked."
TEST_PRESSURE, WARM, COLD = (
    1145.0,
    22.4,
    17.9,
)  # kPa gauge, °C at the start and at the end of the hold
BAROMETERS = 101.42, 100.87  # kPa at both ends
VESSEL = 3.9  # m³ on the refrigerant side
CHARGE = 610.0
CELSIUS = 273.15


def before_the_pump(m: Measured) -> tuple[Chapter, ...]:
    """All chapters of this part, in order."""
    return (*tightness(m), *electrical(m), *water(m), *controls(m))


# --- tightness and charge ------------------------------------------------------------------------


def tightness(m: Measured) -> tuple[Chapter, ...]:
    """Nitrogen held over two nights, a leak found by soap and closed, a rise test, the charge."""
    end = (TEST_PRESSURE + BAROMETERS[0]) * (COLD + CELSIUS) / (WARM + CELSIUS) - BAROMETERS[1]
    ends = hold_ends(m, (TEST_PRESSURE, end), (WARM, COLD), BAROMETERS)
    hold = (
        Line("tightness.scope", "opened, or shipped without its charge", note=FITTERS),
        Line("tightness.test_gas", "dry nitrogen"),
        Line("tightness.test_regulator", "yes"),
        Line(
            "tightness.test_kind",
            "leak test, vessels tested at the factory",
            note="At the maker's leak-test pressure, below the relief setting.",
        ),
        *ends,
        Line(
            "tightness.temperature_spread",
            "0.6",
            "K",
            note="Shutters closed, machine at rest since the day before.",
        ),
        Line("tightness.gauge_left", "yes"),
        Line("tightness.test_volume", f"{VESSEL * 1000:.0f}", "L", note="Maker's manual."),
        Line("tightness.joints", "yes", note="Soap, two people, at 400 kPa and at full pressure."),
        *row(
            "tightness.leaks",
            1,
            {
                "place": "Flange of the liquid line's sight glass",
                "method": "soap",
                "repaired": "yes",
                "tight": "yes",
                "who": "Tomasz Aweke",
            },
            note="Before the hold began.",
        ),
    )
    vacuum = (
        Line("tightness.shut_off", _pa(m, 31.0, "shut off"), "Pa", "VG-1"),
        Line("tightness.coldest", m.shows("TN-1", 18.6, "coldest"), "°C", "TN-1"),
        Line("tightness.rise", rise(m), tag="VG-1"),
        Line("tightness.freezing_guarded", "yes", note="Both water sides drained."),
    )
    return (
        Chapter("Tightness", "14 08:57", TECHNICIAN, hold, pace=12),
        Chapter("Evacuation", "14 09:02", TECHNICIAN, vacuum, pace=20),
        Chapter("Charge", "14 09:05", TECHNICIAN, cylinders(m), pace=6),
    )


def hold_ends(
    m: Measured,
    pressures: tuple[float, float],
    temperatures: tuple[float, float],
    barometers: tuple[float, float],
) -> tuple[Line, ...]:
    """Pressure [kPa gauge], temperature [°C] and barometer [kPa] read at both ends of the hold."""
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
                    m.shows("BA-1", barometer, "hold", which),
                    "kPa",
                    "BA-1",
                ),
            )
            for which, at, pressure, warmth, barometer in zip(
                ("start", "end"),
                ("2026-04-10 16:00", "2026-04-12 07:30"),
                pressures,
                temperatures,
                barometers,
                strict=True,
            )
        )
    )


def _pa(m: Measured, pascal: float, *names: str | int) -> str:
    return m.shows("VG-1", pascal, *names)


def rise(m: Measured) -> str:
    """Pressure after shut-off: the last water leaves the walls and levels off; nothing leaks."""
    noise = stream(m.seed, "rise")
    rows = [
        f"{t}\t{31.0 + 9.0 * (1 - math.exp(-t / 25.0)) + noise.normal(0, 0.15):.1f}"
        for t in range(0, 125, 5)
    ]
    return "time (min)\tpressure (Pa)\n" + "\n".join(rows)


def cylinders(m: Measured) -> tuple[Line, ...]:
    """Eight cylinders weighed before and after."""
    drawn = stream(m.seed, "cylinders")
    taken = np.append(drawn.uniform(74.0, 77.0, 7), 0.0)
    taken[-1] = CHARGE - taken.sum() + 1.1
    lines = []
    for n, mass in enumerate(taken, 1):
        full = 88.0 + drawn.uniform(0, 2)
        lines += row(
            "tightness.cylinders",
            n,
            (
                ("number", f"N{4470 + n}"),
                ("label", "R-134a"),
                ("before", m.shows("SC-1", full, "before", n), "kg", "SC-1"),
                ("after", m.shows("SC-1", full - mass, "after", n), "kg", "SC-1"),
            ),
        )
    return (
        *lines,
        Line("tightness.residue", "1.1", "kg", note="Hoses emptied into the recovery cylinder."),
    )


# --- electrical ----------------------------------------------------------------------------------


def electrical(m: Measured) -> tuple[Chapter, ...]:
    """A sound winding, a near even supply, joints to their torque."""
    winding = (
        Line("electrical.winding_system", "thermosetting"),
        Line("electrical.winding_kind", "random-wound"),
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
                ("test_voltage", "500", "V"),
                ("one_minute", m.shows("IR-1", 940.0, "one minute"), "MΩ", "IR-1"),
                ("ten_minutes", m.shows("IR-1", 2610.0, "ten minutes"), "MΩ", "IR-1"),
            ),
            note="Drive disconnected.",
        ),
        Line("electrical.discharged", "yes", note="Grounded for 45 minutes."),
    )
    supply = (
        *(
            Line(f"electrical.{name}", m.shows("VM-1", volts + 0.9, "at rest", name), "V", "VM-1")
            for name, volts in zip(("v12", "v23", "v31"), m.truth.voltages, strict=True)
        ),
        Line("electrical.frequency", "60.01", "Hz"),
        Line("electrical.rotation", "in the order that the motor's marking asks"),
        *flat(
            *(
                row(
                    "electrical.connections",
                    n,
                    (
                        ("place", place),
                        ("specified", torque, "N·m"),
                        ("applied", torque, "N·m", "TQ-1"),
                        ("marked", "yes"),
                        ("who", ELECTRICIAN),
                    ),
                )
                for n, (place, torque) in enumerate(
                    (
                        ("Supply to drive, L1 to L3", "54"),
                        ("Drive to motor, T1 to T3", "54"),
                        ("Earth, drive and motor", "30"),
                    ),
                    1,
                )
            )
        ),
        Line("electrical.control_rated", "120", "V"),
        Line("electrical.control_voltage", m.shows("VM-1", 121.3, "control"), "V", "VM-1"),
        Line("electrical.starter_seen", "variable-speed drive"),
        Line("electrical.starter_limit", "100", "%"),
        *flat(
            *(
                (Line(f"electrical.{item}", "yes"), Line(f"electrical.{item}_by", ELECTRICIAN))
                for item in ("wiring", "fuses", "earth", "emergency_stop")
            )
        ),
        *(Line(f"electrical.{item}", "yes") for item in ("taps", "heaters", "covers")),
        Line("electrical.covers_photo", "photographs/terminal-box.svg"),
        Line("electrical.capacitors", "yes", note="None, as drawn."),
    )
    return (
        Chapter("Winding", "14 09:12", ELECTRICIAN, winding, pace=15),
        Chapter("Supply and joints", "14 09:16", ELECTRICIAN, supply, pace=8),
    )


# --- water ----------------------------------------------------------------------------------------


def water(m: Measured) -> tuple[Chapter, ...]:
    """Both circuits; the condenser's strainer is found half blocked, cleaned, and its drop read
    again.
    """
    evaporator = _circuit(m, "evaporator", 12.4, 58.0, 76.3, 5.1)
    blocked = (
        Line("water.condenser_strainer_drop", m.shows("PW-1", 41.0, "blocked"), "kPa", "PW-1"),
    )
    condenser = _circuit(m, "condenser", 21.8, 64.0, 95.0, 6.3)
    again = tuple(
        (
            Line(
                line.what,
                line.value,
                line.unit,
                line.tag,
                "Strainer opened: rust and a glove from flushing. Cleaned, read again.",
            )
            if line.what == "water.condenser_strainer_drop"
            else line
        )
        for line in condenser
    )
    return (
        Chapter("Chilled water", "14 09:25", TECHNICIAN, evaporator, pace=10),
        Chapter("Condenser water, as found", "14 09:29", TECHNICIAN, blocked, pace=10),
        Chapter("Condenser water", "14 09:33", TECHNICIAN, again, pace=10),
    )


def _circuit(
    m: Measured, name: str, warmth: float, drop: float, flow: float, strainer: float
) -> tuple[Line, ...]:
    """One circuit near its design point; the switch opens at seven tenths of design flow."""
    meter = "FW-1" if name == "evaporator" else "FW-2"
    part = 0.985
    return (
        Line(f"water.{name}_fluid", "water"),
        Line(f"water.{name}_temperature", m.shows("TB-1", warmth, name), "°C", "TB-1"),
        Line(f"water.{name}_drop", m.shows("PW-1", drop * part**2, name, "drop"), "kPa", "PW-1"),
        Line(f"water.{name}_swing", "0.8", "kPa"),
        Line(f"water.{name}_strainer_inside", "no"),
        Line(
            f"water.{name}_strainer_drop",
            m.shows("PW-1", strainer, name, "strainer"),
            "kPa",
            "PW-1",
        ),
        Line(f"water.{name}_strainer_clean", "yes"),
        Line(f"water.{name}_air", "yes"),
        Line(f"water.{name}_meter", m.shows(meter, flow * part, name, "meter"), "L/s", meter),
        Line(
            f"water.{name}_opens_drop",
            m.shows("PW-1", drop * 0.70**2, name, "opens"),
            "kPa",
            "PW-1",
        ),
        Line(
            f"water.{name}_closes_drop",
            m.shows("PW-1", drop * 0.78**2, name, "closes"),
            "kPa",
            "PW-1",
        ),
    )


# --- controls -------------------------------------------------------------------------------------

# Sensor, true temperature, and what the controls add to it before and after the offset [K].
_TEMPERATURES = (
    ("Chilled water leaving", 12.41, 0.62, -0.62),
    ("Chilled water entering", 12.46, 0.04, None),
    ("Condenser water leaving", 21.77, -0.06, None),
    ("Condenser water entering", 21.80, 0.05, None),
)


def controls(m: Measured) -> tuple[Chapter, ...]:
    """Sensors against references, safeties and interlocks seen to act."""
    return (
        Chapter("Sensors", "14 09:42", TECHNICIAN, _sensors(m), pace=6),
        Chapter("Safeties", "14 09:49", TECHNICIAN, safeties(), pace=4),
        # With the oil pump running and the vanes at hand, and the motor circuit still locked out.
        Chapter("Starts refused", "15 09:55", TECHNICIAN, refusals(), pace=40),
    )


def _sensors(m: Measured) -> tuple[Line, ...]:
    """One thermometer reads high as found; its offset is set and it is read again."""
    lines: list[Line] = []
    for n, (name, truth, error, offset) in enumerate(_TEMPERATURES, 1):
        cells = [
            ("sensor", name),
            ("panel", f"{truth + error:.2f}", "°C"),
            ("reference", m.shows("TB-1", truth, "sensor", n), "°C", "TB-1"),
            ("accuracy", "0.15", "K"),
        ]
        if offset is not None:
            cells += [
                ("offset", f"{offset:.2f}", "K"),
                ("left_panel", f"{truth + error + offset:.2f}", "°C"),
                ("left_reference", m.shows("TB-1", truth, "left", n), "°C", "TB-1"),
            ]
        lines += row("controls.temperature_sensors", n, cells)
    still = m.resting_pressure / 1e3 - m.truth.barometer
    for n, (name, tag, error) in enumerate(
        (("Evaporator", "PE-1", 1.8), ("Condenser", "PC-1", -2.1)), 1
    ):
        lines += row(
            "controls.pressure_sensors",
            n,
            (
                ("sensor", f"{name} pressure"),
                ("panel", f"{still + error:.1f}", "kPa gauge"),
                ("reference", m.shows(tag, still, "sensor", n), "kPa gauge", tag),
                ("accuracy", "6", "kPa"),
            ),
        )
    return tuple(lines)


def safeties() -> tuple[Line, ...]:
    brought, at_sensor = "condition brought about", "simulated at the sensor"
    pressures = (
        ("high condenser pressure", "1140", "rising", "1138", at_sensor),
        ("low evaporator pressure", "205", "falling", "204.1", at_sensor),
    )
    temperatures = (
        ("low leaving chilled water", "3.0", "falling", "2.9", at_sensor),
        ("high motor winding temperature", "110", "rising", "110.4", at_sensor),
        ("high discharge temperature", "75", "rising", "75.3", at_sensor),
        ("high oil temperature", "80", "rising", "79.6", at_sensor),
    )
    acted = (
        "evaporator water flow",
        "condenser water flow",
        "emergency stop",
        "chilled water pump",
        "condenser water pump",
        "refrigerant detector",
    )
    return flat(
        *(
            _safety("pressure_safeties", n, "kPa gauge", *each)
            for n, each in enumerate(pressures, 1)
        ),
        *(
            _safety("temperature_safeties", n, "°C", *each)
            for n, each in enumerate(temperatures, 1)
        ),
        _safety(
            "current_safeties", 1, "%", "motor overcurrent", "108", "rising", "108.2", at_sensor
        ),
        *(
            row(
                "controls.interlocks",
                n,
                {
                    "safety": name,
                    "seen": "yes",
                    "method": brought,
                    "reset": "by hand",
                    "who": TECHNICIAN,
                },
            )
            for n, name in enumerate(acted, 1)
        ),
    )


def refusals() -> tuple[Line, ...]:
    """Starts that the controls refused, each with one thing missing."""
    really = "refused, condition really missing"
    return (
        *(
            Line(f"controls.refused_{name}", really)
            for name in ("vanes", "oil", "evaporator", "condenser")
        ),
        Line("controls.refused_timer", "refused, condition simulated"),
        Line("controls.refused_by", TECHNICIAN),
    )


def _safety(
    table: str,
    index: int,
    unit: str,
    name: str,
    setting: str,
    direction: str,
    seen: str,
    method: str,
) -> tuple[Line, ...]:
    return row(
        f"controls.{table}",
        index,
        (
            ("safety", name),
            ("setting", setting, unit),
            ("direction", direction),
            ("seen", seen, unit),
            ("method", method),
            ("reset", "by hand"),
            ("who", TECHNICIAN),
        ),
    )
