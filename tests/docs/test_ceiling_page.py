"""Numbers of docs/theory/ceiling.md are what the program computes."""

from pathlib import Path

import pytest

from soffit.ceiling.structure import POUND_PER_FOOT_KG_M, grid_capacity_kg
from soffit.tables.load import load_table
from soffit.tables.settings import setting
from soffit.units import FOOT_M, POUND_KG

PAGE = Path(__file__).parents[2] / "docs" / "theory" / "ceiling.md"


@pytest.mark.parametrize("load_class", ["intermediate", "heavy"])
def test_the_table_of_grid_classes(load_class: str) -> None:
    text = PAGE.read_text(encoding="utf-8")
    (row,) = [line for line in text.splitlines() if line.startswith(f"| {load_class} ")]
    uniform, bare, tiled = (cell.strip().split()[0] for cell in row.strip("| ").split("|")[1:])
    table = load_table("grid_classes")
    assert float(uniform) == table.number("uniform_load_lb_ft", load_class=load_class)
    assert pytest.approx(POUND_KG / FOOT_M) == POUND_PER_FOOT_KG_M
    for printed_lb, tile_lb_ft2 in ((bare, 0.0), (tiled, 1.0)):
        capacity = grid_capacity_kg(
            load_class="heavy" if load_class == "heavy" else "intermediate",
            span_m=4.0 * FOOT_M,
            tile_mass_kg_m2=tile_lb_ft2 * POUND_KG / FOOT_M**2,
            runner_spacing_m=4.0 * FOOT_M,
        )
        assert capacity / POUND_KG == pytest.approx(float(printed_lb), abs=0.05)


def test_the_limits_named_in_the_text() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert f"Margin {setting('void_margin_m').default * 1e3:.0f} mm" in text
    assert f"k = {setting('safety_factor').default:.0f} by default" in text
    assert f"at most {setting('sprinkler_cap_m').default * 1e3:.0f} mm" in text
    assert f"More slack than {setting('safety_drop_most_m').default:g} m" in text
