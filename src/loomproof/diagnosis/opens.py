"""Opens as findings: wires, contacts, parts, splices, plugs and boards."""

from __future__ import annotations

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import Desk
from loomproof.diagnosis.faults import Fault
from loomproof.diagnosis.mending import is_ring, looks, new_part, of_adapter, probed, rejoined
from loomproof.diagnosis.words import listed
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Finding


class Opens(Desk):
    """Writes opens."""

    def _broken_wire(self, fault: Fault) -> Finding:
        edge = self.wiring.edges[fault.edges[0]]
        ends = self._ends(fault.leaves)
        wires = [self.loom.wire_by_name[name] for name in edge.wires]
        first = wires[0]
        title = f"{self.names.wires(edge.wires)} open between {first.a} and {first.b}"
        if len(wires) > 1:
            title = f"Parallel wires {self.names.wires(edge.wires)} all open between {first.a} and {first.b}"
        bares = [end for end in first.ends if end.cavity]
        places = [self.names.place(end) for end in bares]
        places += [self.names.place(end) for end in first.ends if not end.cavity]
        places += [self.names.run(wire) for wire in wires]
        joints = [end for end in first.ends if not end.cavity] if bares else []
        opened = f"Open the cover of {listed(joints)}, and seal it again after. " if joints else ""
        repair = [
            *looks(self.names, bares or first.ends),
            f"{opened}{probed(self.names, edge.wires)}",
            *rejoined(self.names, wires, bares),
        ]
        others = self.adapter_lead(ends)
        return self._made(fault, ends, title, places, repair, wires=edge.wires, alternatives=others)

    def adapter_lead(self, ends: tuple[End, ...]) -> tuple[Alternative, ...]:
        """Return the adapter's own lead as an alternative, where one or both ends were found alone."""
        alone = [end for end in ends if len(self.group_of.get(end, ())) == 1]
        if len(alone) not in (1, 2):
            return ()
        return (
            of_adapter(
                alone,
                Cause.ADAPTER_LEAD,
                "is open",
                "Mend the adapter's lead for",
                "touch the adapter's lead for "
                f"{' and then that for '.join(map(str, alone))} with the probe: silence means the lead.",
            ),
        )

    def _bad_contact(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        end = ends[0]
        wires = tuple(wire.name for wire in self.loom.wires_at.get(end, ()))
        if is_ring(self.names, end):
            title = f"Ring {end} open; its wires {self.names.wires(wires)} hang together behind it"
            repair = [
                f"Look at {end}: paint or rust under the lug, a loose bolt, or the crimp off all its wires?",
                "Clean lugs and seat to bright metal and tighten the bolt; renew a loose or green lug.",
            ]
        else:
            title = f"Contact of {end} open; its wires {self.names.wires(wires)} hang together behind it"
            repair = [
                f"Look at {end}: contact pushed back, spread or green, or its crimp off all wires?",
                "Seat the contact until it locks, or crimp all its wires into a new one.",
            ]
        others = self.adapter_lead(ends)
        place = [self.names.place(end)]
        return self._made(fault, ends, title, place, repair, wires=wires, alternatives=others)

    def _open_part(self, fault: Fault) -> Finding:
        name, ends = self.wiring.edges[fault.edges[0]].component, self._ends(fault.leaves)
        part = self.loom.component_by_name.get(name)
        at = part.ends if part else ends
        is_fuse = part is not None and part.form.blows
        cause = Cause.BLOWN_FUSE if is_fuse else Cause.OPEN_PART
        word = "blown or missing" if is_fuse else "open or missing"
        instead = f": where it is bad, fit {new_part(part)}" if part is not None else ""
        repair = [f"Pull {name} and meter it{instead}."]
        if is_fuse:
            repair.append(
                "A fuse blows for a reason: look for a short on what it feeds before the battery goes on."
            )
        repair.append(f"Look at its contacts at {listed(at)}: spread or burnt?")
        return self._made(
            fault,
            tuple(end for end in at if end.cavity) or ends,
            f"{part.kind.capitalize() if part else 'Part'} {name} {word} between {listed(at)}"
            if name
            else f"Path open between {listed(ends)}",
            [self.names.place(end) for end in at],
            repair,
            components=(name,) if name else (),
            cause=cause,
        )

    def _open_splice(self, fault: Fault) -> Finding:
        end = self.wiring.node_ends[fault.splices[0]]
        wires = tuple(wire.name for wire in self.loom.wires_at.get(end, ()))
        return self._made(
            fault,
            self._ends(fault.leaves),
            f"Splice {end} open between {self.names.wires(wires)}",
            [self.names.place(end)],
            [
                f"Open the cover of splice {end}; look for corrosion or a crimp that let go.",
                "Cut back to bright copper and make the joint again: crimp splice, sealed heat-shrink.",
            ],
            wires=wires,
        )

    def _board(self, fault: Fault) -> Finding:
        ends = self._ends(fault.leaves)
        return self._made(
            fault,
            ends,
            f"{fault.detail.capitalize()} of the scanner reach nothing: the board or its lead, not the loom",
            [f"the scanner's board and the adapter's plug with {fault.detail}"],
            [
                f"Push home what carries {fault.detail}; prove again.",
                "If it stays, test the bench itself with nothing plugged.",
            ],
            alternatives=(
                Alternative(
                    text=f"every wire of {listed(ends)} is open, each by itself",
                    cause=Cause.BROKEN_WIRE,
                    cavities=ends,
                    wires=self._wires_at(ends),
                    tell_apart="Put the same adapter plug on another board and prove again.",
                ),
            ),
        )

    def _not_plugged(self, fault: Fault) -> Finding:
        plug = fault.connectors[0]
        ends = self._ends(fault.leaves)
        return self._made(
            fault,
            ends,
            f"{plug} reaches nothing: not plugged to the bench, or not home",
            [self.names.place(ends[0])],
            [
                f"Push {plug} home until its latch clicks; check the adapter's lead for it.",
                f"If it was home, look behind {plug} for a bundle that is cut through.",
            ],
            alternatives=(
                Alternative(
                    text=f"every wire of {plug} is open, each by itself",
                    cause=Cause.BROKEN_WIRE,
                    cavities=ends,
                    wires=self._wires_at(ends),
                    tell_apart=f"Unplug {plug}, plug it in again and prove again.",
                ),
            ),
        )
