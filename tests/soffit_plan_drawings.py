"""Invented floors drawn as DXF with the sloppiness of real ones; the truth comes with them."""

import itertools
import random

import ezdxf

WALL = 0.15


def floor(seed, *, rows=6, columns=12, unit="mm", doors=(0.9, 1.4), jitter=0.010, missing=0.10,
          overshoot=0.020, names=True):  # fmt: skip
    """Rows of rooms on corridors; return the document and (name, low x, low y, high x, high y)."""
    rng = random.Random(seed)
    size = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254}[unit]
    document = ezdxf.new("R2013")
    document.header["$INSUNITS"] = 4  # always says millimetres, right or wrong
    space = document.modelspace()
    wide = [rng.uniform(2.8, 6.0) for _ in range(columns)]
    truth, y, number = [], 0.0, 0
    lines = []
    for row in range(rows):
        deep = rng.uniform(3.0, 6.0)
        x = 0.0
        door_up = row % 2 == 0  # rooms of even rows open upwards, of odd rows downwards
        for width in wide:
            number += 1
            low, high = (x, y), (x + width, y + deep)
            truth.append((f"Office {number}", *low, *high))
            lines += _room(rng, low, high, rng.uniform(*doors), door_up)
            x += width + WALL
        length = x - WALL
        y += deep + WALL
        if door_up:
            # the corridor between two rows: its far face lies under the next row's rooms
            truth.append((f"Corridor {row // 2 + 1}", 0.0, y, length, y + 2.0))
            lines += [((0.0, y), (0.0, y + 2.0)), ((length, y), (length, y + 2.0))]
            y += 2.0 + WALL
    lines += _corridor_faces(lines, truth)
    for line in lines:
        _draw(space, rng, line, size, jitter, missing, overshoot)
    for name, low_x, low_y, high_x, high_y in truth if names else ():
        at = ((low_x + high_x) / 2 / size, (low_y + high_y) / 2 / size)
        text = space.add_text(name, height=0.2 / size, dxfattribs={"layer": "TEXT"})
        text.set_placement(at, align=ezdxf.enums.TextEntityAlignment.MIDDLE_CENTER)
    return document, truth


def _room(rng, low, high, door, up):
    """Faces of a room with a gap for its door, and the jambs through the wall."""
    side_y = high[1] if up else low[1]
    other = low[1] if up else high[1]
    at = rng.uniform(low[0] + 0.3, high[0] - 0.3 - door)
    away = WALL if up else -WALL
    return [
        (low, (low[0], high[1])),
        ((high[0], low[1]), high),
        ((low[0], other), (high[0], other)),
        ((low[0], side_y), (at, side_y)),
        ((at + door, side_y), (high[0], side_y)),
        ((at, side_y), (at, side_y + away)),
        ((at + door, side_y), (at + door, side_y + away)),
    ]


def _corridor_faces(lines, truth):
    """Faces of corridors, open where doors are."""
    found = []
    jambs = [(a[0], max(a[1], b[1]), min(a[1], b[1])) for a, b in lines
             if a[0] == b[0] and abs(abs(a[1] - b[1]) - WALL) < 1e-9]  # fmt: skip
    for name, low_x, low_y, high_x, high_y in truth:
        if not name.startswith("Corridor"):
            continue
        for face, index in ((low_y, 1), (high_y, 2)):
            cuts = sorted(jamb[0] for jamb in jambs if abs(jamb[index] - face) < 1e-9)
            stops = [low_x, *cuts, high_x]
            found += [((a, face), (b, face)) for a, b in zip(stops[::2], stops[1::2], strict=True)]
    return found


def _draw(space, rng, line, size, jitter, missing, overshoot):
    (x1, y1), (x2, y2) = line
    length = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    ux, uy = (x2 - x1) / length, (y2 - y1) / length
    start, stop = (-rng.uniform(0, overshoot), length + rng.uniform(0, overshoot))
    cuts = [start]
    while stop - cuts[-1] > 0.8:
        cuts.append(cuts[-1] + rng.uniform(0.3, 0.6))
    cuts.append(stop)
    for a, b in itertools.pairwise(cuts):
        if b - a < 0.6 and rng.random() < missing:
            continue
        ends = [
            ((x1 + ux * t + rng.uniform(-jitter, jitter)) / size,
             (y1 + uy * t + rng.uniform(-jitter, jitter)) / size)
            for t in (a, b)
        ]  # fmt: skip
        space.add_line(*ends, dxfattribs={"layer": "A-WALL"})
