"""Turn what a room asks of its layout into records."""

from soffit.job.locate import Path
from soffit.job.problems import Problems
from soffit.job.schema import RoomEntry
from soffit.job.shapes import contains, point
from soffit.model.survey import Ring, Wish


def build_wishes(
    problems: Problems, path: Path, entry: RoomEntry, outline: Ring
) -> tuple[Wish, ...]:
    """Return the wishes of one room.

    Parameters
    ----------
    problems
        Where to collect what is wrong.
    path
        Path of the room.
    entry
        Its tables.
    outline : (n, 2)
        Its outline. [m]
    """
    for index, item in enumerate(entry.wishes):
        for name, at in (("from", item.start), ("to", item.end)):
            if not contains(outline, point(at)):
                problems.add(
                    (*path, "wishes", index, name),
                    "the row reaches outside its room",
                    why="both its ends must lie within the outline of the room",
                    do="check the place, its unit and the room",
                )
    return tuple(
        Wish(
            kind=item.kind,
            start=point(item.start),
            end=point(item.end),
            count=item.count,
            label=item.label,
            speaker_type=item.speaker_type,
        )
        for item in entry.wishes
    )
