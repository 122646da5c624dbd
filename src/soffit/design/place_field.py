"""What placing needs of the sound field: energy per watt of one site at every ear, for one measure.

A measure (a band, or dBA of the programme) is a weighted sum of octave bands, so it stays linear in
the watts: a layout's energy is a sum of columns, and moving one speaker swaps one column.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from soffit.acoustics.direct import Radiator
from soffit.acoustics.radial import look_up, radial_table
from soffit.acoustics.room import reverberant_energy_per_watt
from soffit.acoustics.visibility import Outline
from soffit.decibel import power_ratio
from soffit.design.place_walls import Early, early_of
from soffit.evaluate.sound_ears import Ears
from soffit.evaluate.sound_room import RoomAcoustics
from soffit.evaluate.sound_source import Sources, columns, measure_weights
from soffit.model.survey import EvennessMeasure

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_PAIRS_AT_ONCE: Final = 1_000_000
_MOST_STORED: Final = 8000


class ColumnStore:
    """Columns of sites that were computed once, at all ears of a room, for rooms with corners.

    Parameters
    ----------
    ears
        All ears.
    """

    def __init__(self, ears: Ears) -> None:
        self.ears = ears
        self._columns: dict[tuple[float, float, float], NDArray[np.float32]] = {}

    def get(
        self, site_m: FloatArray, make: Callable[[FloatArray], FloatArray]
    ) -> NDArray[np.float32]:
        """Return columns, computing those that are new.

        Parameters
        ----------
        site_m : (n, 3)
            Positions. [m]
        make
            Columns of new positions at all ears.
        """
        keys = [(round(x, 6), round(y, 6), round(z, 6)) for x, y, z in site_m.tolist()]
        new = sorted({key for key in keys if key not in self._columns})
        if new:
            for key, column in zip(new, make(np.array(new)), strict=True):
                self._columns[key] = column.astype(np.float32)
        return np.stack([self._columns[key] for key in keys])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Field:
    """One type in one room, one measure, one set of ears.

    Parameters
    ----------
    radiator
        What the type radiates per watt at the voice coil.
    weight : (n_bands,)
        Weights of the octave bands in the measure.
    reverberant
        Reverberant energy per watt and speaker in the measure; 0 where direct sound counts. [1/W]
    walls
        Who sees whom.
    ears
        Where it is judged.
    fixed_energy : (n_ears,)
        Energy of what is placed by hand, for one watt at every speaker that is searched.
    air_db_m : (n_bands,)
        Absorption of air. [dB/m]
    """

    radiator: Radiator
    weight: FloatArray
    reverberant: float
    walls: Outline
    ears: Ears
    fixed_energy: FloatArray
    air_db_m: FloatArray
    store: ColumnStore | None = None
    """Columns at all ears of the room; ``None`` where they are quick to compute."""
    index: NDArray[np.intp] | None = None
    """Which of the ears of the store this field has."""
    early: Early | None = None
    """First reflections of walls and floor; ``None`` where they do not count."""

    @property
    def is_axial(self) -> bool:
        """Whether the type radiates alike all round its axis."""
        return self.radiator.directivity.vertical_energy_ratio is None

    def columns(self, site_m: FloatArray) -> FloatArray:
        """Return the energy per watt of each site at each ear, walls counted.

        Parameters
        ----------
        site_m : (n_sites, 3)
            Positions of speakers that face down. [m]

        Returns
        -------
        (n_sites, n_ears)
            Energy of the measure. [1/W]
        """
        if self.store is not None and len(site_m):
            every = self.store.ears.point_m
            found = self.store.get(site_m, lambda new: self._made(new, every))
            chosen = found if self.index is None else found[:, self.index]
            return chosen.astype(np.float64)
        return self._made(site_m, self.ears.point_m)

    def _made(self, site_m: FloatArray, ears: FloatArray) -> FloatArray:
        sources = downward(self.radiator, site_m)
        out = np.empty((len(site_m), len(ears)))
        step = max(1, _PAIRS_AT_ONCE // max(1, len(ears)))
        for first in range(0, len(site_m), step):
            some = np.arange(first, min(first + step, len(site_m)))
            out[some] = columns(
                sources,
                some,
                ears,
                walls=self.walls,
                air_db_m=self.air_db_m,
                weights=self.weight,
            )[0].T
            if self.early is not None:
                out[some] += self.early.columns(self.radiator, site_m[some], ears, self.weight)
        out += self.reverberant
        return out

    def energy(self, site_m: FloatArray, power_w: FloatArray | None = None) -> FloatArray:
        """Return the energy of a layout at every ear by the public field function.

        Parameters
        ----------
        site_m : (n, 3)
            Positions. [m]
        power_w : (n,)
            Watts at the voice coils; one each by default. [W]

        Returns
        -------
        (n_ears,)
            Energy of the measure, hand-placed speakers included.
        """
        watts = np.ones(len(site_m)) if power_w is None else np.asarray(power_w, dtype=np.float64)
        total = self.fixed_energy.copy()
        step = max(1, _PAIRS_AT_ONCE // max(1, self.ears.count))
        for first in range(0, len(site_m), step):
            part = slice(first, first + step)
            total += watts[part] @ self.columns(site_m[part])
        return total

    def thinned(self, keep: BoolArray) -> "Field":
        """Return the same field at some of the ears.

        Parameters
        ----------
        keep : (n_ears,)
            Which ears.
        """
        ears = replace(
            self.ears, point_m=self.ears.point_m[keep], area_index=self.ears.area_index[keep]
        )
        index = np.flatnonzero(keep) if self.index is None else self.index[keep]
        return replace(self, ears=ears, fixed_energy=self.fixed_energy[keep], index=index)

    def kernel(self, throw_m: float) -> "Kernel":
        """Return energy per watt over horizontal distance for one throw.

        Parameters
        ----------
        throw_m
            Height of the speakers over the ears. [m]
        """
        table = radial_table(
            self.radiator, throw_m=throw_m, air_db_m=self.air_db_m, weights=self.weight
        )
        return Kernel(table=table, throw_m=throw_m)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kernel:
    """Energy per watt over horizontal distance.

    Parameters
    ----------
    table : (1, n_entries)
        Of ``acoustics.radial``.
    throw_m
        Height that it was made for. [m]
    """

    table: FloatArray
    throw_m: float

    def at(self, square_m2: FloatArray) -> FloatArray:
        """Return energies at squared horizontal distances.

        Parameters
        ----------
        square_m2 : (...)
            Squared distances. [m²]

        Returns
        -------
        (...)
            Energy per watt. [1/W]
        """
        return np.asarray(look_up(self.table, self.throw_m, square_m2)[0])


def downward(radiator: Radiator, site_m: FloatArray) -> Sources:
    """Return speakers of one type that face down, one watt each.

    Parameters
    ----------
    radiator
        What they radiate.
    site_m : (n, 3)
        Positions. [m]
    """
    n = len(site_m)
    return Sources(
        keys=tuple(str(i) for i in range(n)),
        radiators=(radiator,) * n,
        position_m=np.asarray(site_m, dtype=np.float64).reshape(-1, 3),
        axis=np.tile([0.0, 0.0, -1.0], (n, 1)),
        power_w=np.ones(n),
        text="",
    )


def reverberant_per_watt(radiator: Radiator, weight: FloatArray, acoustics: RoomAcoustics) -> float:
    """Return the reverberant energy of one watt in a measure. [1/W].

    Parameters
    ----------
    radiator
        What the type radiates.
    weight : (n_bands,)
        Measure.
    acoustics
        Room constant of what is left to the diffuse field.
    """
    per_band = reverberant_energy_per_watt(
        sensitivity_energy=power_ratio(radiator.sensitivity_db),
        directivity_factor=radiator.directivity_factor,
        room_constant_m2=acoustics.diffuse_constant_m2,
    )
    return float(per_band @ weight)


def make_field(
    *,
    radiator: Radiator,
    measure: EvennessMeasure,
    share: FloatArray,
    acoustics: RoomAcoustics,
    ears: Ears,
    fixed_energy: FloatArray | None = None,
) -> Field:
    """Return the field of a measure.

    Parameters
    ----------
    radiator
        What the type radiates.
    measure
        As the brief names it.
    share : (n_bands,)
        Share of each octave in one watt of programme.
    acoustics
        Walls, air and room constant.
    ears
        Where it is judged.
    fixed_energy : (n_ears,)
        Energy of hand-placed speakers; none by default.
    """
    weight = measure_weights(measure, share)
    whole = measure.startswith("whole")
    early = early_of(acoustics) if whole else None
    is_slow = early is not None or not acoustics.walls.is_convex
    keeps = is_slow and ears.count <= _MOST_STORED
    return Field(
        store=ColumnStore(ears) if keeps else None,
        radiator=radiator,
        weight=weight,
        reverberant=reverberant_per_watt(radiator, weight, acoustics) if whole else 0.0,
        walls=acoustics.walls,
        ears=ears,
        fixed_energy=np.zeros(ears.count) if fixed_energy is None else fixed_energy,
        air_db_m=acoustics.air_db_m,
        early=early,
    )
