"""The portable core on this machine: the check against zlib, numbers against Python."""

from __future__ import annotations

import ctypes
import math
import random
import struct
import zlib
from collections.abc import Iterator

import pytest

from tests.firmware.building import core_library, missing

pytestmark = pytest.mark.skipif("cc " in missing() or "make " in missing(), reason=missing() or "all there")


class Out(ctypes.Structure):
    """`out_t`."""

    _fields_ = [("at", ctypes.c_char_p), ("length", ctypes.c_uint16), ("room", ctypes.c_uint16),
                ("over", ctypes.c_bool)]  # fmt: skip


@pytest.fixture(scope="module")
def core() -> ctypes.CDLL:
    lib = ctypes.CDLL(str(core_library()))
    lib.crc32_byte.restype = ctypes.c_uint32
    lib.crc32_byte.argtypes = [ctypes.c_uint32, ctypes.c_uint8]
    lib.put_number.argtypes = [ctypes.POINTER(Out), ctypes.c_float]
    lib.put_u64.argtypes = [ctypes.POINTER(Out), ctypes.c_uint64]
    return lib


def written(lib: ctypes.CDLL, what: str, value: float) -> str:
    room = ctypes.create_string_buffer(64)
    out = Out(ctypes.cast(room, ctypes.c_char_p), 0, 64, False)
    getattr(lib, what)(ctypes.byref(out), value)
    assert not out.over
    return room.raw[: out.length].decode()


def single(bits: int) -> float:
    return float(struct.unpack("<f", struct.pack("<I", bits))[0])


def test_the_check_is_zlib_s(core: ctypes.CDLL) -> None:
    rng = random.Random(19)
    for data in (b"", b"123456789", *(rng.randbytes(rng.randrange(1, 400)) for _ in range(40))):
        crc = 0xFFFFFFFF
        for byte in data:
            crc = core.crc32_byte(crc, byte)
        assert crc ^ 0xFFFFFFFF == zlib.crc32(data)


def floats() -> Iterator[float]:
    rng = random.Random(488)
    for exponent in range(255):
        for fraction in (0, 1, 0x7FFFFF, 0x400000, *(rng.getrandbits(23) for _ in range(40))):
            yield single(exponent << 23 | fraction)
    for ten in range(-44, 39):
        yield single(struct.unpack("<I", struct.pack("<f", float(f"1e{ten}")))[0])


def test_numbers_of_every_exponent_are_python_s(core: ctypes.CDLL) -> None:
    for value in floats():
        text = written(core, "put_number", value)
        mantissa, _, exponent = f"{value:.5E}".partition("E")
        expected = f"{mantissa}E{int(exponent)}"
        if text != expected:  # only exactly half a unit may be rounded either way
            scaled = value / 10.0 ** int(exponent) * 1e5
            assert abs(scaled % 1.0 - 0.5) < 1e-6, (value, text, expected)
            assert abs(float(text) - value) <= abs(value) * 5.1e-6
        assert written(core, "put_number", -value) in ("-" + text, text if value == 0 else "")


def test_what_is_no_number_and_over_range(core: ctypes.CDLL) -> None:
    assert written(core, "put_number", math.inf) == "9.9E37"
    assert written(core, "put_number", -math.inf) == "-9.9E37"
    assert written(core, "put_number", math.nan) == "9.91E37"


def test_whole_numbers_of_64_bits(core: ctypes.CDLL) -> None:
    for value in (0, 9, 10, 2**32, 2**64 - 1, *(10**k for k in range(20))):
        assert written(core, "put_u64", value) == str(value)
