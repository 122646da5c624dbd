"""Ceilings and mounting against published figures.

Sources, and how each is known (read: in an excerpt or a reproduction; memory: not read):

- ASTM C635/C635M-17, 4.1.2 and 4.1.3, metal suspension systems: read in an excerpt; its Table 1:
  from memory.
- ASTM E580/E580M, seismic: read in city plan-check sheets that cite it.
- NFPA 13, obstructions near sprinklers: read in trade articles; the cap from memory.
- International Building Code, 714, steel box exception: read in a trade magazine.
- UL 2043:2018, air-handling spaces: read in a testing body's note.
- BS 7671, 643.3, Table 64: read in guides.
- NFPA 72, audible signals: read in a manual that quotes the 2002 edition and in articles.
- NFPA 70 (NEC), table of cable substitutions: read in a discussion of a real case.
- Joists: clear widths derived from spacing and timber.
- A field note of a 10:1 safety factor: read.
"""

import pytest

from soffit.ceiling.fit import hole_area_m2, hole_diameter_m, sprinkler_clearance_m, void_need_m
from soffit.ceiling.members import clear_between_joists_m
from soffit.ceiling.structure import (
    POUND_PER_FOOT_KG_M,
    deflection_limit_m,
    grid_capacity_kg,
    point_load_kg,
    safety_breaking_load_n,
    seismic_support,
    uniform_load_kg_m,
)
from soffit.check.codes import largest_exempt_hole_m2
from soffit.check.information import alarm_level_dba, insulation_passes, plenum_failures
from soffit.circuit.wiring_class import jacket_serves_class
from soffit.tables.load import load_table
from soffit.tables.settings import setting
from soffit.units import FOOT_M, INCH_M, POUND_KG
from soffit_testing import printed


def test_nfpa_72_2002_7_4_2_1_public_mode_over_average_and_maximum() -> None:
    """Read: 15 dB over 54 dBA, 5 dB over a maximum of 62 dBA that lasts 60 s: 69 dBA."""
    assert alarm_level_dba(average_dba=54.0, maximum_dba=62.0) == 69.0
    assert alarm_level_dba(average_dba=54.0, maximum_dba=70.0) == 75.0
    assert alarm_level_dba(average_dba=54.0, mode="private") == 64.0


def test_nfpa_72_sleeping_areas_at_least_75_dba() -> None:
    """Read: ambient 40 dBA asks 75 dBA at the pillow; 15 dB over the average where that is more."""
    assert alarm_level_dba(average_dba=40.0, mode="sleeping") == 75.0
    assert alarm_level_dba(average_dba=65.0, mode="sleeping") == 80.0


@pytest.mark.parametrize(
    ("pounds", "wires", "carried_by"),
    [
        (9.0, 1, "grid"),
        (10.0, 2, "grid"),
        (12.0, 2, "grid"),
        (56.0, 2, "grid"),
        (60.0, 0, "independent"),
    ],
)
def test_astm_e580_fixtures_in_categories_d_to_f(
    pounds: float, wires: int, carried_by: str
) -> None:
    """Read in sheets that cite it: < 10 lb one wire, 10-56 lb two, above that the structure."""
    support = seismic_support(pounds * POUND_KG)
    assert (support.wires, support.carried_by) == (wires, carried_by)


def test_astm_c635_4_1_2_deflection_of_a_48_in_span() -> None:
    """Read: L/360 = 0.133 in (3.33 mm) over 4 ft (1200 mm)."""
    assert deflection_limit_m(48.0 * INCH_M) / INCH_M == printed("0.133")
    assert deflection_limit_m(1.2) * 1e3 == printed("3.33")


@pytest.mark.parametrize(
    ("load_class", "pounds"), [("light", "5"), ("intermediate", "12"), ("heavy", "16")]
)
def test_astm_c635_table_1_uniform_loads(load_class: str, pounds: str) -> None:
    """From memory: 5, 12 and 16 lb/ft (7.4, 17.9 and 23.8 kg/m)."""
    uniform = uniform_load_kg_m(load_class)  # type: ignore[arg-type]
    assert uniform / POUND_PER_FOOT_KG_M == printed(pounds)
    metric = {"5": "7.4", "12": "17.9", "16": "23.8"}[pounds]
    assert uniform == printed(metric)


@pytest.mark.parametrize(("uniform", "point"), [("5", "12.5"), ("12", "30"), ("16", "40")])
def test_point_load_of_the_same_deflection_over_4_ft(uniform: str, point: str) -> None:
    """Derived: 5wL^4/384EI against PL^3/48EI, with uniform loads from memory; tiles included."""
    load = point_load_kg(uniform_kg_m=float(uniform) * POUND_PER_FOOT_KG_M, span_m=4.0 * FOOT_M)
    assert load / POUND_KG == printed(point)
    beam = 5.0 * float(uniform) * 4.0**4 / 384.0
    assert beam == pytest.approx(float(point) * 4.0**3 / 48.0, rel=1e-12)


def test_astm_c635_4_1_3_light_duty_carries_no_fixtures() -> None:
    """Read: light-duty grids are meant for tiles only."""
    capacity = grid_capacity_kg(
        load_class="light", span_m=1.2, tile_mass_kg_m2=3.0, runner_spacing_m=1.2
    )
    assert capacity == 0.0


def test_heavy_grid_without_tiles_carries_40_lb_at_mid_span() -> None:
    """Derived from a load from memory: 40 lb over 4 ft when the tiles weigh nothing."""
    capacity = grid_capacity_kg(
        load_class="heavy", span_m=4.0 * FOOT_M, tile_mass_kg_m2=0.0, runner_spacing_m=1.2
    )
    assert capacity / POUND_KG == printed("40")


