"""Each lock names one version of a package for each system and Python."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from packaging.markers import default_environment
from packaging.requirements import Requirement

from tests.figures.wheels import LOCKS, PYTHONS, ROOT

LINUX, WINDOWS, MAC = ("posix", "linux", "Linux"), ("nt", "win32", "Windows"), ("posix", "darwin", "Darwin")
MACHINES = [(LINUX, "x86_64"), (LINUX, "aarch64"), (WINDOWS, "AMD64"), (MAC, "arm64"), (MAC, "x86_64")]


def on(system: tuple[str, str, str], machine: str, python: str) -> dict[str, str]:
    """What a marker is read by there."""
    there = {name: str(value) for name, value in default_environment().items()}
    there["os_name"], there["sys_platform"], there["platform_system"] = system
    there["platform_machine"], there["python_version"] = machine, python
    there["python_full_version"] = f"{python}.0"
    return there


def locked(name: str) -> list[Requirement]:
    lines = Path(ROOT / "requirements" / f"{name}.txt").read_text(encoding="utf-8").splitlines()
    return [Requirement(line.rstrip("\\ ")) for line in lines if line[:1].isalnum()]


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_names_every_package_once_wherever_it_is_read(name: str) -> None:
    pins = locked(name)
    for system, machine in MACHINES:
        for python in PYTHONS:
            there = on(system, machine, python)
            taken = Counter(pin.name for pin in pins if not pin.marker or pin.marker.evaluate(there))
            assert len(taken) > 20
            assert not [each for each, count in taken.items() if count > 1], (system, machine, python)


@pytest.mark.parametrize("name", ["runtime", "dev"])
def test_a_mac_with_an_intel_processor_gets_what_has_a_wheel_for_it(name: str) -> None:
    """`python -m tests.figures wheels` asks the index; what it led to stays over the next `make lock`."""
    pins = [pin for pin in locked(name) if pin.name == "cryptography"]
    for machine, old in (("x86_64", True), ("arm64", False)):
        [pin] = [each for each in pins if not each.marker or each.marker.evaluate(on(MAC, machine, "3.12"))]
        assert pin.specifier.contains("48.0.1") is old
