"""Cautions: what can hurt, in one sentence each; every one of them leaves the decision to local
code, maker and licensed people.
"""

from __future__ import annotations

STORED_ENERGY = (
    "Stored energy: lock and tag every source, let pressure, springs and capacitors down, and try"
    " that it is dead before you touch it. Local code and the maker's manual say how; only licensed"
    " people release it."
)
LIVE_PANELS = (
    "Live panels: shock and arc flash. Only licensed people open and measure in them, with the"
    " protection that local code asks for; prove the meter on a known source before and after."
)
ROTATING = (
    "Rotating parts: keep clear of shafts, couplings and linkages, which move without warning."
    " Guards stay on; the maker's manual and licensed practice say when they may come off."
)
REFRIGERANT = (
    "Refrigerant: it displaces air near the floor and burns cold skin. Work with detector and"
    " ventilation running and never alone; local code and the safety data sheet decide on breathing"
    " protection, licensed people handle the charge."
)
PRESSURE_TEST = (
    "Pressure test with gas: dry nitrogen through a regulator and a relief device, never oxygen or"
    " air; stand clear and raise it in steps. Test pressure and procedure come from local code, the"
    " maker's manual and licensed people."
)
FREEZING = (
    "Freezing: while a machine is evacuated, charged or emptied, refrigerant boils below the"
    " freezing point of water and bursts tubes. Drain the water or run its pumps, and charge gas"
    " only until the saturation temperature is above freezing. Local code, the maker's manual and"
    " licensed people come first."
)
LIFTING = (
    "Lifting: nobody stands under a load. Lifting gear, points and persons as local code, the"
    " maker's manual and a licensed rigger say."
)
HIGH_VOLTAGE_TEST = (
    "Insulation test: the winding stays charged; ground it long enough afterwards. Never test a"
    " hermetic motor under vacuum: it arcs over inside. Local code, the motor maker's manual and"
    " licensed people come first."
)
WATER_CIRCUITS = (
    "Water circuits: pumps start by themselves and water may be hot, under pressure or treated."
    " Local code, the maker's manual and licensed people come first."
)
SAFETIES = (
    "Safeties: never bridge one to go on working. Whoever defeats one for its test stays beside the"
    " machine and restores it; the maker's manual and licensed people say how."
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
