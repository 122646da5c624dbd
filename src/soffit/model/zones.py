"""Zones: places that share source and level control; a zone may span lines."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """One zone.

    Parameters
    ----------
    room_keys
        Rooms that belong to it.
    has_volume_control
        Whether it has a control of its own on the wall.
    priority
        Paging priority, 0 the highest.
    delay_s
        Delay of the zone as planned. [s]
    """

    key: str
    label: str
    room_keys: tuple[str, ...]
    source: str = ""
    has_volume_control: bool = False
    priority: int = 1
    delay_s: float = 0.0
    note: str = ""
