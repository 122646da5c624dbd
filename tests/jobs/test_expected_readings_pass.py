"""What the sheet expects of a whole demo job passes when it is read: one number, both ways."""

import shutil
from pathlib import Path

from soffit.measure.expected import Expected
from soffit.work.prove import add_readings, expected_sheet, readings_from_texts


def entry(row: Expected) -> str:
    assert row.middle is not None
    if row.quantity == "impedance":
        return f"{row.place} {row.direction} 1 kHz {row.middle:.5g} ohm"
    if row.quantity == "level dba":
        return f"{row.place_key} {row.middle:.1f} dBA"
    if row.quantity == "voltage":
        return f"{row.place} {row.middle:.5g} V"
    return f"{row.place} {1000.0 * row.middle:.5g} mA"


def judged(folder: Path, drive: str) -> dict[str, str]:
    rows = [
        row
        for row in expected_sheet(folder, tones_hz=(1000.0,))
        if row.middle is not None and not row.text
    ]
    assert {row.quantity for row in rows} == {"impedance", "voltage", "current", "level dba"}
    now = "2024-05-01T10:00:00+00:00"
    readings = readings_from_texts([entry(row) for row in rows], now=now, drive=drive)
    report = add_readings(folder, readings, is_sure=True)
    assert len(report.verdicts) == len(rows)
    return {verdict.text(): verdict.status for verdict in report.verdicts}


def test_of_the_library(library: Path, tmp_path: Path) -> None:
    folder = tmp_path / "library"
    shutil.copytree(library, folder)
    assert set(judged(folder, "7.07 V").values()) == {"pass"}


def test_of_a_line_whose_channel_is_as_full_as_the_plan_allows(
    library: Path, tmp_path: Path
) -> None:
    # 10.5 W of taps with a fifth of headroom want 12.6 W; they draw 13.4 W, and a meter that reads
    # 0.9 of the tap impedance would make 15 W of it.
    folder = tmp_path / "library"
    shutil.copytree(library, folder)
    (folder / "catalogue.toml").write_text(
        """
format = 1

[amplifier_types.amp-4x120]
name = "Amplifier, 4 channels of 14 W"
channel_power = [14, 14, 14, 14]
voltages = [70.7, 100]
class_mark = "2"
high_pass = [40, 60, 80, 120]
high_pass_slope = 12
floating_output = true
source = "invented for this test"
""",
        encoding="utf-8",
    )
    assert set(judged(folder, "7.07 V").values()) == {"pass"}
