"""Pages and pictures: scales, calibration, straightening; nothing is surer than its scale."""

import io
import math
import subprocess

import numpy as np
import pytest
from PIL import Image, ImageDraw

from soffit.errors import DomainError, JobError
from soffit.plans.calibrate import POINT_M, homography_by, project, scale_notes, similar_by
from soffit.plans.pdf import read_pdf
from soffit.plans.photo import read_photo
from soffit.plans.proposal import ReadWishes


def _pdf(path, draws, *, rotate=0, size=(842, 595)):
    """Write a page of PDF by hand: operators of ISO 32000-1 and one of its fourteen fonts."""
    stream = draws.encode("latin-1")
    parts = [
        b"<< /Type /Catalog /Pages 2 0 R >>",
        b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>",
        f"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 {size[0]} {size[1]}] /Rotate {rotate}"
        " /Contents 4 0 R /Resources << /Font << /F 5 0 R >> >> >>".encode(),
        b"<< /Length %d >>\nstream\n%s\nendstream" % (len(stream), stream),
        b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>",
    ]
    out, places = io.BytesIO(), []
    out.write(b"%PDF-1.4\n")
    for number, part in enumerate(parts, 1):
        places.append(out.tell())
        out.write(b"%d 0 obj\n%s\nendobj\n" % (number, part))
    start = out.tell()
    out.write(b"xref\n0 %d\n0000000000 65535 f \n" % (len(parts) + 1))
    for place in places:
        out.write(b"%010d 00000 n \n" % place)
    out.write(b"trailer << /Size %d /Root 1 0 R >>\nstartxref\n%d\n" % (len(parts) + 1, start))
    out.write(b"%%EOF")
    path.write_bytes(out.getvalue())
    return path


def _points(metres, denominator):
    return metres / denominator / POINT_M


def _box(x, y, wide, deep, denominator, shift=100.0):
    values = [_points(v, denominator) for v in (x, y, wide, deep)]
    return f"{values[0] + shift:.4f} {values[1] + shift:.4f} {values[2]:.4f} {values[3]:.4f} re S"


def _text(text, x, y, denominator, height=8, shift=100.0):
    at = (_points(x, denominator) + shift, _points(y, denominator) + shift)
    return f"BT /F {height} Tf {at[0]:.3f} {at[1]:.3f} Td ({text}) Tj ET"


def _two_offices(denominator=100, note="Scale 1:100"):
    return "\n".join(
        [
            "1.2 w 0 G",
            _box(0, 0, 6, 4, denominator),
            _box(6.2, 0, 5, 4, denominator),
            "0.1 w 0.5 G",
            # a dimension line across both rooms in a thin pen
            f"100 150 m {100 + _points(11.2, denominator):.3f} 150 l S",
            _text("Office 1", 2.2, 2, denominator),
            _text("Store", 8, 2, denominator),
            f"BT /F 9 Tf 20 20 Td ({note}) Tj ET" if note else "",
        ]
    )


@pytest.mark.parametrize("rotate", [0, 90])
def test_rooms_of_a_page_by_its_written_scale(tmp_path, rotate):
    found = read_pdf(_pdf(tmp_path / "plan.pdf", _two_offices(), rotate=rotate))
    areas = {room.label: room.area_m2 for room in found.rooms}
    assert areas["Office 1"] == pytest.approx(24.0, rel=5e-3)
    assert areas["Store"] == pytest.approx(20.0, rel=5e-3)
    assert "1:100 as written" in found.notes[0]
    assert all(room.confidence <= 0.85 for room in found.rooms)
    (underlay,) = found.underlays
    picture = Image.open(io.BytesIO(underlay.png))
    wide = 842 if rotate == 0 else 595
    assert picture.width * underlay.pixel_m == pytest.approx(wide * POINT_M * 100, rel=2e-3)
    assert len(underlay.snap_points) >= 8


def test_two_known_corners_calibrate_a_page_without_scale(tmp_path):
    path = _pdf(tmp_path / "plan.pdf", _two_offices(73.0, note=""))
    guessed = read_pdf(path)
    assert all(room.confidence <= 0.3 for room in guessed.rooms)
    far = 100 + _points(11.2, 73.0)
    found = read_pdf(path, ReadWishes(corners=((100, 100, 0.0, 0.0), (far, 100, 11.2, 0.0))))
    areas = {room.label: room.area_m2 for room in found.rooms}
    assert areas["Office 1"] == pytest.approx(24.0, rel=5e-3)
    assert max(room.confidence for room in found.rooms) > 0.9


def test_two_scales_on_one_page_are_doubted(tmp_path):
    path = _pdf(tmp_path / "plan.pdf", _two_offices(note="Plan 1:100, detail 1:20"))
    found = read_pdf(path)
    assert "Several scales" in found.notes[0]
    assert all(room.confidence <= 0.6 for room in found.rooms)


def test_a_page_without_lines_is_a_scan(tmp_path):
    found = read_pdf(_pdf(tmp_path / "scan.pdf", "BT /F 9 Tf 20 20 Td (1:50) Tj ET"))
    assert not found.rooms
    assert any("scan" in note for note in found.notes)
    assert found.underlays


def test_page_that_is_not_there_and_damaged_file(tmp_path):
    path = _pdf(tmp_path / "plan.pdf", _two_offices())
    with pytest.raises(JobError, match="no page 3"):
        read_pdf(path, ReadWishes(page=3))
    broken = tmp_path / "broken.pdf"
    broken.write_bytes(b"%PDF-1.4\nnonsense")
    with pytest.raises(JobError, match="cannot be read"):
        read_pdf(broken)


