"""Faults that no meter on the line tells apart: one group, and what separates it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from soffit.measure.expected import looks_to_take
from soffit.measure.posterior import Posterior, sized
from soffit.measure.suspects import Suspect, fault_kinds

SAME_LN: Final = 0.03
"""Readings that differ by less than 3 % at every joint are the same to a meter with its leads
(common practice, no source)."""
MOST: Final = 12
LEAST_SHARE: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class EqualGroup:
    """Suspicions that read the same everywhere.

    Parameters
    ----------
    words
        What each would be, in words.
    share
        Their probability together.
    signs
        How to tell them apart on the ladder.
    """

    words: tuple[str, ...]
    share: float
    signs: tuple[str, ...]


def equal_groups(
    posterior: Posterior, *, tones_hz: Sequence[float] = (1000.0,), with_alone: bool = True
) -> tuple[EqualGroup, ...]:
    """Group the likeliest suspicions that read the same at the rack and at every joint.

    Parameters
    ----------
    posterior
        What is known.
    tones_hz
        Tones of the meter in hand. [Hz]
    with_alone
        Whether pieces may be unplugged and read alone.

    Returns
    -------
    tuple of EqualGroup
        Groups of two and more, the likeliest first.
    """
    top = [
        i for i in posterior.top(0.999, most=MOST) if posterior.probability[i] >= LEAST_SHARE / MOST
    ]
    suspects = [posterior.suspects[i] for i in top]
    if len(suspects) < 2:
        return ()
    looks = [
        look
        for look in looks_to_take(posterior.plan, tones_hz)
        if with_alone or look.direction != "alone"
    ]
    at = sized(suspects, posterior.delta[top])
    mean = posterior.model.predict(at, looks, with_slope=False).mean
    left = list(range(len(suspects)))
    groups: list[EqualGroup] = []
    while left:
        first = left[0]
        apart = np.max(np.abs(mean[left] - mean[first]), axis=1)
        same = [k for k, d in zip(left, apart, strict=True) if d < SAME_LN]
        left = [k for k in left if k not in same]
        group = _group(posterior, [suspects[k] for k in same], [top[k] for k in same])
        if len(group.words) > 1 and group.share >= LEAST_SHARE:
            groups.append(group)
    return tuple(sorted(groups, key=lambda g: -g.share))


def _group(posterior: Posterior, suspects: Sequence[Suspect], indices: Sequence[int]) -> EqualGroup:
    kinds = fault_kinds()
    words: dict[str, None] = {}
    signs: dict[str, None] = {}
    for suspect in suspects:
        kind = kinds[suspect.kind]
        words[kind.words.format(place=posterior.plan.name(suspect.place))] = None
        if kind.sign:
            signs[f"{kind.name}: {kind.sign}"] = None
    share = float(np.sum(posterior.probability[list(indices)]))
    return EqualGroup(words=tuple(words), share=share, signs=tuple(signs))
