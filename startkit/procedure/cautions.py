"""Cautions: what can hurt, in one sentence each; every one of them leaves the decision to local
code, maker and licensed people.
"""

from __future__ import annotations

STORED_ENERGY = (
    "Stored energy: lock and tag every source, release pressure, springs and capacitors, and test"
    " for zero energy before you touch it. Follow local code and the maker's manual; only"
    " licensed people release it."
)
LIVE_PANELS = (
    "Live panels: shock and arc flash. Only licensed people open them and measure inside, with"
    " the protection required by local code; prove the meter on a known source before and after."
)
ROTATING = (
    "Rotating parts: keep clear of shafts, couplings and linkages, which move without warning."
    " Guards stay on; remove them only as the maker's manual and licensed practice allow."
)
REFRIGERANT = (
    "Refrigerant: it displaces air near the floor and freezes skin. Work with detector and"
    " ventilation running and never alone; local code and the safety data sheet decide on"
    " breathing protection; only licensed people handle the charge."
)
PRESSURE_TEST = (
    "Pressure test with gas: dry nitrogen through a regulator and a relief device, never oxygen"
    " or air; stand clear and raise it in steps. Test pressure and procedure come from local"
    " code, the maker's manual and licensed practice."
)
FREEZING = (
    "Freezing: while a machine is evacuated, charged or emptied, refrigerant boils below the"
    " freezing point of water and bursts tubes. Drain the water or run its pumps, and charge gas"
    " only until the saturation temperature is above freezing. Local code, the maker's manual and"
    " licensed people come first."
)
LIFTING = (
    "Lifting: keep out from under the load. Lifting gear, lifting points and crew as required by"
    " local code, the maker's manual and a licensed rigger."
)
HIGH_VOLTAGE_TEST = (
    "Insulation test: the winding stays charged; ground it long enough afterwards. Never test a"
    " hermetic motor under vacuum: it flashes over inside. Local code, the motor maker's manual"
    " and licensed people come first."
)
WATER_CIRCUITS = (
    "Water circuits: pumps may start automatically, and water may be hot, under pressure or"
    " treated. Local code, the maker's manual and licensed people come first."
)
SAFETIES = (
    "Safeties: never bridge one to keep running. Anyone who defeats one for its test stays at the"
    " machine and restores it; follow the maker's manual; licensed people only."
)
EVERY = (
    STORED_ENERGY,
    LIVE_PANELS,
    ROTATING,
    REFRIGERANT,
    PRESSURE_TEST,
    FREEZING,
    LIFTING,
    HIGH_VOLTAGE_TEST,
    WATER_CIRCUITS,
    SAFETIES,
)
