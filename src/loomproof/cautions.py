"""The usual cautions, in one place: shown before a proof, on certificates and on fitting sheets."""

BEFORE_A_PROOF = (
    "Disconnect and remove the battery; no supply may reach the loom.",
    "Unplug every control unit and sensor; a scanner puts current into whatever is plugged in.",
    "Never connect airbag, belt-tensioner or other pyrotechnic circuits to a bench.",
    "No fuel lines open and no fuel vapour where the loom is tested.",
    "Local rules and the vehicle maker's instructions come first; where they ask for licensed or trained "
    "people, leave the work to them.",
)

WITH_A_METER = (
    "A meter drives current too, enough to fire a squib: what is said of pyrotechnic circuits holds for it.",
    "First look for volts, on the voltage range. Only when there are none set the meter to beep or ohms.",
    "Lay the probe's tip on the edge or face of a contact; never force it into a socket, which spreads it. A "
    "thin probe beside the wire from the back of the plug touches the contact from behind: push no seal "
    "aside for good and pierce no insulation. A spare mating terminal on a lead is better than both.",
    "Scratch through dirt and oxide; touch one contact at a time, and hold neither tip with bare fingers.",
)

WITHOUT_A_LOOM = (
    "No loom is on the bench: only the adapter, with nothing, a shorting plug or reference resistors on it.",
    "No supply may reach the points, and the scanner's 0 V never goes to mains earth.",
)

BEFORE_AN_INSULATION_TEST = (
    "Nobody touches the loom, its plugs or the adapter from now until the test says that it has ended.",
    "Nothing but the adapter is plugged in anywhere: no control unit, sensor, lamp or filter.",
    "Above 60 V d.c. a shock can hurt, and a charged loom keeps its charge: the bench discharges it after "
    "each reading; where the line fails, switch the bench off, wait, and discharge through a resistor.",
    "Local rules on tests with dangerous voltages come first; where they ask for licensed or trained "
    "people, leave the work to them.",
)

LIMITS_OF_THE_TEST = (
    "A test at a few milliamps does not show broken strands, weak crimps or chafed insulation that does "
    "not touch yet.",
    "It does not show how the loom behaves hot, wet, shaken or under load.",
)