@pytest.mark.needs("qpdf")
def test_locked_page_says_so(tmp_path):
    path = _pdf(tmp_path / "plan.pdf", _two_offices())
    locked = tmp_path / "locked.pdf"
    command = ["qpdf", "--encrypt", "user", "owner", "256", "--", str(path), str(locked)]
    subprocess.run(command, check=True)
    with pytest.raises(JobError, match="locked by a password"):
        read_pdf(locked)


def test_scale_notes_of_both_worlds():
    assert scale_notes(["Scale 1:50", "M 1:50"]) == [(50.0, 2)]
    # 1/8 in on paper is a foot in the building: 12 / (1/8) = 96
    assert scale_notes(['1/8" = 1\'-0"']) == [(96.0, 1)]
    assert scale_notes(["at 10:30 on 1/2"]) == []


def test_similarity_is_exact_for_two_points_and_turns():
    place = similar_by([(0, 0, 5, 1), (10, 0, 5, 21)])
    assert place.scale == pytest.approx(2.0)
    assert place.turn_rad == pytest.approx(math.pi / 2)
    assert place(np.array([[5.0, 0.0]]))[0] == pytest.approx([5.0, 11.0])
    with pytest.raises(DomainError):
        similar_by([(1, 1, 0, 0), (1, 1, 2, 2)])


def test_homography_maps_known_points_and_refuses_points_in_line():
    here = np.array([[0, 0], [4, 0.5], [5, 3], [-1, 4], [2, 1]], dtype=float)
    true = np.array([[1.2, 0.3, 4.0], [-0.1, 0.9, 2.0], [0.02, 0.01, 1.0]])
    there = project(true, here)
    found = homography_by([(*a, *b) for a, b in zip(here[:4], there[:4], strict=True)])
    assert project(found, here) == pytest.approx(there, abs=1e-9)
    with pytest.raises(DomainError):
        homography_by([(0, 0, 0, 0), (1, 0, 1, 0), (2, 0, 2, 0), (3, 3, 3, 3)])


def test_photograph_is_straightened(tmp_path):
    # a square of 4 m drawn as a trapezium, with a dot at its centre as projection puts it
    corners = [(100, 500), (700, 520), (600, 100), (220, 120)]
    plan = [(0, 0), (4, 0), (4, 4), (0, 4)]
    matrix = homography_by([(*p, *c) for p, c in zip(plan, corners, strict=True)])
    centre = project(matrix, np.array([[2.0, 2.0]]))[0]
    image = Image.new("L", (800, 600), 255)
    draw = ImageDraw.Draw(image)
    draw.ellipse([centre[0] - 6, centre[1] - 6, centre[0] + 6, centre[1] + 6], fill=0)
    path = tmp_path / "photo.png"
    image.save(path)
    wishes = ReadWishes(corners=tuple((*c, *p) for c, p in zip(corners, plan, strict=True)))
    found = read_photo(path, wishes)
    (underlay,) = found.underlays
    flat = np.asarray(Image.open(io.BytesIO(underlay.png)))
    rows, columns = np.nonzero(flat < 100)
    x = underlay.origin[0] + (columns.mean() + 0.5) * underlay.pixel_m
    y = underlay.origin[1] + (flat.shape[0] - rows.mean() - 0.5) * underlay.pixel_m
    assert (x, y) == pytest.approx((2.0, 2.0), abs=0.03)
    assert any("Never drill" in note for note in found.notes)


def test_photograph_with_two_corners_warns_and_with_none_is_refused(tmp_path):
    path = tmp_path / "photo.png"
    Image.new("L", (400, 300), 255).save(path)
    found = read_photo(path, ReadWishes(corners=((0, 300, 0, 0), (400, 300, 8, 0))))
    assert found.underlays[0].pixel_m == pytest.approx(0.02)
    assert "distorted" in found.notes[0]
    with pytest.raises(JobError, match="without known corners"):
        read_photo(path)
    with pytest.raises(JobError, match="outside the picture"):
        read_photo(path, ReadWishes(corners=((0, 0, 0, 0), (9000, 0, 1, 1))))


def test_damaged_and_huge_pictures_end_in_words(tmp_path):
    broken = tmp_path / "broken.png"
    broken.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    with pytest.raises(JobError, match="cannot be opened"):
        read_photo(broken, ReadWishes(corners=((0, 0, 0, 0), (1, 0, 1, 0))))
    huge = tmp_path / "huge.png"
    Image.new("1", (10_000, 9_000)).save(huge)
    with pytest.raises(JobError, match="pixels"):
        read_photo(huge, ReadWishes(corners=((0, 0, 0, 0), (1, 0, 1, 0))))


def test_a_picture_becomes_an_underlay_of_an_existing_job(tmp_path, capsys):
    import json

    from soffit.cli.main import run

    folder = tmp_path / "job"
    assert run(["new", str(folder)]) == 0
    before = (folder / "job.toml").read_bytes()
    path = tmp_path / "photo.png"
    Image.new("L", (400, 300), 255).save(path)
    corners = ["0,300=0,0", "400,300=8,0", "400,0=8,6", "0,0=0,6"]
    options = [word for corner in corners for word in ("--corner", corner)]
    assert run(["read", str(path), str(folder), *options]) == 0
    assert "to draw rooms on" in capsys.readouterr().out
    about = json.loads((folder / "plans" / "photo-underlay.png.json").read_text(encoding="utf-8"))
    assert about["origin_m"] == pytest.approx([0.0, 0.0], abs=1e-3)
    with Image.open(folder / "plans" / "photo-underlay.png") as flat:
        assert flat.width * about["pixel_m"] == pytest.approx(8.0, abs=0.01)
    assert (folder / "job.toml").read_bytes() == before
    # without a job there is nothing to lay it under
    assert run(["read", str(path), str(tmp_path / "other"), *options]) == 2
    assert not (tmp_path / "other").exists()
