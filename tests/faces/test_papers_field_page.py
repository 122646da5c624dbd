"""The field page in a real browser: it keeps, warns, exports, and the export merges back."""

import json
import re
import shutil

import pytest

from papers_sample import sample_job
from soffit.errors import JobError
from soffit.papers.field_export import parse_export
from soffit.papers.field_page import field_page


@pytest.fixture(scope="module")
def job():
    return sample_job()


def test_page_of_200_speakers_is_under_300_kilobytes_and_stays_the_same():
    job = sample_job(hall=(20, 10))
    page = field_page(job)
    assert len(page.encode()) < 300_000
    assert page == field_page(job)


def test_page_needs_nothing_from_outside(job):
    page = field_page(job)
    assert not re.search(r"""(src|href)\s*=\s*["'](https?:)?//""", page)
    assert "@import" not in page
    assert "url(" not in page


def test_every_speaker_can_be_read_without_scripts(job):
    static = field_page(job).split('<script id="data"')[0]
    for item in job.speakers:
        card = static.split(f'<details data-key="{item.key}">')[1].split("</details>")[0]
        assert item.label in card
        assert item.tap_text in card
        assert f"from {item.wire_in.to_label}" in card


def test_hostile_words_stay_words():
    from dataclasses import replace

    job = sample_job(hall=(2, 1))
    bad = '</script><script>alert("x")</script>'
    speakers = (replace(job.speakers[0], card_note=bad, tile_text=bad), *job.speakers[1:])
    page = field_page(replace(job, speakers=speakers))
    assert bad not in page
    assert page.count("<script") == 2


@pytest.fixture
def browser():
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        found = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        yield found
        found.close()


@pytest.mark.needs("chromium")
def test_ticks_readings_and_changes_survive_closing_and_merge_back(job, browser, tmp_path):
    path = tmp_path / "field.html"
    path.write_text(field_page(job), encoding="utf-8")
    context = browser.new_context(viewport={"width": 390, "height": 800})
    page = context.new_page()
    errors = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(f"file://{path}#s103")
    assert "keeps what you enter" in page.locator("#selftest").inner_text()
    card = page.locator('details[data-key="s103"]')
    card.get_by_role("button", name="hung").click()
    card.get_by_label("ohms onward").fill("1.2k")
    card.get_by_label("ohms onward").press("Tab")
    card.get_by_label("ohms of this unit").fill("OL")
    card.get_by_label("ohms of this unit").press("Tab")
    card.locator('select[aria-label="what is different"]').select_option("tap")
    card.get_by_placeholder("watts now set").fill("10")
    assert "+3.0 dB" in card.locator(".note.ok").inner_text()
    card.get_by_role("button", name="Keep as built").click()
    page.reload()
    assert "1 of 25 hung, 4 entries not sent" in page.locator("#status").inner_text()
    with page.expect_download() as waiting:
        page.locator("#send").click()
    text = waiting.value.path().read_text(encoding="utf-8")
    context.close()
    assert errors == []

    export = parse_export(text, name="field.json")
    assert export.job_hash == job.title.job_hash
    onward, alone = export.readings
    assert (onward.place, onward.value, onward.direction) == ("L1-03", 1200.0, "out")
    assert (alone.value, alone.bound, alone.word) == (None, ">", "OL")
    (change,) = export.changes
    assert (change.change, change.target, change.value, change.as_built) == (
        "tap",
        "L1-03",
        "10 W",
        True,
    )
    (tick,) = export.ticks
    assert (tick.what, tick.done) == ("hung", True)

    doubled = json.loads(text)
    doubled["entries"] += doubled["entries"]
    assert parse_export(json.dumps(doubled), name="field.json") == export


@pytest.mark.needs("chromium")
def test_page_says_when_the_viewer_keeps_nothing(job, browser, tmp_path):
    path = tmp_path / "field.html"
    path.write_text(field_page(job), encoding="utf-8")
    context = browser.new_context()
    page = context.new_page()
    page.add_init_script(
        "Object.defineProperty(window, 'localStorage', {get() { throw new Error('denied'); }});"
    )
    page.goto(f"file://{path}")
    assert "KEEPS NOTHING" in page.locator("#selftest").inner_text()
    assert "NOT KEPT" in page.locator("#status").inner_text()
    context.close()


@pytest.mark.needs("chromium")
def test_page_says_when_scripts_do_not_run(job, browser, tmp_path):
    path = tmp_path / "field.html"
    path.write_text(field_page(job), encoding="utf-8")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"file://{path}")
    assert page.locator("#noscripts").is_visible()
    assert page.locator('details[data-key="s101"] summary').is_visible()
    context.close()


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("no json", "field.json"),
        ('{"format": "other"}', "field.json: format"),
        ('{"format": "soffit field", "version": 9, "entries": []}', "field.json: version"),
        ('{"format": "soffit field", "version": 1, "entries": [{}]}', "field.json: entries[0]"),
        (
            '{"format": "soffit field", "version": 1, "entries": [{"key": "a", "kind": "change"}]}',
            "field.json: a",
        ),
    ],
)
def test_a_broken_file_is_refused_with_its_place(text, where):
    with pytest.raises(JobError) as caught:
        parse_export(text, name="field.json")
    assert caught.value.problems[0].where == where
