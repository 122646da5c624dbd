"""What a benchmark reports, and how it takes time."""

import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the report."""

    name: str
    measured: float
    unit: str
    target: float
    target_text: str
    note: str = ""

    @property
    def is_met(self) -> bool:
        """Whether the figure reached is within its target."""
        return self.measured <= self.target


def best_of(times: int, work: Callable[[], object]) -> float:
    """Return the shortest wall-clock time of several runs, in seconds."""
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - start)
    return best
