"""Addresses: what is meant, and what cannot be meant."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.bench.address import (
    OtherAddress,
    SerialAddress,
    SimAddress,
    TcpAddress,
    VisaAddress,
    parse_address,
    starts_simulator,
)
from loomproof.bench.opening import open_bench
from loomproof.errors import UsageError


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("serial:/dev/ttyACM0", SerialAddress("/dev/ttyACM0")),
        ("serial:COM3?baud=9600", SerialAddress("COM3", 9600)),
        ("SERIAL:/dev/a%20b?switch=921600", SerialAddress("/dev/a b", switch=921600)),
        ("tcp:127.0.0.1:7000", TcpAddress("127.0.0.1", 7000)),
        ("tcp:[::1]:7000", TcpAddress("::1", 7000)),
        ("visa:ASRL/dev/ttyACM0::INSTR", VisaAddress("ASRL/dev/ttyACM0::INSTR")),
        (
            "visa:TCPIP::10.0.0.5::5025::SOCKET?profile=p.toml&meter=TCPIP::10.0.0.6::5025::SOCKET",
            VisaAddress("TCPIP::10.0.0.5::5025::SOCKET", "p.toml", "TCPIP::10.0.0.6::5025::SOCKET"),
        ),
        ("sim:", SimAddress()),
        (
            "sim:?fault=open+W12&fault=short%20ECU:3%20ECU:4&points=128&no-ohms",
            SimAddress(("open+W12", "short ECU:3 ECU:4"), (("points", "128"), ("no-ohms", ""))),
        ),
        ("sim:?acc=0.1:0.01", SimAddress((), (("acc", "0.1:0.01"),))),
    ],
)
def test_meant(text: str, value: object) -> None:
    assert parse_address(text) == value
    assert parse_address(str(value)) == value


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "does not begin with"),
        ("/dev/ttyACM0", "does not begin with"),
        ("serail:/dev/x", "serail"),
        ("serial:", "names no port"),
        ("serial:/dev/x?baud=fast", "baud"),
        ("serial:/dev/x?baud=0", "baud"),
        ("serial:/dev/x?baudrate=9600", "no option 'baudrate'"),
        ("serial:/dev/x?baud=1&baud=2", "twice"),
        ("tcp:127.0.0.1", "host and a port"),
        ("tcp:::1:7000", "too many colons"),
        ("tcp:h:70000", "over 65535"),
        ("tcp:h:x", "port 'x'"),
        ("visa:", "no VISA resource"),
        ("visa:X?meter=Y", "no profile"),
        ("sim:W12", "before the question mark"),
        ("sim:?fault=%ZZ", "per cent"),
        ("sim:?fault=%FF", "UTF-8"),
        ("sim:?points=", "no value"),
        ("sim:?points=x", "points 'x' is not a whole number above 0"),
        ("sim:?no-ohms=3", "takes no value"),
        ("sim:?=3", "names no option"),
    ],
)
def test_not_meant(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says.replace("?", r"\?")) as caught:
        parse_address(text)
    assert caught.value.exit_code == 2


def test_a_near_miss_is_named() -> None:
    with pytest.raises(UsageError) as caught:
        parse_address("sim:?falt=open")
    assert caught.value.cure == "There is fault."


def test_arguments_for_the_simulator() -> None:
    address = parse_address("sim:?fault=open%20W12&points=8&four-wire")
    assert isinstance(address, SimAddress)
    assert address.arguments == ("--fault=open W12", "--points=8", "--four-wire")
    assert starts_simulator(address)
    assert not starts_simulator(TcpAddress("h", 1))


@given(st.text(min_size=1), st.integers(1, 10**6))
def test_any_port_comes_back(port: str, baud: int) -> None:
    try:
        port.encode()
    except UnicodeEncodeError:
        return
    address = SerialAddress(port, baud)
    assert parse_address(str(address)) == address


@given(st.lists(st.text(st.characters(codec="utf-8"), min_size=1), max_size=3))
def test_any_fault_comes_back(faults: list[str]) -> None:
    address = SimAddress(tuple(faults))
    assert parse_address(str(address)) == address


def test_a_fault_with_a_plus_for_a_space_is_told_how_a_space_is_written() -> None:
    tail = Path(__file__).parents[2] / "fixtures" / "tail_lamp"
    with pytest.raises(UsageError) as caught:
        open_bench("sim:?fault=open+W2", loom_path=tail)
    assert "%20" in caught.value.cure
    with pytest.raises(UsageError) as other:
        open_bench("sim:?fault=open%20NOPE", loom_path=tail)
    assert "%20" not in other.value.cure


def test_a_wrong_value_for_the_simulator_is_told_without_its_usage() -> None:
    tail = Path(__file__).parents[2] / "fixtures" / "tail_lamp"
    with pytest.raises(UsageError) as caught:
        open_bench("sim:?seed=x", loom_path=tail)
    assert "--seed: invalid int value: 'x'" in caught.value.message
    assert "usage" not in caught.value.message


def test_every_option_of_an_address_is_documented() -> None:
    """Each option that an address of ours takes stands in its list, and none that it does not take."""
    listed: dict[str, set[str]] = {}
    scheme = ""
    page = Path(__file__).parents[2] / "docs" / "addresses.md"
    for line in page.read_text(encoding="utf-8").splitlines():
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) == 5 and cells[2].startswith("`"):
            scheme = cells[1].strip("`:") or scheme
            listed.setdefault(scheme, set()).update(re.findall(r"`([a-z-]+)", cells[2]))
    taken = {}
    for scheme in ("serial", "visa", "sim", "hand"):
        with pytest.raises(UsageError, match="there is no option") as told:
            parse_address(f"{scheme}:{'x' if scheme in ('serial', 'visa') else ''}?quite-unknown=1")
        taken[scheme] = set(re.findall(r"[a-z-]+", told.value.cure.removeprefix("Options here: ")))
    assert listed == taken


@pytest.mark.parametrize("option", ["baud", "switch", "points", "pulls", "clips"])
def test_a_number_that_is_none_is_told_with_one(option: str) -> None:
    scheme = {"points": "sim:", "pulls": "sim:", "clips": "hand:"}.get(option, "serial:x")
    with pytest.raises(UsageError, match="is not a whole number above 0") as told:
        parse_address(f"{scheme}?{option}=many")
    assert re.fullmatch(rf"Like {option}=\d+\.", told.value.cure)


@given(
    st.text(min_size=1).filter(lambda text: text.encode(errors="ignore").decode() == text),
    st.sampled_from(["", "p.toml", "a b&c=d?#%"]),
    st.sampled_from(["", "GPIB::3", "TCPIP::1&2"]),
    st.sampled_from(["@py", "@sim", "x y"]),
)
def test_any_instrument_comes_back(resource: str, profile: str, meter: str, backend: str) -> None:
    address = VisaAddress(resource, profile, meter if profile else "", backend)
    assert parse_address(str(address)) == address


@given(st.sampled_from(["h", "::1", "10.0.0.5", "a b", "räck"]), st.integers(1, 65535))
def test_any_host_comes_back(host: str, port: int) -> None:
    address = TcpAddress(host, port)
    assert parse_address(str(address)) == address


def test_how_options_are_written() -> None:
    address = SimAddress(("open W12", "a&b=c"), (("points", "8"), ("no-ohms", ""), ("cap", "1:2")))
    assert str(address) == "sim:?fault=open%20W12&fault=a%26b%3Dc&points=8&no-ohms&cap=1:2"
    assert str(SimAddress()) == "sim:"
    assert address.arguments == ("--fault=open W12", "--fault=a&b=c", "--points=8", "--no-ohms", "--cap=1:2")
    assert str(SerialAddress("COM3")) == "serial:COM3"
    assert str(SerialAddress("COM3", 9600, 921600)) == "serial:COM3?baud=9600&switch=921600"
    assert str(VisaAddress("X::1")) == "visa:X::1"
    assert str(VisaAddress("X", "p", "Y", "@sim")) == "visa:X?profile=p&meter=Y&backend=@sim"
    assert str(OtherAddress("mine", "a b", (("k", "v w"), ("f", "")))) == "mine:a%20b?k=v%20w&f"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("tcp:h:1?x=1", "no option 'x'"),
        ("tcp::7000", "host and a port"),
        ("tcp:[]:7000", "host and a port"),
        ("tcp:7000", "host and a port"),
        ("tcp:h:0", "port '0'"),
        ("tcp:h:65536", "port 65536 is over 65535"),
        ("tcp:[::1:7000", "too many colons"),
        ("serial:x?switch=", "switch"),
        ("visa:X?meter=Y&backend=@sim", "no profile"),
        ("visa:X?profil=Y", "no option 'profil'"),
        ("sim:?points=0", "points '0'"),
        ("sim:?pulls=x", "pulls 'x'"),
        ("sim:?points=8&points=9", "twice"),
        ("sim:?seed=", "seed has no value"),
        ("sim:?paced=no", "paced takes no value"),
        ("sim:?fault=a&flt=b", "no option 'flt'"),
    ],
)
def test_not_meant_either(text: str, says: str) -> None:
    with pytest.raises(UsageError, match=says):
        parse_address(text)


def test_what_is_left_out_or_said_twice_is_as_it_stands() -> None:
    assert parse_address(" tcp:h:65535 ") == TcpAddress("h", 65535)
    assert parse_address("serial:x?switch=9600") == SerialAddress("x", switch=9600)
    assert parse_address("serial:x") == SerialAddress("x", 115_200, None)
    assert parse_address("visa:X?profile=p") == VisaAddress("X", "p", "", "@py")
    assert parse_address("visa:X?backend=@sim") == VisaAddress("X", backend="@sim")
    assert parse_address("sim:?fault=a&fault=a&no-ohms=yes&cap&four-wire=0.1:0.2") == SimAddress(
        ("a", "a"), (("no-ohms", ""), ("cap", ""), ("four-wire", "0.1:0.2"))
    )


def test_the_options_that_there_are_are_named() -> None:
    for text, cure in (
        ("tcp:h:1?q=1", "Options here: none."),
        ("serial:x?q=1", "Options here: baud, switch."),
        ("serial:x?bau=1", "There is baud."),
    ):
        with pytest.raises(UsageError) as caught:
            parse_address(text)
        assert caught.value.cure == cure
