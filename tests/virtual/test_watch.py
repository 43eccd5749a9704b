"""Watching: events of a loose contact on the loom's own clock, their numbers, and how a watch ends."""

from __future__ import annotations

import itertools
import re

from tests.virtual.test_link import device, line, opened, say

EVENT = re.compile(rb"!(\d+),(\d+),(-?\d+),(#H[0-9A-F]+)\n")


def events(data: bytes) -> list[tuple[int, int, int, str]]:
    found = EVENT.findall(data)
    assert b"".join(b"!%b,%b,%b,%b\n" % one for one in found) == data
    return [(int(n), int(us), int(index), text.decode()) for n, us, index, text in found]


def test_the_event_of_the_contract() -> None:
    from loomproof.virtual.link import checked

    assert checked(b"1234ABCD", b"!", b"!0,1250,0,#H105") == b":!!0,1250,0,#H105*DBA858CF\n"


def test_the_first_cycle_tells_every_set_and_then_nothing_changes() -> None:
    it = device()
    assert say(it, b"WATC:STAR #H1,#H2,#H4\n") == b"OK\n"
    seen = events(say(it, b"", 1.0))
    assert [(n, index, text) for n, _, index, text in seen] == [(0, 0, "#H11"), (1, 1, "#H62"), (2, 2, "#H4")]
    assert say(it, b"", 2.0) == b""
    cycles, count, lost = (int(word) for word in say(it, b"WATC:STOP\n", 2.0).split(b","))
    assert (count, lost) == (3, 0)
    assert 1000 < cycles <= 2.0 / 300e-6


def test_a_loose_contact_is_seen_as_often_as_it_opens() -> None:
    it = device("loose P2:1 4 Hz")
    say(it, b"WATC:STAR #H1\n")
    seen = []
    for tenth in range(1, 41):
        seen += events(say(it, b"", tenth * 0.1))
    opens = [us for _, us, _, text in seen if text == "#H1"]
    # 4 Hz over 4 s, open for a tenth of each period.
    assert len(opens) == 16
    assert {round((b - a) / 1000) for a, b in itertools.pairwise(opens)} <= {249, 250, 251}
    assert [n for n, *_ in seen] == list(range(len(seen)))


def test_a_fault_that_is_put_in_while_watching_is_an_event() -> None:
    it = device()
    say(it, b"WATC:STAR #H1\n")
    say(it, b"", 0.5)
    it.scanner.add("open W1")
    assert [text for *_, text in events(say(it, b"", 1.0))] == ["#H1"]
    it.scanner.mend()
    assert [text for *_, text in events(say(it, b"", 1.5))] == ["#H11"]


def test_while_watching_some_commands_are_answered_and_the_rest_refused() -> None:
    it = opened()
    say(it, line(1, "WATC:STAR #H1"))
    say(it, b"", 0.1)
    answered = ("*IDN?", "SYST:CAP?", "SYST:LINK?", "SYST:ERR?", "MEAS:TEMP?")
    refused = (
        "SENS:DRIV? #H1",
        "SENS:SETT 600",
        "SYST:BAUD 230400",
        "SYST:LINK:CLOS",
        "*CLS",
        "WATC:STAR #H1",
    )
    number = 2
    for body in answered + refused:
        reply = say(it, line(number, body), 0.1)
        assert reply.startswith(b":%02XERR -221" % number) is (body in refused)
        number += 1
    assert say(it, line(number, "WATC:STOP"), 0.2).endswith(b"\n")
    assert say(it, line(number + 1, "WATC:STOP"), 0.2).startswith(b":%02XERR -221" % (number + 1))


def test_reset_release_and_opening_end_a_watch() -> None:
    for body in (b"*RST\n", b"ROUT:OPEN:ALL\n", b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n"):
        it = device("loose P2:1 50 Hz")
        say(it, b"WATC:STAR #H1\n")
        say(it, body, 0.01)
        assert say(it, b"", 1.0) == b""
        assert it.commands.watch is None


def test_a_watch_nobody_keeps_up_ends_by_itself_after_five_seconds() -> None:
    it = opened()
    say(it, line(1, "WATC:STAR #H1"))
    say(it, b"", 2.0)
    say(it, line(2, "*IDN?"), 3.0)
    assert say(it, b"", 7.9) == b""
    last = say(it, b"", 8.1)
    assert re.match(rb":!!1,(7999999|8000000|8000001),-1,#H0\*", last)
    assert say(it, line(3, "WATC:STOP"), 8.2).startswith(b":03ERR -221")


def test_events_that_the_line_cannot_take_are_lost_and_counted() -> None:
    it = device("loose P2:1 100 Hz")
    say(it, b"WATC:STAR #H1\n")
    it.waiting_bytes = 1_000_000
    assert say(it, b"", 1.0) == b""
    it.waiting_bytes = 0
    seen = events(say(it, b"", 1.1))
    assert seen[0][0] > 150
    words = say(it, b"WATC:STOP\n", 1.1).split(b",")
    assert int(words[2]) == seen[0][0]
