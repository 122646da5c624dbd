"""Whatever a job or a catalogue says: if it is read, it is evaluated and checked without a crash.

Reading itself is fuzzed in test_job_fuzz.py; here the values that were accepted go on through
ceilings, lines, sound and all checks, each within two seconds of processor time.
"""

import contextlib
import copy
import json
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soffit.errors import JobError, SoffitError
from soffit.job.api import (
    create_job,
    design_text,
    load_demo_catalogue,
    merged,
    open_job,
    parse_catalogue,
    parse_design,
    parse_job,
    replace_survey_text,
)
from soffit.job.polar_csv import parse_polar_csv
from soffit.model.decisions import Job
from soffit.work.run_checks import check_job
from soffit_checked_job import clean_job, findings_of, own_wires

JOB: dict[str, Any] = {
    "format": 1,
    "site": {"name": "Fuzzed job", "region": "US", "line_voltage": 100, "seismic_category": "D"},
    "storeys": {"g": {"label": "Ground floor", "elevation": 0}},
    "racks": {"rack": {"label": "Rack", "storey": "g", "at": [0.5, 0.5]}},
    "rooms": {
        "r": {
            "label": "Reading room",
            "storey": "g",
            "outline": [[0, 0], [7.2, 0], [7.2, 6.0], [0, 6.0]],
            "columns": [{"at": [6.0, 4.8], "diameter": 0.3}],
            "use": "office",
            "noise": {"dba": 40, "source": "measured"},
            "brief": {"programme": "speech", "level": 62, "evenness": 4, "sti_min": 0.5},
            "surfaces": [{"part": "floor", "material": "carpet_on_concrete"}],
            "ceilings": [
                {
                    "key": "c",
                    "kind": "grid",
                    "height": 3.0,
                    "void_depth": 0.5,
                    "void_points": [{"at": [1.5, 1.5], "depth": 0.4}],
                    "structure_height": 3.8,
                    "tile_mass": 4.0,
                    "slope": {"ratio": 0.02, "angle": 30, "at": [1, 1]},
                    "joists": {"angle": 0, "spacing": 0.6, "width": 0.05, "at": [0, 0]},
                    "grid": {
                        "origin": [0, 0],
                        "pitch": [0.6, 0.6],
                        "angle": 0,
                        "tee": 0.024,
                        "main_runner_spacing": 1.2,
                        "load_class": "heavy",
                    },
                }
            ],
            "doors": [{"label": "door", "at": [3.6, 0]}],
            "obstacles": [
                {"kind": "light", "label": "light", "corner": [3.0, 3.0], "size": [0.6, 0.6]},
                {"kind": "sprinkler", "label": "head", "at": [1.8, 1.5], "diameter": 0.08},
                {
                    "kind": "duct",
                    "label": "duct",
                    "corner": [0, 4.2],
                    "size": [7, 0.6],
                    "bottom": 3.3,
                    "top": 3.6,
                    "clearance": 0.1,
                },
            ],
            "listening": [{"key": "ears", "ear_height": 1.2}],
        }
    },
    "zones": {"z": {"label": "Zone", "rooms": ["r"], "source": "paging"}},
    "limits": {"void_margin_m": 0.05, "safety_factor": 10},
}

CATALOGUE: dict[str, Any] = {
    "format": 1,
    "speaker_types": {
        "ceiling-6": {
            "name": "Fuzzed type",
            "kind": "ceiling",
            "taps": [
                {"power": 3.75, "voltage": 100, "mark": "low"},
                {"power": 7.5, "voltage": 100, "mark": "A"},
            ],
            "tap_watt": "delivered",
            "rated_power": 40,
            "sensitivity": [72, 83, 87, 88, 89, 89, 89, 86],
            "cutout_diameter": 0.216,
            "flange_diameter": 0.245,
            "depth": 0.16,
            "mass": 3.8,
            "support": "rails",
            "transformer": {"lf_limit": 60, "insertion_loss": 0.9, "magnetising": 58},
            "directivity": {"model": "cosine", "coverage_angle": 100},
        }
    },
}

HOSTILE = st.one_of(
    st.sampled_from(
        [0, -1, 1, 1e-12, 1e-3, 1e3, 1e9, 1e300, -1e300, True, "", "0", "nan", "1e400", "24 in",
         "-5 m", "∞", "a" * 5000, [], [0], [[]], [[0, 0]] * 200, {}, {"x": 1}, float("inf"),
         float("nan"), [1e9, -1e9], "100 %", "9' 6 1/2\""]
    ),
    st.floats(allow_nan=True, allow_infinity=True),
    st.integers(-(10**12), 10**12),
    st.text(max_size=12),
    st.floats(0.001, 20.0),
)  # fmt: skip