def test_ibc_714_box_exception_ends_at_16_square_inches() -> None:
    """Read, diameters derived: 16 sq in is a 4.51 in hole; an 8.5 in hole has 56.7 sq in."""
    assert largest_exempt_hole_m2() / INCH_M**2 == printed("16")
    assert hole_diameter_m(largest_exempt_hole_m2()) / INCH_M == printed("4.51")
    assert hole_area_m2(8.5 * INCH_M) / INCH_M**2 == printed("56.7")
    assert hole_area_m2(8.5 * INCH_M) > largest_exempt_hole_m2()


def test_nfpa_13_three_times_rule_with_its_cap() -> None:
    """Read in trade articles, cap from memory: 150 mm asks 450 mm, 300 mm asks 600 mm."""
    assert sprinkler_clearance_m([0.15, 0.30]) * 1e3 == pytest.approx([450.0, 600.0], abs=1e-9)
    assert setting("sprinkler_cap_m").default == pytest.approx(
        24.0 * INCH_M, abs=0.01
    )  # 24 in ~ 600 mm


def test_safety_wire_of_6_kg_at_ten_to_one() -> None:
    """Derived from the factor of a field note: 588 N."""
    assert safety_breaking_load_n(mass_kg=6.0, factor=10.0) == pytest.approx(
        588.0, abs=1.0
    )  # 1 N: as asked


def test_nec_cable_substitutions_cl3_for_cl2_but_not_back() -> None:
    """Read: a class 3 output refuses CL2P, a class 2 output takes CL3P."""
    assert jacket_serves_class("CL2P", "3") is False
    assert jacket_serves_class("CL3P", "2") is True


def test_bs_7671_table_64_a_100_v_line_needs_1_megohm() -> None:
    """Read in guides: 0.8 MΩ at 500 V d.c. fails, 1.0 passes; SELV asks 0.5 at 250 V."""
    assert not insulation_passes(measured_mohm=0.8, line_voltage_v=100.0)
    assert insulation_passes(measured_mohm=1.0, line_voltage_v=100.0)
    assert insulation_passes(measured_mohm=0.6, line_voltage_v=25.0, is_selv=True)
    table = load_table("insulation_test")
    assert table.number("test_voltage", circuit="up to 500 V") == printed("500")
    assert table.number("test_voltage", circuit="SELV or PELV") == printed("250")


def test_ul_2043_fails_on_mean_density_alone() -> None:
    """Read: peak heat 100 kW, peak density 0.50, mean density 0.15."""
    failures = plenum_failures(peak_heat_kw=90.0, peak_density=0.45, mean_density=0.16)
    assert failures == ("mean optical density",)
    assert plenum_failures(peak_heat_kw=100.0, peak_density=0.5, mean_density=0.15) == ()
    assert len(plenum_failures(peak_heat_kw=101.0, peak_density=0.51, mean_density=0.15)) == 2


def test_ceiling_load_limit_of_4_psf() -> None:
    """Read in state notes: 4 lb/sq ft is 19.5 kg/m²."""
    assert printed("19.5") == 4.0 * POUND_KG / FOOT_M**2
    assert setting("ceiling_load_most_kg_m2").default == printed("19.5")


def test_600_mm_is_not_24_in() -> None:
    """Sizes read on makers' pages: 24 in = 609.6 mm."""
    table = load_table("grid_sizes")
    assert table.number("pitch", name="24 in") == printed("609.6")
    assert table.number("pitch", name="600 mm") == printed("600")
    assert table.number("pitch", name="24 in") / 1e3 == pytest.approx(24 * INCH_M, abs=1e-12)


@pytest.mark.parametrize(("spacing", "clear"), [("16", "14.5"), ("24", "22.5")])
def test_joists_of_1_5_in_timber_leave_clear_widths(spacing: str, clear: str) -> None:
    """Spacings read, clear widths derived: 14.5 in and 22.5 in."""
    width = clear_between_joists_m(spacing_m=float(spacing) * INCH_M, width_m=1.5 * INCH_M)
    assert width / INCH_M == printed(clear)


@pytest.mark.parametrize(
    ("material", "least", "most"),
    [
        ("mineral fibre", "3", "6"),
        ("glass wool", "1", "3"),
        ("gypsum", "8", "10"),
        ("metal", "5", "10"),
    ],
)
def test_tile_masses_from_memory(material: str, least: str, most: str) -> None:
    """From memory, and marked so in the table."""
    table = load_table("ceiling_kinds")
    assert table.source.status == "memory"
    assert table.number("least", material=material) == printed(least)
    assert table.number("most", material=material) == printed(most)


def test_safety_factor_and_its_floor() -> None:
    """Read: 5:1 is rigging's floor, 10:1 one field note; 7:1 to 10:1 over people from memory."""
    row = setting("safety_factor")
    assert row.default == 10.0
    assert row.least == 5.0


def test_void_rule_of_practice() -> None:
    """Common practice, no source: 50 mm over depth and bend radius, or a third over the depth."""
    rule = {"margin_m": 0.05, "extra_ratio": 1.0 / 3.0}
    by_bend = void_need_m(depth_m=0.15, box_depth_m=0.0, bend_radius_m=0.04, **rule)
    assert by_bend == pytest.approx(0.24, abs=1e-12)
    by_third = void_need_m(depth_m=0.15, box_depth_m=0.36, bend_radius_m=0.04, **rule)
    assert by_third == pytest.approx(0.48, abs=1e-12)
    assert setting("void_margin_m").default == 0.05
