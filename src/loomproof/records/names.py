"""Names that stand in the tables with a meaning of their own; who only asks imports no database for them."""

SIMULATED = "simulated bench"
"""How the chains of all simulated benches are called."""

SIMULATED_CHAIN = f"{SIMULATED} @ "
"""How the name of each such chain begins, before the station."""

WITHDRAWN = "withdrawn"
"""What stands for a cause where all that was said of a finding before does not hold (`withdrawn`)."""
