"""Layouts in words: the pattern, and why one was chosen."""

from soffit.design.place_search import Layout
from soffit.design.tiles import Sites
from soffit.units import format_length


def pitch_text(layout: Layout, sites: Sites, *, is_imperial: bool) -> str:
    """Return the pitch of a layout as a person on a ladder counts it.

    Parameters
    ----------
    layout
        The layout.
    sites
        Tiles are counted; other places are measured.
    is_imperial
        Feet and inches instead of metres.
    """
    steps = [
        (layout.pitch_x_m, sites.pitch_x_m, layout.lines[0]),
        (layout.pitch_y_m, sites.pitch_y_m, layout.lines[1]),
    ]
    texts: list[str] = []
    for pitch, site, lines in steps:
        if pitch <= 0.0 or lines < 2:
            continue
        if sites.kind == "tile":
            tiles = pitch / site
            low = int(tiles + 1e-6)
            texts.append(str(low) if abs(tiles - low) < 1e-6 else f"{low} or {low + 1}")
        else:
            texts.append(format_length(pitch, imperial=is_imperial))
    if not texts:
        return ""
    unit = " tiles" if sites.kind == "tile" else ""
    both = texts[0] if len(set(texts)) == 1 else " by ".join(texts)
    return f"every {both}{unit}"


def pattern_text(layout: Layout, sites: Sites, *, is_imperial: bool = False) -> str:
    """Return the pattern in words, such as "4 x 6, rows aligned, every 5 tiles".

    Parameters
    ----------
    layout
        The layout.
    sites
        Its sites.
    is_imperial
        Feet and inches instead of metres.
    """
    if layout.kind == "free":
        return f"{layout.count} placed freely"
    if layout.count == 1:
        return "one speaker"
    parts = [f"{layout.lines[0]} x {layout.lines[1]}"]
    if min(layout.lines) > 1:
        parts.append({"aligned": "rows aligned"}.get(layout.kind, layout.kind))
    pitch = pitch_text(layout, sites, is_imperial=is_imperial)
    if pitch:
        parts.append(pitch)
    if layout.nudged:
        parts.append(f"{layout.nudged} beside the pattern")
    if layout.omitted:
        parts.append(f"{layout.omitted} left out")
    return ", ".join(parts)
