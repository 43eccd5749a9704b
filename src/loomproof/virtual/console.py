"""Words that change the simulated bench while it runs: one line in, one line of answer out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from loomproof.errors import LoomproofError, UsageError, suggestion
from loomproof.loom.model import Loom
from loomproof.virtual.adapters import read_hookup
from loomproof.virtual.build import Hookup
from loomproof.virtual.link import Device
from loomproof.virtual.noise import Noise

WORDS = (
    "mend | mend W12 | fault TEXT | faults | load LOOM | adapter FILE | unplug | plug | touch CAVITY | "
    "lift | reset | seed N | line …"
)


class Control:
    """Carries out control lines on a device, its loom and its line."""

    def __init__(self, device: Device, noise: Noise, load: Callable[[str], Loom]) -> None:
        self.device = device
        self.noise = noise
        self._load = load

    def obey(self, line: str, now_s: float) -> str:
        """Carry one line out and return the answer: ``ok: …`` or ``error: …``, always one line."""
        try:
            done = self._obey(line.strip(), now_s)
        except LoomproofError as error:
            problems = [str(problem) for problem in getattr(error, "problems", ())]
            found = "; ".join(text for text in (error.message, *problems[:3]) if text)
            told = f"{found}. {error.cure}" if error.cure else found
            return " ".join(f"error: {told}".split())
        except OSError as error:
            return f"error: {' '.join(str(error).split())}"
        return f"ok: {done}"

    def _obey(self, line: str, now_s: float) -> str:
        scanner = self.device.scanner
        word, _, rest = line.partition(" ")
        rest = rest.strip()
        match word:
            case "fault" if rest:
                return f"fault {scanner.add(rest).text}"
            case "faults":
                return "; ".join(fault.text for fault in scanner.faults) or "no fault"
            case "mend":
                gone = scanner.mend(rest)
                if rest and not gone:
                    near = suggestion(rest, (fault.text for fault in scanner.faults))
                    raise UsageError(f"there is no fault {rest!r} to mend", cure=near)
                return "mended " + ("; ".join(fault.text for fault in gone) or "nothing, there was no fault")
            case "load" if rest:
                loom = self._load(rest)
                scanner.load(loom)
                return f"loaded {loom.name}, {len(loom.cavities)} cavities on {scanner.make.points} points"
            case "adapter" if rest:
                points = scanner.make.points
                if rest == "in-order":
                    scanner.hook_up(Hookup.in_order(scanner.loom, points))
                else:
                    scanner.hook_up(read_hookup(Path(rest), scanner.loom, points))
                return f"hooked up {len(scanner.hookup.ends)} cavities"
            case "unplug" | "plug" if not rest:
                scanner.plug(word == "plug")
                return f"{word}ged" if word == "unplug" else "plugged in"
            case "touch" if rest:
                scanner.lift()
                return f"the probe is on {scanner.touch(rest)}"
            case "lift" if not rest:
                scanner.lift()
                return "the probe is off"
            case "reset" if not rest:
                self.device.power_on(now_s)
                return "the scanner was reset"
            case "seed" if rest.isdecimal():
                # Its own clock begins anew as well, so that loose contacts open when they did before.
                self.device.loom_s = 0.0
                scanner.sow(int(rest))
                return f"seed {int(rest)}"
            case "line" if rest:
                return self.noise.set(rest, now_s)
            case _:
                forms = [form for form in WORDS.split(" | ") if form.split()[0] == word]
                if forms:
                    raise UsageError(
                        f"{line!r} is no whole order", cure=f"It is written: {', or '.join(forms)}."
                    )
                near = suggestion(word, [form.split()[0] for form in WORDS.split(" | ")])
                raise UsageError(f"{line!r} is no order here", cure=near or f"Orders: {WORDS}.")
