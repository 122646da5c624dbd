"""Rows of the first sheet of an XLSX workbook that has text, read with limits and without trust.

A workbook is an archive of XML parts (ECMA-376, part 1). A list of rooms needs only cell values,
so the two parts that hold them are read with the standard library; a part with a document type,
from which entities could grow, is refused.
"""

import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Final
from xml.etree import ElementTree as ET

from soffit.errors import JobError
from soffit.plans.files import refuse

_MOST_BYTES: Final = 50_000_000
_MOST_RATIO: Final = 300
_MOST_ROWS: Final = 20_000
_MOST_COLUMNS: Final = 200
_SHEET: Final = re.compile(r"xl/worksheets/sheet(\d+)\.xml")


def read_workbook(path: Path) -> list[tuple[int, list[str]]]:
    """Return the rows of the first sheet with at least two rows of text.

    Parameters
    ----------
    path
        The workbook.

    Returns
    -------
    list of tuple
        Row number as the workbook counts, and its cells as text.

    Raises
    ------
    JobError
        If it is damaged, locked, unreasonably large when unpacked, or has no rows.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            names = sorted(
                (name for name in archive.namelist() if _SHEET.fullmatch(name)),
                key=lambda name: int(_SHEET.fullmatch(name)[1]),  # type: ignore[index] # filtered
            )
            shared = _shared(path, archive)
            for name in names:
                rows = list(_rows(_part(path, archive, name), shared))
                if len(rows) > 1:
                    return rows
    except (
        zipfile.BadZipFile,
        zlib.error,
        ET.ParseError,
        OSError,
        RuntimeError,
        ValueError,
        EOFError,
        LookupError,
        NotImplementedError,
    ) as error:
        if isinstance(error, JobError):
            raise
        raise refuse(
            path,
            f"{path.name} cannot be read as a workbook",
            f"a part of it is damaged or locked: {str(error)[:120]}",
            "open and save it again, or save the list as CSV",
        ) from None
    raise refuse(
        path,
        f"{path.name} has no rows",
        "none of its sheets has a line of headings and a room",
        "begin a sheet with the line: name, length, width, height, use, ceiling",
    )


def _part(path: Path, archive: zipfile.ZipFile, name: str) -> ET.Element:
    item = archive.getinfo(name)
    ratio = item.file_size / max(1, item.compress_size)
    if item.file_size > _MOST_BYTES or (ratio > _MOST_RATIO and item.file_size > 1_000_000):
        raise refuse(
            path,
            f"{path.name} unpacks to {item.file_size / 1e6:.0f} MB",
            f"a list of rooms is far smaller; parts up to {_MOST_BYTES / 1e6:.0f} MB are read",
            "save only the sheet with the rooms, or save it as CSV",
        )
    with archive.open(item) as handle:
        text = handle.read(_MOST_BYTES + 1)
    if len(text) > _MOST_BYTES or b"<!DOCTYPE" in text or b"<!ENTITY" in text:
        raise refuse(
            path,
            f"{path.name} holds a part that is not opened",
            "it declares entities, or holds more than it says: no workbook of rooms does",
            "save the list as CSV in the program that made it",
        )
    return ET.fromstring(text)  # noqa: S314 document types were refused above


def _local(element: ET.Element) -> str:
    return element.tag.rsplit("}", maxsplit=1)[-1]


def _shared(path: Path, archive: zipfile.ZipFile) -> list[str]:
    if "xl/sharedStrings.xml" not in archive.namelist():
        return []
    root = _part(path, archive, "xl/sharedStrings.xml")
    return ["".join(_words(item)) for item in root if _local(item) == "si"]


def _words(item: ET.Element) -> Iterator[str]:
    for part in item.iter():
        if _local(part) == "t" and part.text:
            yield part.text


def _rows(root: ET.Element, shared: list[str]) -> Iterator[tuple[int, list[str]]]:
    count = 0
    for row in root.iter():
        if _local(row) != "row":
            continue
        count += 1
        if count > _MOST_ROWS:
            return
        cells: dict[int, str] = {}
        for place, cell in enumerate(item for item in row if _local(item) == "c"):
            column = _column(cell.get("r", ""), place)
            if column < _MOST_COLUMNS:
                cells[column] = _text(cell, shared).strip()
        if any(cells.values()):
            wide = max(cells) + 1
            yield int(row.get("r", count)), [cells.get(index, "") for index in range(wide)]


def _column(reference: str, place: int) -> int:
    letters = re.match(r"[A-Z]{1,3}", reference)
    if not letters:
        return place
    number = 0
    for letter in letters.group():
        number = number * 26 + ord(letter) - 64
    return number - 1


def _text(cell: ET.Element, shared: list[str]) -> str:
    if cell.get("t") == "inlineStr":
        return "".join(_words(cell))
    value = next((part.text or "" for part in cell if _local(part) == "v"), "")
    if cell.get("t") == "s":
        index = int(value or -1)
        return shared[index] if 0 <= index < len(shared) else ""
    return value
