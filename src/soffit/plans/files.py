"""What kind of plan a file is, from its first bytes; near misses say what to ask for."""

from itertools import pairwise
from pathlib import Path
from typing import Final, Literal

from soffit.errors import JobError

PlanKind = Literal["ifc", "dxf", "pdf", "image", "list", "workbook"]

MOST_BYTES: Final = 400_000_000
_HEAD: Final = 4096

_ASK: Final = {
    "dwg": (
        "a DWG drawing",
        "its format is not open and nothing here can read it",
        "ask for the same drawing as DXF, or as PDF plotted to scale",
    ),
    "zip": (
        "a zip archive",
        "what it holds is not clear without opening it",
        "take the plan out of the archive and read that file",
    ),
    "heic": (
        "a HEIC photograph",
        "nothing here can open this kind of picture",
        "ask for the photograph as JPEG or PNG (telephones can send it so)",
    ),
    "xls": (
        "an old workbook (.xls) or another compound file",
        "only workbooks of the kind .xlsx are read",
        "save it as .xlsx or as CSV",
    ),
    "rvt": (
        "a building model in the form of the program that made it",
        "only the open form IFC is read",
        "ask for an export as IFC with rooms (spaces) included",
    ),
    "ifcxml": (
        "an IFC model as XML",
        "only the STEP form of IFC is read",
        "ask for the model as .ifc in STEP form",
    ),
    "rtf": (
        "a text document",
        "a plan or a list of rooms is wanted",
        "save the list as CSV or XLSX",
    ),
}


def refuse(path: Path, what: str, why: str, do: str) -> JobError:
    """Return the error for a plan file that cannot be used.

    Parameters
    ----------
    path
        The file.
    what, why, do
        Parts of the error.

    Returns
    -------
    JobError
        To be raised.
    """
    return JobError(what=what, where=str(path), why=why, do=do)


def _near_miss(path: Path, name: str) -> JobError:
    kind, why, do = _ASK[name]
    return refuse(path, f"{path.name} is {kind}", why, do)


def _head(path: Path) -> bytes:
    if not path.exists():
        raise refuse(
            path, f"there is no file {path.name!r}", "nothing is there", "check its name and folder"
        )
    if not path.is_file():
        raise refuse(path, f"{path.name} is a folder", "a plan is a file", "name the file in it")
    size = path.stat().st_size
    if size == 0:
        raise refuse(path, f"{path.name} is empty", "it has no bytes", "send or copy it again")
    if size > MOST_BYTES:
        raise refuse(
            path,
            f"{path.name} has {size / 1e6:.0f} MB",
            f"files up to {MOST_BYTES / 1e6:.0f} MB are read",
            "ask for one storey, or for the model without furniture and site",
        )
    with path.open("rb") as handle:
        return handle.read(_HEAD)


def _image(head: bytes) -> bool:
    return (
        head.startswith((b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff", b"GIF8", b"BM", b"II*\0", b"MM\0*"))
        or head[8:12] == b"WEBP"
    )


def _zipped(path: Path) -> PlanKind:
    """Tell a workbook from other archives by the names inside, without unpacking anything."""
    import zipfile

    try:
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist()[:10_000])
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        raise refuse(
            path,
            f"{path.name} is a damaged archive",
            "it begins like a zip archive and cannot be opened as one",
            "send or copy it again",
        ) from None
    if "xl/workbook.xml" in names:
        return "workbook"
    if any(name.lower().endswith(".ifc") for name in names):
        return "ifc"
    raise _near_miss(path, "zip")


def _missed(path: Path, head: bytes) -> str | None:
    suffix = path.suffix.lower()
    if head[:4] == b"AC10" or suffix == ".dwg":
        return "dwg"
    if head[4:12] in {b"ftypheic", b"ftypheix", b"ftypmif1", b"ftypmsf1", b"ftypheim"}:
        return "heic"
    if head.startswith(b"\xd0\xcf\x11\xe0"):
        return "rvt" if suffix in {".rvt", ".rfa"} else "xls"
    if head.lstrip(b"\xef\xbb\xbf \r\n\t").startswith((b"<?xml", b"<ifc", b"<")):
        return "ifcxml" if b"ifc" in head[:_HEAD].lower() else None
    return "rtf" if head.startswith(b"{\\rtf") else None


def _is_dxf(head: bytes) -> bool:
    if head[:22].endswith(b" Binary DXF\r\n\x1a\0"):
        return True
    lines = [line.strip() for line in head.lstrip(b"\xef\xbb\xbf").splitlines()[:40]]
    return (b"0", b"SECTION") in set(pairwise(lines))


def kind_of_file(path: Path) -> PlanKind:
    """Tell what kind of plan a file is; its bytes count, not its name.

    Parameters
    ----------
    path
        The file.

    Returns
    -------
    PlanKind
        What reads it.

    Raises
    ------
    JobError
        If it is missing, empty, too large, or of a kind that cannot be read: with what to ask
        the customer for.
    """
    head = _head(path)
    plain = head.lstrip(b"\xef\xbb\xbf \r\n\t")
    if plain.startswith(b"ISO-10303-21"):
        return "ifc"
    if b"%PDF-" in head[:1024]:
        return "pdf"
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06")):
        return _zipped(path)
    if _image(head):
        return "image"
    missed = _missed(path, head)
    if missed:
        raise _near_miss(path, missed)
    if _is_dxf(head):
        return "dxf"
    return _text_kind(path, head)


def _text_kind(path: Path, head: bytes) -> PlanKind:
    wanted = path.suffix.lower().lstrip(".")
    if wanted in {"ifc", "dxf", "pdf", "xlsx", "png", "jpg", "jpeg", "ifczip", "tif", "tiff"}:
        raise refuse(
            path,
            f"{path.name} is not a .{wanted} file",
            "its first bytes are not those of such a file",
            "send or copy it again, or ask for another export",
        )
    control = sum(byte < 9 or 13 < byte < 32 for byte in head)
    if control > 0.02 * len(head) and not head.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise refuse(
            path,
            f"{path.name} is no plan that can be read",
            "its first bytes belong to none of IFC, DXF, PDF, PNG, JPEG, XLSX or a list as text",
            "ask for the plan as IFC, DXF or PDF, or make a list of rooms as CSV",
        )
    return "list"
