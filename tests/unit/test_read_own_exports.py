"""Round trip: what papers exports as DXF and IFC reads back where it was, within a millimetre."""

import math

import pytest

from papers_sample import sample_job
from soffit.papers.dxf import write_dxf
from soffit.plans.dxf import read_dxf


@pytest.mark.parametrize("imperial", [True, False])
def test_dxf_reads_back_within_a_millimetre(tmp_path, imperial):
    view = sample_job(imperial=imperial)
    path = tmp_path / "plans.dxf"
    path.write_text(write_dxf(view), encoding="utf-8")
    found = read_dxf(path)
    assert found.is_imperial == imperial
    speakers = {item.label: item for item in found.speakers}
    assert set(speakers) == {item.label for item in view.speakers}
    for item in view.speakers:
        assert math.dist(item.position, speakers[item.label].position) < 1e-3
        assert dict(speakers[item.label].facts)["TAP"] == item.tap_text
    read = [room for room in found.rooms if room.confidence > 0]
    for room in view.rooms:
        wanted = _area(room.outline)
        best = min(read, key=lambda item: abs(_area(item.outline) - wanted))
        assert _area(best.outline) == pytest.approx(wanted, rel=2e-3)
    for item in (obstacle for room in view.rooms for obstacle in room.obstacles):
        middle = _middle(item.outline)
        near = min(math.dist(middle, _middle(other.outline)) for other in found.obstacles)
        assert near < 1e-3


def test_tile_grid_of_the_dxf_reads_back(tmp_path):
    view = sample_job(imperial=True)
    path = tmp_path / "plans.dxf"
    path.write_text(write_dxf(view), encoding="utf-8")
    grids = [
        ceiling for room in view.rooms for ceiling in room.ceilings if ceiling.grid is not None
    ]
    read = [c for room in read_dxf(path).rooms for c in room.ceilings if c.kind_text]
    assert read
    grid, back = grids[0].grid, read[0]
    assert back.pitch_m == pytest.approx((grid.pitch_x_m, grid.pitch_y_m), abs=1e-4)
    for axis, pitch in ((0, grid.pitch_x_m), (1, grid.pitch_y_m)):
        steps = (back.grid_origin[axis] - grid.origin[axis]) / pitch
        assert abs(steps - round(steps)) * pitch < 1e-3


def _area(ring):
    total = 0.0
    for (x1, y1), (x2, y2) in zip(ring, (*ring[1:], ring[0]), strict=True):
        total += x1 * y2 - x2 * y1
    return abs(total) / 2


def _middle(ring):
    xs, ys = [x for x, _ in ring], [y for _, y in ring]
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


@pytest.mark.parametrize("schema", ["IFC4", "IFC2X3"])
def test_ifc_reads_back_within_a_millimetre(tmp_path, schema):
    pytest.importorskip("ifcopenshell")
    from soffit.papers.ifc import write_ifc
    from soffit.plans.ifc import read_ifc
    from soffit_plan_models import Model

    view = sample_job()
    model = Model(schema, "FOOT")
    storey = model.storey(view.rooms[0].storey, 0.0)
    for room in view.rooms:
        model.space(storey, room.label, list(room.outline), 4.5)
    house = model.write(tmp_path / "house.ifc")
    full = tmp_path / "with_loudspeakers.ifc"
    full.write_text(write_ifc(view, model=house), encoding="utf-8")
    found = read_ifc(full)
    speakers = {item.label: item for item in found.speakers}
    assert set(speakers) == {item.label for item in view.speakers}
    for item in view.speakers:
        assert math.dist(item.position, speakers[item.label].position) < 1e-3
        assert speakers[item.label].mount_height_m == pytest.approx(item.mount_height_m, abs=1e-3)
