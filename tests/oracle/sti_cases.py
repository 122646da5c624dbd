"""The 2000 random cases of the STI comparison, the same in every Python and numpy.

Only the standard library's generator is used: its stream for a seed is part of its promise.
"""

import random

SEED = 60268
N_CASES = 2000


def case(number: int) -> dict[str, list]:
    """Modulation (7, 14) and, for most cases, speech, noise or ratio per octave."""
    chance = random.Random(SEED * 10_000 + number)
    time_s = [chance.uniform(0.2, 5.0) for _ in range(7)]
    frequencies = [0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 12.5]
    if number % 5 == 4:
        modulation = [[chance.random() for _ in frequencies] for _ in range(7)]
    else:
        modulation = [
            [1.0 / (1.0 + (6.283185307179586 * f * t / 13.8) ** 2) ** 0.5 for f in frequencies]
            for t in time_s
        ]
    speech = [chance.uniform(20.0, 110.0) for _ in range(7)]
    noise = [chance.uniform(0.0, 90.0) for _ in range(7)]
    ratio = [chance.uniform(-25.0, 30.0) for _ in range(7)]
    kind = number % 4
    return {
        "modulation": modulation,
        "speech": speech if kind in (1, 2, 3) else [],
        "noise": noise if kind == 2 else [],
        "ratio": ratio if kind in (0, 3) else [],
    }
