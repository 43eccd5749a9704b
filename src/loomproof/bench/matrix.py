"""A switch matrix and a meter as a bench: it measures ohms, perhaps farads, and cannot sense.

Every reading opens all crosspoints, closes those of the two sets, waits, measures, and opens all again,
whatever happened in between. After a closed crosspoint the matrix is asked for ``*OPC?``, so that a command
that got lost is an error and not an open circuit. The meter is asked for it after a reading: an answer that
was left over stands in its place then, and the reading is not believed. Before the first reading the meter
must see that the matrix opens and closes: one that gives the reading before, or always the same, is found so.
"""

from __future__ import annotations

import contextlib
import math
import re
import time
from collections.abc import Callable, Sequence
from typing import assert_never

from loomproof.bench import questions as q
from loomproof.bench.capability_report import read_identity
from loomproof.bench.frames import is_no_number, read_amount, read_number
from loomproof.bench.interface import Bench
from loomproof.bench.profile import Profile
from loomproof.bench.seam import (
    Capabilities,
    Identity,
    PointSet,
    Statistics,
    Wires,
    opening_of,
    points_of,
    tell_end,
)
from loomproof.bench.visa import Instrument
from loomproof.errors import BenchError, LinkError, NoBenchError, RefusedError, UnfitError

JOINED_OHM = 1_000.0
"""What the meter must read less than with its two buses on one point, and more than with nothing closed."""

# Nothing, two joined buses twice, nothing: no shift by one, two or three readings looks the same.
_TRIAL = (False, True, True, False)


