"""What a person enters of item, order and laboratory, for a certificate to show; nothing of it is measured.

Which of it an assessor asks for: ISO/IEC 17025:2017, 7.8.2 (reports) and 7.8.3 (test reports).
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

METHOD = "loomproof method 1"
"""Our own name for how a loom is tested and judged (`docs/method.md`); a change takes a new number."""

DateForm = Literal["YYYY-MM-DD", "DD.MM.YYYY", "DD/MM/YYYY", "MM/DD/YYYY", "DD Mon YYYY"]
"""Forms of dates that a certificate can be drawn with."""


class _Value(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class Meter(_Value):
    """The meter that read ohms, as a person entered it.

    ``calibration`` is the number of its calibration certificate, ``calibration_due`` the last day that the
    calibration holds.
    """

    make: str = ""
    serial: str = ""
    calibration: str = ""
    calibration_due: date | None = None

    def expired(self, day: date) -> bool:
        """Whether the calibration was due before this day."""
        return self.calibration_due is not None and self.calibration_due < day


class ReferenceStandard(Meter):
    """The reference resistors that the meter is held against, as a person entered them; keys as `Meter`."""


class Entered(_Value):
    """What was entered for one proof; "" and ``None`` where nothing was.

    ``humidity_pct`` is relative, in per cent; no bench measures it. ``condition`` is that of the loom on
    receipt. ``dates`` is the form that dates are drawn in.
    """

    customer: str = ""
    order: str = ""
    condition: str = ""
    authoriser: str = ""
    laboratory: str = ""
    address: str = ""
    humidity_pct: float | None = Field(default=None, ge=0, le=100)
    meter: Meter = Meter()
    reference: ReferenceStandard = ReferenceStandard()
    dates: DateForm = "YYYY-MM-DD"
