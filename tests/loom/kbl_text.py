"""KBL files for tests, put together by hand from their elements."""

from __future__ import annotations

from itertools import count

HEAD = (
    '<kbl:KBL_container xmlns:kbl="http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema" '
    'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance" id="k" version_id="{version}">'
)
UNITS = (
    '<Unit id="mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>'
    '<Unit id="mm2"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix>'
    "<Si_dimension>square</Si_dimension></Unit>"
    '<Unit id="A"><Unit_name>ampere</Unit_name></Unit>'
)
_numbers = count(1)


def part(number: str = "1", about: str = "/NULL") -> str:
    """What every part starts with."""
    return (
        f"<Part_number>{number}</Part_number><Company_name>/NULL</Company_name><Version>/NULL</Version>"
        f"<Abbreviation>/NULL</Abbreviation><Description>{about}</Description>"
    )


def value(tag: str, number: float | str, unit: str) -> str:
    """A numerical value with its unit."""
    return (
        f'<{tag} id="v{next(_numbers)}"><Unit_component>{unit}</Unit_component>'
        f"<Value_component>{number}</Value_component></{tag}>"
    )


def colour(tag: str, *letters: str) -> str:
    """Colours of a wire, base first."""
    kinds = ["Grundfarbe", *["Kennfarbe"] * 3]
    return "".join(
        f'<{tag} id="v{next(_numbers)}"><Colour_type>{kind}</Colour_type>'
        f"<Colour_value>{said}</Colour_value></{tag}>"
        for kind, said in zip(kinds, letters, strict=False)
    )


def wire_part(key: str = "wp", *letters: str, area: float = 1.0) -> str:
    """A single wire as a part."""
    return (
        f'<General_wire id="{key}">{part()}{value("Cross_section_area", area, "mm2")}'
        f"{colour('Cover_colour', *(letters or ('rt',)))}</General_wire>"
    )


def length(number: float, kind: str = "DMU") -> str:
    """One length of a wire in mm."""
    return (
        f'<Length_information id="v{next(_numbers)}"><Length_type>{kind}</Length_type>'
        f"{value('Length_value', number, 'mm')}</Length_information>"
    )


def housing(key: str, *cavities: str) -> str:
    """A connector housing with one slot."""
    listed = "".join(
        f'<Cavities id="{key}.{name}"><Cavity_number>{name}</Cavity_number></Cavities>' for name in cavities
    )
    return (
        f'<Connector_housing id="{key}">{part()}<Slots id="{key}.s"><Number_of_cavities>{len(cavities)}'
        f"</Number_of_cavities>{listed}</Slots></Connector_housing>"
    )


def connector(
    name: str, of: str, *cavities: str, usage: str = "", points: tuple[str, ...] = (), extra: str = ""
) -> str:
    """A connector with contact points ``NAME.CAVITY.p``, in all cavities or in ``points``."""
    said = f"<Usage>{usage}</Usage>" if usage else ""
    contacts = "".join(contact(name, cavity) for cavity in (points or cavities))
    placed = "".join(f'<Cavities id="{name}.{one}"><Part>{of}.{one}</Part></Cavities>' for one in cavities)
    return (
        f'<Connector_occurrence id="{name}.o"><Id>{name}</Id>{said}<Part>{of}</Part>{contacts}{extra}'
        f'<Slots id="{name}.s"><Part>{of}.s</Part>{placed}</Slots></Connector_occurrence>'
    )


def contact(name: str, *cavities: str) -> str:
    """A contact point in one or more cavities of a connector."""
    keys = " ".join(f"{name}.{cavity}" for cavity in cavities)
    return (
        f'<Contact_points id="{name}.{cavities[0]}.p"><Id>{name}</Id>'
        f"<Contacted_cavity>{keys}</Contacted_cavity></Contact_points>"
    )


def wire(name: str, lengths: str = "", of: str = "wp") -> str:
    """A single wire."""
    return (
        f'<General_wire_occurrence xsi:type="kbl:Wire_occurrence" id="w{name}"><Part>{of}</Part>'
        f"{lengths or length(1000)}<Wire_number>{name}</Wire_number></General_wire_occurrence>"
    )


def connection(name: str, *contacts: str, signal: str = "", of: str = "") -> str:
    """A connection of a wire between contact points, given as CONNECTOR.CAVITY."""
    said = f"<Signal_name>{signal}</Signal_name>" if signal else ""
    steps = max(len(contacts) - 1, 1)
    ends = "".join(
        f'<Extremities id="v{next(_numbers)}"><Position_on_wire>{index / steps}</Position_on_wire>'
        f"<Contact_point>{one}.p</Contact_point></Extremities>"
        for index, one in enumerate(contacts)
    )
    return f'<Connection id="c{name}"><Id>{name}</Id>{said}<Wire>{of or f"w{name}"}</Wire>{ends}</Connection>'


def harness(body: str, after: str = "") -> str:
    """The harness of a file; ``after`` holds configurations and modules."""
    return (
        f'<Harness id="h">{part("4711", "test harness")}'
        "<Car_classification_level_2>/NULL</Car_classification_level_2>"
        f"<Model_year>/NULL</Model_year><Content>harness complete set</Content>{body}{after}</Harness>"
    )


def file(parts: str, body: str, after: str = "", rest: str = "", version: str = "2.4 SR-1") -> bytes:
    """A whole file: parts before the harness, its body, and what follows it before the units."""
    return (
        HEAD.format(version=version) + parts + harness(body, after) + rest + UNITS + "</kbl:KBL_container>"
    ).encode()
