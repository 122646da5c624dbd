"""Whatever happens to the bytes of a plan: a proposal comes out, or an error in four parts."""

import random

import pytest

from soffit.errors import SoffitError
from soffit.plans.read import read_file
from soffit_plan_drawings import floor

LIST = (
    b"name,length,width,height,use,ceiling,noise\nHall,12,8,3,lecture hall,600x600,NC 30\n"
    b"Cafe,24 ft,18 ft,9 ft,cafe,gypsum,45\n"
)
_BITS = (b"1e308", b"nan", b"-", b"0", b"99999999999999999999", b"\0", b"((((", b"'", b"\n", b"$")


def _damaged(raw, rng):
    raw = bytearray(raw)
    for _ in range(rng.choice([1, 2, 5, 30])):
        if len(raw) < 60:
            break
        at, dice = rng.randrange(len(raw)), rng.random()
        if dice < 0.4:
            raw[at] = rng.randrange(256)
        elif dice < 0.6:
            del raw[at : at + rng.choice([1, 3, 50, 500])]
        else:
            raw[at:at] = rng.choice(_BITS)
    return bytes(raw)


@pytest.mark.parametrize(("kind", "times"), [("csv", 300), ("dxf", 25)])
def test_damaged_plans_are_read_or_refused_in_words(tmp_path, kind, times):
    rng = random.Random(17)
    path = tmp_path / f"plan.{kind}"
    if kind == "csv":
        path.write_bytes(LIST)
    else:
        document, _ = floor(5, rows=1, columns=3)
        document.saveas(path)
    whole = path.read_bytes()
    problems, rooms = [], []
    for _ in range(times):
        path.write_bytes(_damaged(whole, rng))
        try:
            rooms += read_file(path).rooms
        except SoffitError as error:
            problems += error.problems
    assert rooms
    assert all(room.area_m2 > 0 for room in rooms)
    assert all(p.what and p.where and p.why and p.do for p in problems)
    assert problems or kind == "dxf"