class MatrixBench(Bench):
    """A switch matrix with a meter, as a profile describes them; ``meter`` may be the same instrument.

    ``lcr`` is what reads capacitance, where the profile says that something does: the meter itself
    unless another instrument is given.
    """

    def __init__(
        self,
        matrix: Instrument,
        meter: Instrument,
        profile: Profile,
        address: str,
        *,
        lcr: Instrument | None = None,
        wait: Callable[[float], None] = time.sleep,
    ) -> None:
        self._matrix = matrix
        self._meter = meter
        self._lcr = lcr or meter
        self._profile = profile
        self.address = address
        self._wait = wait
        self._asked = 0
        self._tried = False
        self._tried_farads = False
        self._holds()
        try:
            self._identity = self._meet(matrix)
            self._holds(opening_of(self._identity))
            self._meter_identity = self._identity if meter is matrix else self._meet(meter)
            self._lcr_identity = self._meter_identity if self._lcr is meter else self._meet(self._lcr)
            for instrument, commands in ((meter, profile.setup), (self._lcr, profile.setup_farads)):
                for command in commands:
                    instrument.tell(command)
                self._done(instrument)
            self._open_all()
        except BaseException as error:
            self.close()
            tell_end(error, released=None)
            raise

    def identify(self) -> Identity:
        """Return what the matrix calls itself."""
        return self._identity

    def capabilities(self) -> Capabilities:
        """Return what the profile says."""
        profile = self._profile
        more: tuple[tuple[str, str], ...] = (
            ("meter", _named(self._meter_identity)),
            ("profile", profile.name),
        )
        if self._lcr is not self._meter:
            more = (*more, ("LCR meter", _named(self._lcr_identity)))
        return Capabilities(
            points=profile.points,
            sense_ohm=None,
            clear_ohm=None,
            ohms=profile.ohms,
            accuracy=profile.accuracy,
            four_wire=bool(profile.measure_four),
            four_wire_accuracy=profile.accuracy_four,
            reading_ms=profile.reading_ms,
            test_current_a=profile.test_current_a,
            test_voltage_v=profile.test_voltage_v,
            farads=profile.farads,
            farad_accuracy=profile.accuracy_farads,
            farad_spread=profile.spread_farads,
            other=more,
        )

    def _answer(self, question: q.Question) -> q.Answer:
        match question:
            case q.Resistance(a, b, wires):
                return self._resistance(a, b, wires)
            case q.Capacitance(a, b):
                return self._capacitance(a, b)
            case q.Confirm():
                self._confirm()
            case q.Carried():
                return Statistics(round_trips=self._asked)
            case q.Release():
                self._open_all()
            case q.Temperature():
                pass  # it has no thermometer
            case q.Sense() | q.Settle() | q.Voltage() | q.Diode() | q.Arm() | q.Insulation():
                pass  # never asked: its capabilities lack them
            case q.Sweep():
                pass
            case q.Watch() | q.NextEvent() | q.Watched():
                pass
            case _:
                assert_never(question)
        return None

    def _resistance(self, a: PointSet, b: PointSet, wires: Wires) -> float:
        profile = self._profile
        if not self._tried:
            self._try_meter(points_of(a)[0])
            self._tried = True
        count = 1 if wires == 2 else 2
        channels = [
            profile.crosspoint(row, point)
            for rows, points in ((profile.rows_a, a), (profile.rows_b, b))
            for row in rows[:count]
            for point in points_of(points)
        ]
        return self._read(channels, profile.measure if wires == 2 else profile.measure_four)

    def _try_meter(self, point: int) -> None:
        """Have the meter read nothing, then both buses on this point, which puts no current into a loom."""
        profile = self._profile
        both = [profile.crosspoint(rows[0], point) for rows in (profile.rows_a, profile.rows_b)]
        for joined in _TRIAL:
            ohm = self._read(both if joined else [], profile.measure)
            if joined and ohm < JOINED_OHM:
                self._near_nought(point, ohm)
            if (ohm < JOINED_OHM) != joined:
                closed = f"both buses on point {point}" if joined else "nothing closed"
                raise UnfitError(
                    f"the meter does not follow the matrix: it reads {ohm:g} ohm with {closed}",
                    cure="Look at the meter's leads to the matrix, at rows_a and rows_b of the profile, and "
                    "at the meter's trigger: each question has to begin a reading of its own.",
                )

    def _near_nought(self, point: int, ohm: float) -> None:
        """See that two buses on one point read nought within what the profile promises."""
        profile = self._profile
        most_ohm = max(profile.ohms[0], profile.accuracy.ohm + profile.accuracy.ratio * ohm)
        if ohm > most_ohm:
            raise UnfitError(
                f"the meter reads {ohm:g} ohm with both buses on point {point}, where nothing but a switch "
                f"is: the profile promises {most_ohm:.3g} ohm at the most",
                cure="Null the meter's leads with its own zero, mend its leads to the matrix, or state in "
                "the profile's accuracy what contacts and switches have.",
            )

    def _capacitance(self, a: PointSet, b: PointSet) -> float | None:
        if not self._tried_farads:
            self._try_farads(points_of(a)[0])
            self._tried_farads = True
        return self._farads(a, b)

    def _try_farads(self, point: int) -> None:
        """Have it read nothing, then both rows on this point: a short reads as something else."""
        accuracy = self._profile.accuracy_farads
        assert accuracy is not None
        nothing, short = self._farads(0, 0), self._farads(1 << (point - 1), 1 << (point - 1))
        if nothing is None or math.isinf(nothing):
            raise UnfitError(
                "what reads farads reads over range or no number with nothing closed",
                cure="Look at its leads to the matrix, at rows_farads of the profile, and at its settings.",
            )
        if short is not None and abs(short - nothing) <= accuracy.farad + accuracy.ratio * abs(nothing):
            raise UnfitError(
                f"what reads farads does not follow the matrix: {nothing:.3g} F with nothing closed, "
                f"{short:.3g} F with both rows on point {point}",
                cure="Look at its leads to the matrix, at rows_farads of the profile, and at its trigger: "
                "each question has to begin a reading of its own.",
            )

    def _farads(self, a: PointSet, b: PointSet) -> float | None:
        """Read ``a`` against ``b``; the first counts where it answers with several values."""
        profile = self._profile
        assert profile.farads is not None
        high, low = profile.rows_farads or (profile.rows_a[0], profile.rows_b[0])
        channels = [
            profile.crosspoint(row, point)
            for row, points in ((high, a), (low, b))
            for point in points_of(points)
        ]
        text = self._exchange(channels, self._lcr, profile.measure_farads).split(",")[0].strip()
        if is_no_number(text):
            return None
        value = self._number(text, read_number)
        if value == -math.inf:  # what conducts is no capacitance
            return None
        return math.inf if value > profile.farads[1] else value

    def _read(self, channels: Sequence[str], question: str) -> float:
        value = self._number(self._exchange(channels, self._meter, question), read_amount)
        return math.inf if value > self._profile.ohms[1] else value

    def _number(self, text: str, read: Callable[[str], float]) -> float:
        try:
            return read(text)
        except ValueError as error:
            raise LinkError(
                f"the meter answered without a reading: {error}",
                cure="Set in the profile what makes it answer with a number, over range as 9.9E37 (SCPI-99).",
            ) from None

    def _exchange(self, channels: Sequence[str], meter: Instrument, question: str) -> str:
        """Ask a meter with these crosspoints closed, and open them again."""
        profile = self._profile
        try:
            self._matrix.tell(profile.open_all)
            if channels:
                self._matrix.tell(profile.close.format(channels=",".join(channels)))
            self._done(self._matrix)
            self._wait(profile.settle_ms / 1000.0)
            text = self._ask(meter, question)
            self._done(meter)
        except BaseException:
            with contextlib.suppress(BenchError):  # the first error is the one to tell
                self._open_all()
            raise
        self._open_all()
        return text

    def _open_all(self) -> None:
        """Open every crosspoint, and hear that it is done."""
        self._matrix.tell(self._profile.open_all)
        self._done(self._matrix)

    def _disconnect(self) -> None:
        self._matrix.close()
        self._meter.close()
        self._lcr.close()

    def _confirm(self) -> None:
        known_of = {
            self._matrix: self._identity,
            self._meter: self._meter_identity,
            self._lcr: self._lcr_identity,
        }
        for instrument, known in known_of.items():
            role = self._role(instrument)
            found = read_identity(self._ask(instrument, "*IDN?"), role)
            if found != known:
                raise UnfitError(
                    f"another {role} answers at {instrument.name}: {_named(found)}, and the run is bound to "
                    f"{_named(known)}",
                    cure="Put the first one back, or start a new run.",
                )

    def _meet(self, instrument: Instrument) -> Identity:
        """Ask who it is, and clear its list of errors of what others did (IEEE 488.2, 10.3)."""
        try:
            identity = read_identity(self._ask(instrument, "*IDN?"), self._role(instrument))
            instrument.tell("*CLS")
            self._done(instrument)
        except LinkError as error:
            raise NoBenchError(
                f"nothing at {instrument.name} answers as an instrument: {error.message}",
                cure=error.cure or "Is it switched on, and is its address right?",
            ) from error
        return identity

    def _done(self, instrument: Instrument) -> None:
        """Hear that it is done, that it minds nothing, and that no answer is left over from before."""
        who = self._role(instrument)
        answer = self._ask(instrument, "*OPC?")
        if not re.fullmatch(r"\+?0*1", answer):  # a whole number, which may have a sign (IEEE 488.2, 8.7.2)
            raise LinkError(
                f"the {who} answered *OPC? with {answer!r}; 1 was expected",
                cure="An answer was left over, or came twice: nothing of it is believed. Switch the "
                "instrument off and on, and see that no other program speaks to it.",
            )
        text = self._ask(instrument, "SYSTem:ERRor?")
        code, comma, words = text.partition(",")
        if not comma or not re.fullmatch(r"[+-]?[0-9]+", code):
            raise LinkError(
                f"the {who} answered SYSTem:ERRor? with {text!r}; a number and a text were expected",
                cure="It has to speak SCPI.",
            )
        if number := int(code):
            raise RefusedError(
                f"the {who} refused a command: {text}",
                code=number,
                command=words,
                cure="Look at the profile.",
            )

    def _role(self, instrument: Instrument) -> str:
        if instrument is self._matrix:
            return "matrix"
        return "meter" if instrument is self._meter else "LCR meter"

    def _ask(self, instrument: Instrument, question: str) -> str:
        answer = instrument.ask(question)
        self._asked += 1
        return answer


def _named(identity: Identity) -> str:
    return f"{identity.maker} {identity.model} {identity.serial} {identity.firmware}"
