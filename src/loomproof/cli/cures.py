"""How the command line is asked for what an error or a prompt says that the program can do."""

from __future__ import annotations

from loomproof.errors import Do, Todo

COMMANDS = {
    Todo.ADAPTER: "loomproof adapter new LOOM --to FILE makes one. "
    "--adapter in-order takes the description's own order.",
    Todo.CERTIFICATE: "loomproof certificate {on:RUN} writes its certificate, with --json its sealed record.",
    Todo.CHECK_RECORDS: "loomproof records check says where.",
    Todo.GO_ON: "Go on with: loomproof prove --continue {on:RUN}",
    Todo.HOOK_UPS: "--hook-ups proves it plug by plug; loomproof plan shows how.",
    Todo.OUT: "--out names another one.",
    Todo.OVER: "Or say --over.",
    Todo.REPLAY: "loomproof replay {on:JOURNAL} LOOM shows it.",
    Todo.RESISTOR: "Run: loomproof bench selftest --resistor A,B,OHM",
    Todo.SEALED_RECORD: "loomproof certificate --json writes it.",
    Todo.SELFTEST: "Run: loomproof bench selftest",
    Todo.SIMULATE: "Run loomproof simulate LOOM, and give the address that it prints.",
    Todo.WAIT: "--wait gives more time for each end.",
    Todo.ZERO: "Run: loomproof bench zero --adapter {on:FILE}",
}
"""What to type for each thing that can be done; ``{on:NAME}`` is what it is done to, NAME where unknown."""


def how(do: Do | None) -> str:
    """Return how a thing is asked for, as a sentence; "" for nothing."""
    if do is None:
        return ""
    said = COMMANDS[do.what]
    before, mark, rest = said.partition("{on:")
    if not mark:
        return said
    name, _, after = rest.partition("}")
    return f"{before}{do.on or name}{after}"
