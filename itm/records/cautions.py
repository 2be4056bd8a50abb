"""Cautions, each shown once at the place where the act happens. They replace no permit."""

DEFER = (
    "Follow the site’s permit, the maker’s manual, the adopted code and licensed practice; stop "
    "if in doubt."
)
PREPARE = (
    "The test takes a fire protection system out of service. Tell the people on the list first, "
    "and have containment and the consent for the effluent in writing: foam on the ground may be "
    f"an offence where you are. {DEFER}"
)
DISCHARGE = (
    "High pressure, whipping hose, recoil of monitors: header tied down, people out. Foam hides "
    "steps and pits, is slippery, and high-expansion foam can suffocate. Energised equipment "
    "isolated before wetting. Pumps start without warning. Somebody at the drains. Foam may hold "
    f"PFAS: gloves, eye protection, all of it kept as waste. {DEFER}"
)
STOP = (
    "The order comes from the maker’s manual of this system. Out of order, water can run back into "
    f"the concentrate or concentrate into the lines. {DEFER}"
)
RESTORE = (
    "A valve left shut makes the system useless in a fire. End each line by sight and hand, with a "
    "second person where you can, and do not leave before the last line is back or handed over in "
    "writing. Tanks are pressure vessels: isolate, vent and prove zero pressure before opening; "
    f"never refill under water pressure. {DEFER}"
)
BENCH = (
    "Gloves and eye protection; no food at the bench. Concentrate irritates skin and eyes and may "
    f"hold PFAS: keep standards, samples, rinses and wipes as waste. {DEFER}"
)
MEASURE = (
    "The level of a pressurised tank is read at its own gauge and never through an opening. A "
    "tank or drum on a scale stands so that it can neither tip nor roll, within what the scale "
    "bears, its hoses loose. A "
    "meter goes into a line that is isolated, vented and proved empty. Another liquid than "
    "concentrate leaves lines that hold no foam: flush them, fill them with concentrate and prove "
    f"it before the system is back. {DEFER}"
)
LOOK = (
    "Nothing is opened or set anew on a system in service. Isolate, vent and prove zero pressure "
    "first; concentrate burns eyes and skin. Test again after any change: as found and as left are "
    f"one result each. {DEFER}"
)
TANK = (
    "Isolate the tank, vent it and prove zero pressure before opening; never refill under water "
    "pressure. Nobody enters a tank without a permit and a test of its air. Concentrate irritates "
    "skin and eyes and may hold PFAS: gloves, eye protection, and what comes out, rinse water too, "
    f"is kept as waste. {DEFER}"
)
INSPECT = (
    "Valves, pumps and drains are under pressure and may discharge. Agree with whoever runs the "
    f"plant before anything is moved. {DEFER}"
)
EFFLUENT = (
    "What came out may be an offence to let go: never into a sewer or a drain without consent in "
    "writing, and a release may have to be told at once. What touched concentrate with PFAS, "
    f"flush water and wipes too, is waste of the same kind. {DEFER}"
)
