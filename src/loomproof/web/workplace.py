"""Where a server works: the looms of its folder, the benches and adapters that it may use, where results go.

All of it is said when the server starts, but for benches where none is named then: those are the workshop's
own, and what is found. A request only ever picks one of these by its name.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

from loomproof.errors import DescriptionError, LoomproofError, UsageError, suggestion
from loomproof.jobs.about import ports
from loomproof.jobs.adapters import Adapter, read_adapter
from loomproof.jobs.simulated_probe import Probe
from loomproof.jobs.workshop import find
from loomproof.loom import harness_file, importers
from loomproof.loom.reading import WORKBOOKS, load

SIMULATED = "sim:"
IN_ORDER = "in-order"
LEARNED = ".adapter"
"""What the name of a learned adapter table has between that of its loom and its number."""


@dataclass(frozen=True)
class Workplace:
    """``looms`` is a folder of looms, or one loom; ``benches`` and ``adapters`` were named at the start.

    ``adapters`` gives tables by the names they go by here. ``mend`` mends the loom of a demonstration, and
    ``probe`` holds the probe of its bench.
    """

    looms: Path
    out: Path
    store: str | None = None
    benches: tuple[str, ...] = ()
    adapters: Mapping[str, Adapter | str] = field(default_factory=dict)
    mend: Callable[[], str] | None = None
    probe: Probe | None = None

    @property
    def folder(self) -> Path:
        """Where looms are kept that are brought here: the folder of looms, else one among the results."""
        return self.out / "looms" if _is_loom(self.looms) else self.looms

    def found(self) -> dict[str, Path]:
        """Return the looms by name: the one that was given, and those in the folder."""
        one = {self.looms.name: self.looms} if _is_loom(self.looms) else {}
        if not self.folder.is_dir():
            return one
        return {path.name: path for path in sorted(self.folder.iterdir()) if _is_loom(path)} | one

    def loom(self, name: str) -> Path:
        """Return where a loom is. Raises `UsageError` for a name that is none here."""
        found = self.found()
        if name not in found:
            near = suggestion(name, found) or "The start page lists the looms of the folder."
            raise UsageError(f"{name}: there is no loom of that name in {self.looms}", cure=near)
        return found[name]

    def described(self, run: str, digest: str) -> str:
        """Return the name here of the description that a run was proved against. Raises `UsageError`."""
        for name, path in self.found().items():
            # A description with errors is none that was proved as it stands.
            with contextlib.suppress(LoomproofError):
                if load(path).loom.digest == digest:
                    return name
        raise UsageError(
            f"the loom that run {run} was proved against is not in {self.looms}, or was changed since",
            cure="Prove the loom again as it is described now.",
        )

    def offered(self, loom: Path) -> dict[str, str]:
        """Return the benches that a page offers for a loom, with what each is. Raises as `find` does.

        Where the server's start named some: those alone. Else the workshop's own, a hand meter left out (a
        page takes no answers for one), the serial ports of this machine, and a simulated one.
        """
        if self.benches:
            what = "named for this server" if self.mend is None else "the demo's simulated bench"
            return dict.fromkeys(self.benches, what)
        bench = find(loom).workshop.bench
        named = {bench: "named in workshop.toml"} if bench and not bench.startswith("hand:") else {}
        serial = {f"serial:{device}": text for device, text in ports()}
        return {**named, **serial, SIMULATED: "a simulated scanner with this loom on it, without faults"}

    def bench(self, said: str, loom: Path) -> str:
        """Return the address that a request means: one that is offered.

        Raises `UsageError` for any other: an address may name files, and no request names one.
        """
        if said in self.offered(loom):
            return said
        raise UsageError(
            f"{said}: a page may ask for no bench at this address",
            cure="Pick one that is offered. Any other is named when the server starts.",
        )

    def adapter(self, said: str) -> Adapter | str | None:
        """Return the adapter that a request means, ``None`` for none named. Raises `UsageError`."""
        if said in ("", IN_ORDER):
            return said or None
        known = {**{path.name: str(path) for path in self._learned()}, **self.adapters}
        if said not in known:
            raise UsageError(
                f"{said}: there is no adapter of that name here",
                cure=suggestion(said, known) or "Name its table when the server starts.",
            )
        return known[said]

    def fitting(self, loom: str) -> str:
        """Return the first adapter named at the start whose leads all go to this loom; "" for none."""
        for name, table in self.adapters.items():
            with contextlib.suppress(LoomproofError):  # what can't be read is told once it is picked
                leads = table if isinstance(table, Adapter) else read_adapter(Path(table))
                if {lead.end for lead in leads.entries} <= set(load(self.loom(loom)).loom.cavities):
                    return name
        return ""

    def learned(self, loom: str) -> dict[str, Path]:
        """Return the adapter tables that were learned here for a loom, by their names."""
        begins = _stem(self.loom(loom)) + LEARNED
        return {path.name: path for path in self._learned() if path.name.startswith(begins)}

    @property
    def tables(self) -> tuple[str, ...]:
        """The names of all adapter tables: those named at the start, then those that were made here."""
        return (*self.adapters, *(path.name for path in self._learned() if path.name not in self.adapters))

    def new_table(self, loom: str) -> Path:
        """Return where a new adapter table of a loom goes: a name that is free. Raises as `loom` does."""
        return self.free_table(_stem(self.loom(loom)))

    def free_table(self, stem: str) -> Path:
        """Return where a new adapter table goes of a loom that is called so, or will be."""
        taken = {path.name for path in self._learned()}
        numbers = (f"-{number}" if number > 1 else "" for number in count(1))
        return next(
            self.out / name for each in numbers if (name := f"{stem}{LEARNED}{each}.csv") not in taken
        )

    def _learned(self) -> list[Path]:
        return sorted(self.out.glob(f"*{LEARNED}*.csv")) if self.out.is_dir() else []


def _stem(loom: Path) -> str:
    return loom.name if loom.is_dir() else loom.stem


def _is_loom(path: Path) -> bool:
    """Say whether this may be a loom, by its name and what lies in it; nothing is read."""
    if path.is_dir():
        return (path / "loom.toml").is_file() or (path / "wires.csv").is_file()
    kind = path.suffix.casefold()
    return path.is_file() and (kind in WORKBOOKS or harness_file.is_one(path) or importers.reads(path))


def refuse_none(workplace: Workplace) -> None:
    """Refuse what is neither a folder, which looms may be brought to, nor a loom: `DescriptionError`."""
    if not (workplace.looms.is_dir() or workplace.found()):
        raise DescriptionError(
            f"{workplace.looms}: there is no loom",
            cure="Name a folder of looms, or one loom: a folder with loom.toml, a workbook, a KBL file.",
        )
