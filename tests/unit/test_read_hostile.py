"""Lists and archives that are damaged or made to hurt end in four parts, quickly."""

import io
import time
import zipfile

import openpyxl
import pytest

from soffit.cli.main import run
from soffit.errors import JobError
from soffit.plans.proposal import ReadWishes
from soffit.plans.read import read_file


def _workbook(path, rows):
    book = openpyxl.Workbook()
    book.active.title = "Notes"
    sheet = book.create_sheet("Räume")
    for row in rows:
        sheet.append(row)
    book.save(path)
    return path


def test_workbook_is_read_like_a_list(tmp_path):
    rows = [
        ["Room", "Length (ft)", "Width (ft)", "Height (ft)", "Ceiling", "Floor", "Noise"],
        ["Café", 30, 20, 9.5, "2x4 tile", "Ground", "45 dBA"],
        ["事務所", 40, 25, None, "gypsum", "First", "NC 35"],
    ]
    found = read_file(_workbook(tmp_path / "rooms.xlsx", rows))
    cafe, office = found.rooms
    assert cafe.area_m2 == pytest.approx(600 * 0.3048**2, rel=1e-4)
    assert cafe.ceilings[0].height_m == pytest.approx(9.5 * 0.3048, abs=1e-4)
    assert cafe.ceilings[0].pitch_m == pytest.approx((0.6096, 1.2192))
    assert (cafe.noise.kind, cafe.noise.value) == ("dba", 45.0)
    assert office.label == "事務所"
    assert office.ceilings[0].kind == "plasterboard"
    assert office.ceilings[0].height_source == "assumed"
    assert (office.noise.kind, office.noise.value) == ("nc", 35.0)
    assert [storey.label for storey in found.storeys] == ["Ground", "First"]
    assert found.is_imperial


def test_workbook_cells_that_are_wrong_are_named_by_row(tmp_path):
    rows = [["Room", "Length", "Width"], ["A", "long", 3], ["B", 4, -2]]
    with pytest.raises(JobError) as caught:
        read_file(_workbook(tmp_path / "rooms.xlsx", rows))
    places = [problem.where for problem in caught.value.problems]
    assert places == ["rooms.xlsx:2  length", "rooms.xlsx:3  width"]


def test_area_alone_makes_a_doubtful_rectangle(tmp_path):
    path = tmp_path / "rooms.csv"
    path.write_text("Raum;Fläche (m2);Nutzung\nFlur;24,5;corridor\n", encoding="utf-8")
    (room,) = read_file(path).rooms
    assert room.area_m2 == pytest.approx(24.5, rel=1e-3)
    assert room.confidence < 1.0
    assert "area only" in room.assumed[0]
    assert room.ceilings[0].height_m == 2.4


def test_heights_that_are_asked_for_fill_what_a_list_leaves_out(tmp_path):
    path = tmp_path / "rooms.csv"
    path.write_text("name,length,width,height\nA,4,3,\nB,4,3,2.5\n", encoding="utf-8")
    rooms = read_file(path, wishes=ReadWishes(height_m=3.3, ceiling_kind="open")).rooms
    assert [room.ceilings[0].height_m for room in rooms] == [3.3, 2.5]
    assert [room.ceilings[0].height_source for room in rooms] == ["assumed", "surveyed"]
    assert rooms[0].ceilings[0].kind == "open"


def _rewritten(path, name, content):
    """Put another content into one part of a workbook."""
    out = io.BytesIO()
    with zipfile.ZipFile(path) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for item in old.namelist():
            new.writestr(item, content if item == name else old.read(item))
    path.write_bytes(out.getvalue())


ENTITIES = b"""<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "xxxxxxxxxx">
<!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;&b;&b;">]>
<worksheet><sheetData><row><c t="inlineStr"><is><t>&c;</t></is></c></row></sheetData></worksheet>"""


@pytest.mark.parametrize("case", ["entities", "bomb", "cut", "text", "zip"])
def test_hostile_workbooks_end_in_words(tmp_path, capsys, case):
    path = _workbook(tmp_path / "rooms.xlsx", [["Room", "Length", "Width"], ["A", 4, 3]])
    sheet = "xl/worksheets/sheet2.xml"
    if case == "entities":
        _rewritten(path, sheet, ENTITIES)
    elif case == "bomb":
        _rewritten(path, sheet, b"<worksheet>" + b" " * 60_000_000 + b"</worksheet>")
    elif case == "cut":
        path.write_bytes(path.read_bytes()[:700])
    elif case == "text":
        _rewritten(path, sheet, b"no xml at all")
    else:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("letter.txt", "hello")
    start = time.process_time()
    assert run(["read", str(path), "--into", str(tmp_path / "job")]) == 2
    assert time.process_time() - start < 5.0
    said = capsys.readouterr().err
    assert all(word in said for word in ("where", "why", "do"))
    assert not (tmp_path / "job").exists()


def test_model_in_an_archive_is_read_and_a_bomb_is_not(tmp_path):
    pytest.importorskip("ifcopenshell")
    from soffit_plan_models import two_rooms

    model, _ = two_rooms()
    plain = model.write(tmp_path / "model.ifc")
    packed = tmp_path / "model.ifczip"
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.write(plain, "inner/model.ifc")
    assert len(read_file(packed).rooms) == 2
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("model.ifc", b"ISO-10303-21;" + b" " * 50_000_000)
    with pytest.raises(JobError, match="not opened"):
        read_file(packed)


def test_a_model_of_nonsense_numbers_loses_those_rooms_only(tmp_path):
    pytest.importorskip("ifcopenshell")
    from soffit_plan_models import box, two_rooms

    model, ground = two_rooms()
    model.space(ground, "bad", box(0, 0, 4, 4), 3.0, "Far")
    path = model.write(tmp_path / "model.ifc")
    text = path.read_text(encoding="utf-8")
    # the corner of the bad space at 4 m becomes a number that no building has
    lines = text.splitlines()
    at = next(i for i, line in enumerate(lines) if "'Far'" in line)
    corner = max(i for i in range(at) if lines[i].endswith("IFCCARTESIANPOINT((4.,4.));"))
    lines[corner] = lines[corner].replace("(4.,4.)", "(1.E+300,4.)")
    path.write_text("\n".join(lines), encoding="utf-8")
    found = read_file(path)
    good = [room for room in found.rooms if "Far" not in room.label]
    assert len(good) == 2
    assert good[0].area_m2 == pytest.approx(60.0, rel=1e-3)
    for room in found.rooms:
        assert all(abs(value) < 1e5 for point in room.outline for value in point)


def test_reading_is_stopped_after_its_time(tmp_path, monkeypatch):
    from soffit.errors import ChildError
    from soffit.work import read_plan

    path = tmp_path / "rooms.csv"
    path.write_text("name,length,width\nA,4,3\n", encoding="utf-8")
    limits = {"plan_read_s": 0.001, "plan_read_memory_gb": 4.0}
    monkeypatch.setattr(read_plan, "DEFAULT_LIMITS", limits)
    with pytest.raises(ChildError, match="stopped"):
        read_plan.read_plan(path)
