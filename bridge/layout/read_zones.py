"""Zones that are dimmed together, and the switch that stills all flashing."""

from __future__ import annotations

from bridge.layout.conditions import Condition
from bridge.layout.entries import Desk
from bridge.layout.findings import choice, said
from bridge.layout.model import Light, Signal
from bridge.layout.read_conditions import Nameable, read_condition
from bridge.layout.schema_when import StillEntry, ZoneEntry
from bridge.layout.text import Path
from bridge.layout.units import percent_text
from bridge.layout.zones import LEAST_OF_SIGNALS, Zone, ZoneRow


def read_zones(desk: Desk, names: Nameable) -> list[Zone]:
    """Read the section `zones`."""
    zones = []
    for key, data, path in desk.section("zones"):
        entry = desk.entry(ZoneEntry, {} if data is None else data, path)
        if entry is None:
            desk.unread.add("zones")
            continue
        rows = []
        for place, row in enumerate(entry.rows):
            when = read_condition(desk, row.when, (*path, "rows", place, "when"), names)
            if when is not None:
                rows.append(ZoneRow(when, row.level))
        zones.append(Zone(key, entry.level, entry.change, tuple(rows), desk.key_mark(path)))
    return zones


def read_still(desk: Desk, names: Nameable) -> Condition | None:
    """Read `still`: when all flashing is stilled."""
    data = desk.document.data.get("still")
    entry = None if data is None else desk.entry(StillEntry, data, ("still",))
    return None if entry is None else read_condition(desk, entry.when, ("still", "when"), names)


def look_at_zones(desk: Desk, zones: list[Zone], signals: list[Signal], lights: list[Light]) -> None:
    """Note every device with a zone that is not there, and every signal that a zone would all but put out."""
    known = {zone.name: zone for zone in zones}
    sections: dict[str, list[Signal] | list[Light]] = {"signals": signals, "lights": lights}
    for section, devices in sections.items():
        for device in devices:
            path: Path = (section, device.name, "zone")
            zone = known.get(device.zone)
            if zone is None:
                if device.zone and "zones" not in desk.unread:
                    desk.error(path, f"no zone is called {said(device.zone)}; {choice(device.zone, known)}")
            elif isinstance(device, Signal):
                lowest = min([zone.level, *(row.level for row in zone.rows)])
                if lowest < LEAST_OF_SIGNALS:
                    desk.error(
                        path,
                        f"the zone {zone.name} (line {zone.mark.line}) goes down to {percent_text(lowest)}, and "
                        f"a signal has to be seen: {percent_text(LEAST_OF_SIGNALS)} is the least for its zone",
                    )
