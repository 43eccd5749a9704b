"""Proves a vehicle wiring loom on the bench before a plug goes on.

A proof in ten lines, on a simulated bench with a broken wire in the loom (nothing is printed but what the
script prints, and nothing is driven before the loom is cleared for the bench):

>>> import loomproof as lp
>>> loom = lp.load("fixtures/tail_lamp")
>>> with lp.open_bench("sim:?fault=open%20W2", loom=loom) as bench:
...     job = lp.Job(loom, bench, adapter=lp.Adapter.in_order(loom), operator=lp.Unattended())
...     for event in job.prove():
...         pass
>>> print(job.proof.verdict, [finding.title for finding in job.proof.findings])
fail ['W2 (black/red) open between BODY:2 and LAMP:2']
>>> lp.Store().seal(job.proof).write_certificate("out/").suffixes[-2:]
['.fail', '.pdf']

Names are loaded when they are first used. What goes wrong is raised, as an error of `loomproof.errors`.
"""

from importlib import import_module

from loomproof.version import VERSION

__version__ = VERSION

__all__ = [
    "Adapter",
    "Document",
    "End",
    "Finding",
    "Job",
    "Loom",
    "Operator",
    "Proof",
    "Store",
    "Unattended",
    "check",
    "errors",
    "expect",
    "explain",
    "fit",
    "frames",
    "load",
    "open_bench",
    "plan",
    "plan_hookups",
    "simulate",
    "verify",
]

TYPE_CHECKING = False  # that of `typing`, which is not loaded for this alone
if TYPE_CHECKING:
    from loomproof import errors
    from loomproof.api import frames
    from loomproof.api.benches import open_bench, simulate
    from loomproof.api.looms import check, explain, load
    from loomproof.api.plans import plan, plan_hookups
    from loomproof.api.store import Store, fit, verify
    from loomproof.bench.adapter import Adapter
    from loomproof.electrics.expectation import expect
    from loomproof.jobs.job import Job, Proof
    from loomproof.jobs.operator import Operator, Unattended
    from loomproof.loom.model import End, Loom
    from loomproof.results.document import Document
    from loomproof.results.findings import Finding
else:
    _HOMES = {
        "loomproof.api.benches": ("open_bench", "simulate"),
        "loomproof.api.looms": ("check", "explain", "load"),
        "loomproof.api.plans": ("plan", "plan_hookups"),
        "loomproof.api.store": ("Store", "fit", "verify"),
        "loomproof.bench.adapter": ("Adapter",),
        "loomproof.electrics.expectation": ("expect",),
        "loomproof.jobs.job": ("Job", "Proof"),
        "loomproof.jobs.operator": ("Operator", "Unattended"),
        "loomproof.loom.model": ("End", "Loom"),
        "loomproof.results.document": ("Document",),
        "loomproof.results.findings": ("Finding",),
    }
    _HOME = {name: home for home, names in _HOMES.items() for name in names}
    _MODULES = {"errors": "loomproof.errors", "frames": "loomproof.api.frames"}

    def __getattr__(name):
        """Load a public name when it is first used; most need libraries that take their time."""
        if name in _MODULES:
            value = import_module(_MODULES[name])
        elif name in _HOME:
            value = getattr(import_module(_HOME[name]), name)
            import_module("loomproof.api")  # with it what a notebook shows
        else:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        globals()[name] = value
        return value

    def __dir__():
        return sorted({*globals(), *__all__})
