"""Random air, rooms and pistons for comparisons, the same in every Python (see sti_cases.py)."""

import random

N_CASES = 300


def air(number: int) -> tuple[float, float, float]:
    """Temperature [°C], humidity [%], pressure [kPa]."""
    chance = random.Random(9613_000 + number)
    return chance.uniform(-15, 45), chance.uniform(10, 95), chance.uniform(80, 108)


def room(number: int) -> tuple[list[float], list[float], float]:
    """Dimensions [m], mean absorption of the three pairs of walls, air attenuation m [1/m]."""
    chance = random.Random(3382_000 + number)
    size = [chance.uniform(2.5, 40), chance.uniform(2.5, 30), chance.uniform(2.3, 12)]
    return size, [chance.uniform(0.02, 0.9) for _ in range(3)], chance.uniform(0.0, 0.03)


def cone(number: int) -> tuple[float, float]:
    """Wave number times radius, angle from the axis [rad]."""
    chance = random.Random(442_000 + number)
    return chance.uniform(0.05, 30.0), chance.uniform(0.0, 1.5707)
