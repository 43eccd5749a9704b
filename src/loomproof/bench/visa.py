"""A VISA resource as a line to a scanner, and as a SCPI instrument that is asked and answers."""

from __future__ import annotations

import contextlib
from typing import Any

from loomproof.bench.usual_ports import usual_resource
from loomproof.errors import LinkError, NoBenchError

SCANNER_RATE = 115_200
"""What the scanner link begins with at a serial resource, and the rate to reckon with at others."""

OPEN_TIMEOUT_MS = 5_000


def open_resource(resource: str, backend: str = "@py") -> Any:
    """Open a VISA resource. Raises `NoBenchError` where it, or the library behind it, is not there."""
    import pyvisa
    from pyvisa.errors import Error

    try:
        manager = pyvisa.ResourceManager(backend)
        return manager.open_resource(
            resource, open_timeout=OPEN_TIMEOUT_MS, read_termination="\n", write_termination="\n"
        )
    except ValueError as error:
        raise NoBenchError(
            f"the VISA resource {resource} is none that takes commands",
            cure=f"A serial port is written visa:{usual_resource()}, an instrument on the network "
            "visa:TCPIP::192.0.2.7::5025::SOCKET.",
        ) from error
    except (Error, OSError) as error:
        raise NoBenchError(
            f"the VISA resource {resource} cannot be opened: {error}",
            cure="Is it switched on, and its name right?",
        ) from error


class VisaLine:
    """A VISA resource as a byte stream to a scanner; it carries whole lines."""

    def __init__(self, resource: str, backend: str = "@py") -> None:
        self._name = resource
        self._resource = open_resource(resource, backend)
        self.set_rate(SCANNER_RATE)  # a serial resource comes at 9600 from VISA

    @property
    def rate(self) -> int:
        """Bits per second: a serial resource's own, else the one to reckon with."""
        return int(getattr(self._resource, "baud_rate", SCANNER_RATE) or SCANNER_RATE)

    def send(self, data: bytes) -> None:
        """Send all of these bytes."""
        from pyvisa.errors import Error

        try:
            self._resource.write_raw(data)
        except (Error, OSError) as error:
            raise self._gone(error) from error

    def receive(self, timeout_s: float) -> bytes:
        """Return the next line, after at most this time; what came of an unfinished one where it is cut."""
        from pyvisa.constants import StatusCode
        from pyvisa.errors import Error, VisaIOError

        if timeout_s <= 0.0:
            return b""  # a VISA read cannot be asked without waiting
        try:
            self._resource.timeout = max(1, round(1000 * timeout_s))
            return bytes(self._resource.read_raw())
        except VisaIOError as error:
            if error.error_code == StatusCode.error_timeout:
                return b""
            raise self._gone(error) from error
        except (Error, OSError) as error:
            raise self._gone(error) from error

    def set_rate(self, rate: int) -> None:
        """Change the rate of a serial resource; others have none."""
        from pyvisa.errors import Error

        try:
            if hasattr(self._resource, "baud_rate"):
                self._resource.baud_rate = rate
        except (Error, OSError, ValueError) as error:
            raise self._gone(error) from error

    def close(self) -> None:
        """Give the resource back."""
        with contextlib.suppress(Exception):  # a resource that is gone fails in ways of its back end
            self._resource.close()

    def _gone(self, error: Exception) -> LinkError:
        return LinkError(
            f"the VISA resource {self._name} failed: {error}",
            cure="Look at cable and power, and start again.",
        )


class Instrument:
    """A SCPI instrument: a command, or a question with one answer line."""

    def __init__(self, resource: str, backend: str = "@py", *, timeout_s: float = 10.0) -> None:
        self.name = resource
        self._resource = open_resource(resource, backend)
        self._resource.timeout = round(1000 * timeout_s)

    def tell(self, command: str) -> None:
        """Send one command."""
        from pyvisa.errors import Error

        try:
            self._resource.write(command)
        except (Error, OSError) as error:
            raise self._failed(command, error) from error

    def ask(self, question: str) -> str:
        """Send one question and return its answer.

        A late answer is never taken for that of another question: any failure closes the resource.
        """
        from pyvisa.errors import Error

        try:
            return str(self._resource.query(question)).strip()
        except (Error, OSError, UnicodeDecodeError) as error:
            self.close()
            raise self._failed(question, error) from error

    def close(self) -> None:
        """Give the resource back. Safe to call any number of times."""
        with contextlib.suppress(Exception):  # a resource that is gone fails in ways of its back end
            self._resource.close()

    def _failed(self, command: str, error: Exception) -> LinkError:
        return LinkError(
            f"{self.name} failed at {command!r}: {error}", cure="Look at cable and power, and start again."
        )
