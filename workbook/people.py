"""Who is on the job and what they measure with. Every name is invented; any likeness is chance."""

from __future__ import annotations

from workbook.sensors_model import Sensor

TECHNICIAN, ELECTRICIAN = "Ngozi Halvorsen", "Tomasz Aweke"
WITNESS, ENGINEER = "Leilani Marchetti-Rao", "Yusuf Brandt-Ito"
FIRM, OWNER, CONSULTANT = "Plinth and Petrel Cooling Service", "Skerrow and Alder Estates", "Ninefold Commissioning Partners"

PEOPLE = (
    (TECHNICIAN, "technician", FIRM),
    (ELECTRICIAN, "electrician", FIRM),
    (WITNESS, "owner's witness", OWNER),
    (ENGINEER, "commissioning engineer", CONSULTANT),
)

_C = {"kind": "temperature", "unit": "°C", "difference_unit": "K", "digits": 2}
_KPA_G = {"kind": "gauge pressure", "unit": "kPa gauge", "difference_unit": "kPa", "digits": 1}

# The readings of CH-1 come from these.
SENSORS = {sensor.tag: sensor for sensor in (
    Sensor("TW-1", "Water thermometer, evaporator entering", "PT-60311", constant=0.10, noise=0.010, pair="TW-2", pair_constant=0.04, span=(-10, 60), due="2026-11-30", **_C),
    Sensor("TW-2", "Water thermometer, evaporator leaving", "PT-60312", constant=0.10, noise=0.010, pair="TW-1", pair_constant=0.04, span=(-10, 60), due="2026-11-30", **_C),
    Sensor("TW-3", "Water thermometer, condenser entering", "PT-60313", constant=0.10, noise=0.010, pair="TW-4", pair_constant=0.04, span=(-10, 60), due="2026-11-30", **_C),
    Sensor("TW-4", "Water thermometer, condenser leaving", "PT-60314", constant=0.10, noise=0.010, pair="TW-3", pair_constant=0.04, span=(-10, 60), due="2026-11-30", **_C),
    Sensor("TR-1", "Clamp thermometer, refrigerant lines", "CT-2207", constant=0.5, noise=0.1, span=(-40, 120), due="2026-09-30", **{**_C, "digits": 1}),
    Sensor("TO-1", "Machine's oil thermometer", "built in", constant=0.8, noise=0.1, span=(-20, 120), due="2027-03-31", **{**_C, "digits": 1}),
    Sensor("PE-1", "Gauge, evaporator", "DG-8841", constant=1.5, noise=0.2, span=(-100, 1000), due="2026-08-31", **_KPA_G),
    Sensor("PC-1", "Gauge, condenser", "DG-8842", constant=2.5, noise=0.3, span=(-100, 2500), due="2026-08-31", **_KPA_G),
    Sensor("PO-S", "Machine's oil supply transducer", "built in", constant=3.0, noise=0.3, span=(0, 2000), due="2027-03-31", **_KPA_G),
    Sensor("PO-P", "Machine's oil sump transducer", "built in", constant=3.0, noise=0.3, span=(0, 2000), due="2027-03-31", **_KPA_G),
    Sensor("PD-1", "Gauge, differential pressure, oil", "DG-3120", "pressure difference", "kPa", constant=1.5, noise=0.2, span=(0, 400), due="2026-08-31"),
    Sensor("PW-1", "Gauge, water pressure drop", "DG-3117", "pressure drop", "kPa", constant=0.4, noise=0.1, span=(0, 200), due="2026-08-31"),
    Sensor("FW-1", "Ultrasonic meter, chilled water", "UF-5150", "flow", "L/s", of_reading=0.010, noise=0.1, span=(0, 200), due="2027-01-31"),
    Sensor("FW-2", "Ultrasonic meter, condenser water", "UF-5151", "flow", "L/s", of_reading=0.010, noise=0.1, span=(0, 200), due="2027-01-31"),
    Sensor("WM-1", "Power analyser on the feeder", "PA-0920", "power", "kW", constant=0.3, of_reading=0.005, noise=0.1, span=(0, 600), due="2026-10-31"),
    Sensor("AM-1", "Power analyser, current", "PA-0920", "current", "A", constant=0.5, of_reading=0.005, noise=0.3, span=(0, 3000), due="2026-10-31"),
    Sensor("VM-1", "Power analyser, voltage", "PA-0920", "voltage", "V", constant=0.5, of_reading=0.002, noise=0.2, span=(0, 1000), due="2026-10-31"),
    Sensor("VP-1", "Machine's vane feedback", "built in", "percent", "%", constant=0.5, noise=0.0, span=(0, 100), due="2027-03-31"),
    Sensor("SW-1", "Stopwatch", "SW-14", "time", "s", constant=0.3, noise=0.0, due="2027-02-28"),
    Sensor("VB-1", "Vibration meter", "VB-771", "vibration", "mm/s", constant=0.05, of_reading=0.05, noise=0.03, digits=2, span=(0, 50), due="2026-12-31"),
    Sensor("PN-1", "Test gauge, nitrogen", "TG-0412", "gauge pressure", "kPa gauge", difference_unit="kPa", constant=2.0, noise=0.2, span=(0, 2500), due="2026-10-31"),
    Sensor("TN-1", "Contact thermometer, shells", "CT-2210", constant=0.3, noise=0.05, span=(-20, 80), due="2026-09-30", **{**_C, "digits": 1}),
    Sensor("VG-1", "Electronic vacuum gauge", "VG-5501", "vacuum", "Pa", of_reading=0.05, noise=0.2, span=(0, 3000), due="2026-12-31"),
    Sensor("SC-1", "Platform scale", "PS-880", "mass", "kg", constant=0.2, noise=0.05, span=(0, 300), due="2026-11-30"),
    Sensor("IR-1", "Insulation tester", "IT-302", "insulation", "MΩ", of_reading=0.05, noise=0.0, digits=0, span=(0, 10000), due="2027-01-31"),
    Sensor("TQ-1", "Torque wrench", "TQ-77", "torque", "N·m", of_reading=0.04, noise=0.0, digits=0, span=(10, 200), due="2026-08-31"),
    Sensor("TB-1", "Reference thermometer", "RT-101", constant=0.05, noise=0.01, span=(-20, 80), due="2026-11-30", **_C),
    Sensor("BA-1", "Barometer", "BM-19", "barometer", "kPa", constant=0.05, digits=2, span=(60, 110), due="2026-12-31"),
)}