def leaves(tree: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Paths of every value and every table below the top."""
    found = [path] if path else []
    if isinstance(tree, dict):
        for key, value in tree.items():
            found += leaves(value, (*path, key))
    elif isinstance(tree, list):
        for index, value in enumerate(tree):
            found += leaves(value, (*path, index))
    return found


def changed(tree: dict[str, Any], path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    result = copy.deepcopy(tree)
    node: Any = result
    for part in path[:-1]:
        node = node[part]
    node[path[-1]] = value
    return result


JOB_PATHS = leaves(JOB)
TYPE_PATHS = leaves(CATALOGUE)
BASE = clean_job()


def judge(job: Job) -> None:
    """Evaluate and check; only a four-part error may stop it, and nothing may take long."""
    corners = np.array(job.survey.rooms[0].outline)
    if np.ptp(corners[:, 0]) * np.ptp(corners[:, 1]) > 3000.0:
        return  # a hall that large is honest work, and may take more than two seconds
    started = time.process_time()
    with contextlib.suppress(SoffitError):
        for finding in findings_of(job):
            assert finding.text()
            assert finding.do
    assert time.process_time() - started < 2.0


def job_of(tree: dict[str, Any], types: dict[str, Any] = CATALOGUE) -> Job | None:
    """Read both; ``None`` where reading refuses in four parts."""
    try:
        job_text, type_text = tomlkit.dumps(tree), tomlkit.dumps(types)
    except (UnicodeEncodeError, TypeError):
        return None  # that cannot be written at all
    try:
        own = parse_catalogue(type_text)
        catalogue = merged(load_demo_catalogue(), own)
        parsed = parse_job(job_text, catalogue, own_catalogue=own)
    except JobError:
        return None  # test_job_fuzz.py looks at its four parts
    return replace(BASE, survey=parsed.survey, catalogue=own_wires(catalogue))


def test_the_job_as_it_stands_is_read_and_checked() -> None:
    job = job_of(JOB)
    assert job is not None
    codes = {finding.code for finding in findings_of(job)}
    assert {"CLEAR-02", "CEIL-08", "WEIGHT-06"} <= codes


@given(st.data())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_value_anywhere_in_a_job(data: st.DataObject) -> None:
    tree = JOB
    for _ in range(data.draw(st.integers(1, 2))):
        path = data.draw(st.sampled_from(JOB_PATHS))
        try:
            tree = changed(tree, path, data.draw(HOSTILE))
        except (KeyError, IndexError, TypeError):
            break  # the first change took the place away
    job = job_of(tree)
    if job is not None:
        judge(job)


@given(st.data())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_value_anywhere_in_a_catalogue(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(TYPE_PATHS))
    job = job_of(JOB, changed(CATALOGUE, path, data.draw(HOSTILE)))
    if job is not None:
        judge(job)


DESIGN: dict[str, Any] = json.loads(design_text(BASE.design))
DESIGN_PATHS = leaves(DESIGN)
KEYS = st.sampled_from(["s1", "s2", "r", "c", "l", "rack", "run1", "", None, ["s1", "s1"], "2 W"])


@given(st.data())
@settings(max_examples=120, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_any_value_anywhere_in_a_design(data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(DESIGN_PATHS))
    value = data.draw(st.one_of(HOSTILE, KEYS))
    try:
        design = parse_design(json.dumps(changed(DESIGN, path, value)))
    except JobError:
        return
    started = time.process_time()
    with contextlib.suppress(SoffitError):
        assert check_job(replace(BASE, design=design)).text()
    assert time.process_time() - started < 2.0


@given(st.text(max_size=300), st.integers(0, 400))
@settings(max_examples=80, deadline=None)
def test_any_text_as_a_polar_table(piece: str, at: int) -> None:
    rows = [f"{angle},{-angle / 30:.1f},{-angle / 20:.1f}" for angle in range(0, 181, 10)]
    text = "\n".join(["angle,63-8k,8k", *rows])
    text = text[:at] + piece + text[at:]
    started = time.process_time()
    with contextlib.suppress(JobError):
        parse_polar_csv(text)
    assert time.process_time() - started < 2.0


@given(st.data())
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_a_refused_file_leaves_the_folder_as_it_was(tmp_path: Path, data: st.DataObject) -> None:
    folder = tmp_path / "job"
    if not folder.exists():
        create_job(folder, tomlkit.dumps(JOB))
    before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    path = data.draw(st.sampled_from(JOB_PATHS))
    try:
        text = tomlkit.dumps(changed(JOB, path, data.draw(HOSTILE)))
        replace_survey_text(folder, text, open_job(folder).job_revision)
    except (JobError, UnicodeEncodeError):
        after = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
        assert after == before
    assert open_job(folder).survey.rooms
    assert not list(folder.glob("*.tmp"))
