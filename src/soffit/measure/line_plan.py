"""One line as a meter meets it: joints, runs, taps, and where each loudspeaker hangs."""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from soffit.circuit.arrays import FloatArray
from soffit.circuit.tree import Tree, tree_of
from soffit.decibel import power_ratio

Trust = Literal["drawn up", "told", "guessed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """One joint of a line, with its loudspeaker where there is one.

    Parameters
    ----------
    key, label
        Permanent key, and what a person reads.
    parent
        Index of the place that feeds it; -1 for the rack.
    length_m
        Route length of the run that feeds it. [m]
    wire_ohm_m
        One conductor of that run. [Ω/m]
    tap_w
        Planned tap; 0 where only runs meet. [W]
    taps_w
        Taps of the transformer; empty if unknown. [W]
    loss_db
        Insertion loss. [dB]
    is_delivered
        Whether tap watts reach the loudspeaker, so that more is drawn.
    bypass_ohm
        Impedance in the low-impedance bypass. [Ω]
    low_limit_hz
        Low limit of the transformer. [Hz]
    position
        Plan position; ``None`` if unknown. [m]
    area
        Room or zone it serves, for words.
    """

    key: str
    label: str
    parent: int
    length_m: float
    wire_ohm_m: float
    tap_w: float
    taps_w: tuple[float, ...] = ()
    loss_db: float = 0.0
    is_delivered: bool = False
    bypass_ohm: float = 8.0
    low_limit_hz: float = 70.0
    position: tuple[float, float] | None = None
    area: str = ""

    @property
    def drawn_w(self) -> float:
        """Power taken from the line at its nominal voltage. [W]."""
        return self.tap_w * (float(power_ratio(self.loss_db)) if self.is_delivered else 1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Turned:
    """A line as it is met from an opened joint, looking back to the rack.

    Parameters
    ----------
    tree
        Tree whose node 0 is the far end of the opened run.
    old : (n,)
        Node of the line that each node is; the first is not to be counted.
    run : (n,)
        Place whose run feeds each node; -1 for node 0.
    """

    tree: Tree
    old: tuple[int, ...]
    run: tuple[int, ...]


@dataclass(frozen=True)
class LinePlan:
    """A line for the meter.

    Parameters
    ----------
    key, label
        Permanent key, and what a person reads.
    voltage_v
        Nominal line voltage. [V]
    places
        Joints; a place comes after the place that feeds it.
    trust
        Whether it was drawn up, told from memory or guessed from a count: sets how far real
        lengths and taps may be off.
    amplifier_w
        Rating of the amplifier's channel; 0 if unknown. [W]
    """

    key: str
    label: str
    voltage_v: float
    places: tuple[Place, ...]
    trust: Trust = "drawn up"
    amplifier_w: float = 0.0

    @cached_property
    def tree(self) -> Tree:
        """Tree of nodes: 0 is the rack, place i is node i + 1."""
        labels = ["rack", *(place.label for place in self.places)]
        return tree_of([-1, *(place.parent + 1 for place in self.places)], labels=labels)

    @cached_property
    def run_loop_ohm(self) -> FloatArray:
        """Loop resistance (n_places,) of the run that feeds each place. [Ω]."""
        return np.asarray([2.0 * place.length_m * place.wire_ohm_m for place in self.places])

    @cached_property
    def length_m(self) -> FloatArray:
        """Length (n_places,) of the run that feeds each place. [m]."""
        return np.asarray([place.length_m for place in self.places])

    @cached_property
    def nominal_ohm(self) -> FloatArray:
        """Impedance (n_places,) of each load by its drawn watts; infinite at bare joints. [Ω]."""
        watts = np.asarray([place.drawn_w for place in self.places])
        with np.errstate(divide="ignore"):
            return np.asarray(self.voltage_v**2 / watts)

    @cached_property
    def speakers(self) -> tuple[int, ...]:
        """Indices of the places that have a loudspeaker."""
        return tuple(i for i, place in enumerate(self.places) if place.tap_w > 0.0)

    @property
    def load_w(self) -> float:
        """Sum of the taps. [W]."""
        return sum(place.tap_w for place in self.places)

    @cached_property
    def reach_m(self) -> FloatArray:
        """Cable length (n_places,) from the rack to each place. [m]."""
        reach = np.zeros(len(self.places))
        for i, place in enumerate(self.places):
            reach[i] = place.length_m + (reach[place.parent] if place.parent >= 0 else 0.0)
        return reach

    def index(self, label: str) -> int | None:
        """Return the index of a place by label or key; -1 for the rack, ``None`` if unknown."""
        wanted = label.strip().casefold()
        if wanted in {"rack", "amp", "amplifier", self.label.casefold(), self.key.casefold()}:
            return -1
        for i, place in enumerate(self.places):
            if wanted in {place.label.casefold(), place.key.casefold()}:
                return i
        return None

    def beyond(self, index: int) -> tuple[int, ...]:
        """Return the places at and beyond one place; all of them for the rack."""
        return tuple(int(node) - 1 for node in self.tree.outward(index + 1) if node > 0)

    def turned(self, index: int) -> Turned:
        """Return the line as seen back towards the rack from the opened joint at a place.

        Parameters
        ----------
        index
            Place whose feeding run was taken off there.

        Returns
        -------
        Turned
            Tree, nodes and runs seen from there; the rack is an open end.
        """
        old, run, parent = [index + 1], [-1], [-1]
        children = self.tree.children()
        below = int(self.tree.parent[index + 1])
        queue = [(below, index + 1, index, 0)]
        while queue:
            node, came_from, place, feeder = queue.pop()
            old.append(node)
            run.append(place)
            parent.append(feeder)
            me = len(old) - 1
            up = int(self.tree.parent[node])
            if up >= 0 and up != came_from:
                queue.append((up, node, node - 1, me))
            queue += [(c, node, c - 1, me) for c in children[node] if c != came_from]
        return Turned(tree=tree_of(parent), old=tuple(old), run=tuple(run))

    def name(self, index: int) -> str:
        """Return what a person calls a place."""
        return "the rack" if index < 0 else self.places[index].label
