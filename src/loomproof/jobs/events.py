"""What jobs yield and who answers them, for front ends: they know jobs, and no bench."""

from loomproof.jobs.operator import Operator, ScriptedOperator, SimulatorOperator, Unattended
from loomproof.measuring.events import (
    ContactMoved,
    Event,
    Finished,
    NetsFound,
    Progress,
    Prompt,
    Reading,
    Touched,
    finish,
)
from loomproof.results.measured import Judged, JudgedDiode

__all__ = [
    "ContactMoved",
    "Event",
    "Finished",
    "Judged",
    "JudgedDiode",
    "NetsFound",
    "Operator",
    "Progress",
    "Prompt",
    "Reading",
    "ScriptedOperator",
    "SimulatorOperator",
    "Touched",
    "Unattended",
    "finish",
]
