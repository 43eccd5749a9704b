"""What jobs yield and who answers them, for front ends: they know jobs, and no bench."""

from loomproof.jobs.operator import Operator, ScriptedOperator, SimulatorOperator, Unattended
from loomproof.measuring.events import (
    ContactMoved,
    Event,
    Finished,
    Lifted,
    NetsFound,
    Progress,
    Prompt,
    Reading,
    TouchAsked,
    Touched,
    WatchBegins,
    finish,
)
from loomproof.naming.screen import Shown
from loomproof.results.measured import Judged, JudgedDiode
from loomproof.results.wiggled import Change, Moved

__all__ = [
    "Change",
    "ContactMoved",
    "Event",
    "Finished",
    "Judged",
    "JudgedDiode",
    "Lifted",
    "Moved",
    "NetsFound",
    "Operator",
    "Progress",
    "Prompt",
    "Reading",
    "ScriptedOperator",
    "Shown",
    "SimulatorOperator",
    "TouchAsked",
    "Touched",
    "Unattended",
    "WatchBegins",
    "finish",
]
