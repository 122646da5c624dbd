"""One door to all readers: a file of any kind to a proposal."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from soffit.plans.files import kind_of_file, refuse
from soffit.plans.grids import with_grids
from soffit.plans.keys import key_of
from soffit.plans.proposal import PlanProposal, ReadWishes, StoreyProposal


def read_file(
    path: Path, others: Sequence[Path] = (), wishes: ReadWishes | None = None
) -> PlanProposal:
    """Read a plan file.

    Parameters
    ----------
    path
        The file.
    others
        Further files of the same building and the same coordinates (IFC only).
    wishes
        What a person says that the file does not.

    Returns
    -------
    PlanProposal
        Rooms and obstacles, each with its confidence and what was assumed.

    Raises
    ------
    JobError
        If it cannot be read: with what to ask the customer for.
    MissingExtraError
        If the library for its kind is not installed.
    """
    wishes = wishes or ReadWishes()
    return with_grids(_on_storey(_read(path, others, wishes), wishes))


def _on_storey(proposal: PlanProposal, wishes: ReadWishes) -> PlanProposal:
    """Name the only storey of a drawing or list as a person says."""
    if (not wishes.storey and wishes.elevation_m is None) or len(proposal.storeys) != 1:
        return proposal
    old = proposal.storeys[0]
    label = wishes.storey or old.label
    level = old.elevation_m if wishes.elevation_m is None else wishes.elevation_m
    key = key_of(label, set(), fallback="storey")
    return replace(
        proposal,
        storeys=(StoreyProposal(key=key, label=label, elevation_m=level),),
        rooms=tuple(replace(room, storey_key=key) for room in proposal.rooms),
        drawn=tuple(replace(lines, storey_key=key) for lines in proposal.drawn),
    )


def _read(path: Path, others: Sequence[Path], wishes: ReadWishes) -> PlanProposal:
    kind = kind_of_file(path)
    for other in others:
        if kind != "ifc" or kind_of_file(other) != "ifc":
            raise refuse(
                other,
                f"{other.name} cannot be laid over {path.name}",
                "only models (IFC) share their coordinates with each other",
                "read the files one after the other into the same folder",
            )
    if kind == "ifc":
        from soffit.plans.ifc import read_ifc

        return read_ifc(path, others, wishes)
    if kind == "list":
        from soffit.plans.room_list import read_room_list

        return read_room_list(path, wishes)
    if kind == "workbook":
        from soffit.plans.room_list import rooms_of_rows
        from soffit.plans.workbook import read_workbook

        return rooms_of_rows(path, read_workbook(path), wishes)
    return _read_drawing(path, kind, wishes)


def _read_drawing(path: Path, kind: str, wishes: ReadWishes) -> PlanProposal:
    if kind == "dxf":
        from soffit.plans.dxf import read_dxf

        return read_dxf(path, wishes)
    if kind == "pdf":
        from soffit.plans.pdf import read_pdf

        return read_pdf(path, wishes)
    from soffit.plans.photo import read_photo

    return read_photo(path, wishes)
