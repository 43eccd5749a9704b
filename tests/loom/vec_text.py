"""VEC files for tests, put together from their elements; the order of children is that of the schemas."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import count
from xml.sax.saxutils import escape

HEAD = (
    '<vec:VecContent xmlns:vec="http://www.prostep.org/ecad-if/2011/vec" '
    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="content"><VecVersion>{version}</VecVersion>'
)
UNITS = (
    '<Unit xsi:type="vec:SIUnit" id="mm2"><Exponent>2</Exponent><SiUnitName>Metre</SiUnitName>'
    '<SiPrefix>Milli</SiPrefix></Unit><Unit xsi:type="vec:SIUnit" id="mm"><SiUnitName>Metre</SiUnitName>'
    "<SiPrefix>Milli</SiPrefix></Unit>"
    '<Unit xsi:type="vec:SIUnit" id="amp"><SiUnitName>Ampere</SiUnitName></Unit>'
)
_numbers = count(1)


def key() -> str:
    return f"v{next(_numbers)}"


def tag(name: str, text: str | float) -> str:
    return f"<{name}>{escape(str(text))}</{name}>"


def value(name: str, number: float, unit: str) -> str:
    return f'<{name} id="{key()}">{tag("UnitComponent", unit)}{tag("ValueComponent", number)}</{name}>'


def specification(kind: str, own: str, body: str, name: str = "x") -> str:
    return (
        f'<Specification xsi:type="vec:{kind}" id="{own}">{tag("Identification", name)}{body}</Specification>'
    )


def part(own: str, number: str, kind: str = "Wire") -> str:
    return (
        f'<PartVersion id="{own}">{tag("CompanyName", "Tern")}{tag("PartNumber", number)}'
        f"{tag('PartVersion', '1')}{tag('PrimaryPartType', kind)}</PartVersion>"
    )


@dataclass
class Vec:
    """One file: parts and harness are collected while things are added."""

    parts: list[str] = field(default_factory=list)
    masters: list[str] = field(default_factory=list)
    components: list[str] = field(default_factory=list)
    points: dict[str, tuple[str, list[str]]] = field(default_factory=dict)
    more: list[str] = field(default_factory=list)
    signals: dict[str, str] = field(default_factory=dict)
    flat: bool = False
    """Elements of a cable beside each other, as before version 1.2."""

    def housing(self, name: str, *cavities: str, config: str = "", extra: str = "") -> None:
        """A connector of one slot; the references are called NAME.CAVITY."""
        slot = "".join(f'<Cavity id="{name}.{c}.m">{tag("CavityNumber", c)}</Cavity>' for c in cavities)
        self.masters.append(
            specification(
                "ConnectorHousingSpecification",
                f"{name}.m",
                f'{tag("DescribedPart", f"{name}.p")}<Slot xsi:type="vec:Slot" id="{name}.slot.m">'
                f"{tag('SlotNumber', 'A')}{slot}</Slot>",
            )
        )
        self.parts.append(part(f"{name}.p", f"H-{name}", "ConnectorHousing"))
        held = "".join(
            f'<CavityReference id="{name}.{c}">{tag("Identification", c)}'
            f"{tag('ReferencedCavity', f'{name}.{c}.m')}</CavityReference>"
            for c in cavities
        )
        role = (
            f'<Role xsi:type="vec:ConnectorHousingRole" id="{name}.role">{tag("Identification", name)}'
            f'{tag("ConnectorHousingSpecification", f"{name}.m")}<SlotReference xsi:type="vec:SlotReference" '
            f'id="{name}.slot">{tag("Identification", "A")}{tag("ReferencedSlot", f"{name}.slot.m")}{held}'
            "</SlotReference></Role>"
        )
        self.component(name, role, config=config, part=f"{name}.p", extra=extra)

    def component(self, name: str, roles: str, config: str = "", part: str = "", extra: str = "") -> None:
        """Any component; ``extra`` are its descriptions."""
        info = tag("ConfigInfo", config) if config else ""
        of = tag("Part", part) if part else ""
        self.components.append(
            f'<Component id="{name}.c">{info}{tag("Identification", name)}{extra}{roles}{of}</Component>'
        )

    def terminal(self, name: str, splice: bool = False) -> None:
        """A splice, or a terminal that is a ring where it stands on its own."""
        kind = "SpliceTerminalRole" if splice else "TerminalRole"
        number = "SpliceTerminal" if splice else "RingTerminal"
        self.parts.append(part(f"{name}.p", f"T-{name}", number))
        made = "SpliceTerminalSpecification" if splice else "RingTerminalSpecification"
        self.masters.append(specification(made, f"{name}.ts", tag("DescribedPart", f"{name}.p")))
        role = (
            f'<Role xsi:type="vec:{kind}" id="{name}.t">{tag("Identification", name)}'
            f"{tag('TerminalSpecification', f'{name}.ts')}</Role>"
        )
        self.component(name, role, part=f"{name}.p")

    def cable(
        self,
        name: str,
        conductors: Iterable[tuple[str, float | None, str, float | None, str, tuple[str, ...]]],
        screen: str = "",
        twisted: bool = False,
        config: str = "",
    ) -> None:
        """A cable of conductors: name, mm², colour, length in m, signal, ids of cavities or terminals."""
        listed = list(conductors)
        tree, made, references = [], [], []
        for own, area, colour, length_m, signal, ends in listed:
            kind = "ShieldSpecification" if own == screen else "CoreSpecification"
            section = value("CrossSectionArea", area, "mm2") if area is not None else ""
            self.masters.append(specification(kind, f"{own}.core", section))
            keys = (colour.split("/") if colour else []) + ["", "", ""]
            names = ("BaseColor", "FirstIdentificationColor", "SecondIdentificationColor")
            tints = "".join(
                f'<{n} id="{key()}">{tag("Key", said)}{tag("ReferenceSystem", "IEC 60757")}</{n}>'
                for n, said in zip(names, keys, strict=False)
                if said
            )
            self.masters.append(specification("InsulationSpecification", f"{own}.ins", tints))
            body = tag("ConductorSpecification", f"{own}.core") + tag("InsulationSpecification", f"{own}.ins")
            made.append(specification("WireElementSpecification", f"{own}.wes", body))
            element = "WireElement" if self.flat else "SubWireElement"
            tree.append(
                f'<{element} id="{own}.we">{tag("Identification", own)}'
                f"{tag('WireElementSpecification', f'{own}.wes')}</{element}>"
            )
            references.append(self._reference(own, length_m, signal, ends))
        group = ""
        if twisted:
            self.masters.append(
                specification("WireGroupSpecification", f"{name}.g", tag("GroupType", "Twisted"))
            )
            group = tag("WireGroupSpecification", f"{name}.g")
        subs = tag("SubWireElementSpecification", " ".join(f"{own}.wes" for own, *_ in listed))
        self.masters += made
        self.masters.append(specification("WireElementSpecification", f"{name}.wes.root", subs + group))
        self.masters.append(
            specification(
                "WireSpecification",
                f"{name}.ws",
                f"{tag('DescribedPart', f'{name}.wp')}{tag('WireElementSpecification', f'{name}.wes.root')}"
                f'<WireElement id="{name}.root">{tag("Identification", "ROOT")}'
                f"{tag('WireElementSpecification', f'{name}.wes.root')}"
                + ("</WireElement>" + "".join(tree) if self.flat else "".join(tree) + "</WireElement>"),
            )
        )
        self.parts.append(part(f"{name}.wp", f"W-{name}"))
        role = (
            f'<Role xsi:type="vec:WireRole" id="{name}.role">{tag("Identification", name)}'
            f"{tag('WireSpecification', f'{name}.ws')}{''.join(references)}</Role>"
        )
        self.component(name, role, config=config, part=f"{name}.wp")

    def _reference(self, own: str, length_m: float | None, signal: str, ends: tuple[str, ...]) -> str:
        placed = ""
        for number, at in enumerate(ends):
            placed += (
                f'<WireEnd id="{own}.{number}.e">{tag("Identification", at)}'
                f"{tag('PositionOnWire', number / max(len(ends) - 1, 1))}</WireEnd>"
            )
            kind = "t" if at.endswith(".t") else "c"
            self.points.setdefault(at, (kind, []))[1].append(f"{own}.{number}.e")
        long = ""
        if length_m is not None:
            length = value("LengthValue", length_m * 1000, "mm")
            long = f'<WireLength id="{key()}">{tag("LengthType", "DMU")}{length}</WireLength>'
        said = tag("Signal", self.signal(signal)) if signal else ""
        return (
            f'<WireElementReference id="{own}.r">{tag("Identification", own)}'
            f"{tag('ReferencedWireElement', f'{own}.we')}{said}{placed}{long}</WireElementReference>"
        )

    def signal(self, name: str) -> str:
        """The id of the signal of this name."""
        return self.signals.setdefault(name, f"signal{len(self.signals)}")

    def bytes(self, version: str = "2.1.0") -> bytes:
        """The file."""
        return (
            HEAD.format(version=version)
            + self._document("MASTERS", "PartMaster", "".join(self.masters), "masters")
            + self._document("LOOM-1", "HarnessDescription", self._harness(), "harness")
            + "".join(self.parts)
            + UNITS
            + "</vec:VecContent>"
        ).encode()

    @staticmethod
    def _document(number: str, kind: str, body: str, own: str) -> str:
        return (
            f'<DocumentVersion id="{own}">{tag("CompanyName", "Tern")}{tag("DocumentNumber", number)}'
            f"{tag('DocumentType', kind)}{tag('DocumentVersion', '1')}{body}</DocumentVersion>"
        )

    def _harness(self) -> str:
        points = ""
        for at, (kind, ends) in self.points.items():
            terminal = tag("MountedTerminal", at) if kind == "t" else ""
            cavity = (
                ""
                if kind == "t"
                else f'<CavityMounting id="{key()}">{tag("EquippedCavityRef", at)}</CavityMounting>'
            )
            wires = "".join(
                f'<WireMounting id="{key()}">{tag("ReferencedWireEnd", end)}</WireMounting>' for end in ends
            )
            own = tag("Identification", at)
            points += f'<ContactPoint id="{key()}">{own}{terminal}{cavity}{wires}</ContactPoint>'
        named = "".join(
            f'<Signal id="{own}">{tag("Identification", name)}{tag("SignalName", name)}</Signal>'
            for name, own in self.signals.items()
        )
        signals = specification("SignalSpecification", "signals", named) if named else ""
        return (
            specification("CompositionSpecification", "comp", "".join(self.components))
            + (specification("ContactingSpecification", "contacts", points) if points else "")
            + signals
            + "".join(self.more)
        )
