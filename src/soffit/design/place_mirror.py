"""Mirror symmetry of a layout on its lattice: for nudges that are wanted symmetric."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

Place = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Mirror:
    """A mirror image about the middle of a pattern, or half a turn.

    Parameters
    ----------
    column_sum, row_sum
        What a column or row and its image add up to; ``None`` where it stays.
    """

    column_sum: int | None
    row_sum: int | None

    def of(self, place: Place) -> Place:
        """Return the image of a place.

        Parameters
        ----------
        place
            Column and row.
        """
        column, row = place
        return (
            column if self.column_sum is None else self.column_sum - column,
            row if self.row_sum is None else self.row_sum - row,
        )

    def moved(self, place: Place, step: Place) -> Place:
        """Return where the image of a place goes when the place makes a step.

        Parameters
        ----------
        place
            Column and row.
        step
            Columns and rows.
        """
        return self.of((place[0] + step[0], place[1] + step[1]))


def mirrors_of(places: Sequence[Place]) -> tuple[Mirror, ...]:
    """Return the mirrors about its middle that leave a pattern as it is.

    Parameters
    ----------
    places
        Columns and rows.

    Returns
    -------
    tuple of Mirror
        Left to right, front to back and half a turn, as far as they hold.

    Examples
    --------
    >>> len(mirrors_of([(0, 0), (4, 0), (0, 3), (4, 3)]))
    3
    >>> mirrors_of([(0, 0), (4, 0), (1, 3)])
    ()
    """
    if not places:
        return ()
    columns, rows = zip(*places, strict=True)
    across, along = min(columns) + max(columns), min(rows) + max(rows)
    every = set(places)
    return tuple(
        mirror
        for mirror in (Mirror(across, None), Mirror(None, along), Mirror(across, along))
        if {mirror.of(place) for place in every} == every
    )


def orbits(stuck: Iterable[Place], mirrors: Sequence[Mirror]) -> list[tuple[Place, ...]]:
    """Return every stuck place with its images, each place once.

    Parameters
    ----------
    stuck
        Columns and rows.
    mirrors
        Of the pattern.
    """
    out: list[tuple[Place, ...]] = []
    seen: set[Place] = set()
    for place in stuck:
        if place in seen:
            continue
        images = tuple(dict.fromkeys((place, *(mirror.of(place) for mirror in mirrors))))
        seen.update(images)
        out.append(images)
    return out


def images_of_step(
    place: Place, step: Place, mirrors: Sequence[Mirror]
) -> tuple[Place, ...] | None:
    """Return where a place and all its images go; None where a step breaks the symmetry.

    Parameters
    ----------
    place
        Column and row.
    step
        Columns and rows.
    mirrors
        Of the pattern.
    """
    went = {place: (place[0] + step[0], place[1] + step[1])}
    for mirror in mirrors:
        image, to = mirror.of(place), mirror.moved(place, step)
        if went.setdefault(image, to) != to:
            return None
    targets = tuple(went.values())
    return targets if len(set(targets)) == len(targets) else None
