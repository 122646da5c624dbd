"""Who may talk to the page: Host, Origin, token, sizes, headers.

Rules of the open standards are held as they stand: RFC 9110 (421 for a Host that is not ours, 413
for a body that is too large), RFC 6454 and the Fetch standard (Origin, Sec-Fetch-Site), and the
Content Security Policy of the W3C.
"""

from pathlib import Path

import pytest

from soffit.job.api import create_job
from soffit.web.guard import COOKIE, MOST_BODY, Rules
from soffit_web_page import HOST, Page


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    create_job(tmp_path / "hall")
    return tmp_path


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "localhost.evil.example:8347", ""]
)
def test_another_host_is_refused(shelf: Path, host: str) -> None:
    answer = Page(shelf).send("GET", "/api/jobs", headers={"host": host})
    assert answer.status_code == 421
    assert set(answer.json()["error"]) == {"what", "where", "why", "do"}


@pytest.mark.parametrize("name", ["127.0.0.1:8347", "localhost:8347", "[::1]:8347"])
def test_the_names_of_this_machine_are_let_in(shelf: Path, name: str) -> None:
    assert Page(shelf).send("GET", "/api/jobs", headers={"host": name}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": f"https://{HOST}"},
        {"origin": "http://127.0.0.1:8348"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_foreign_page_changes_nothing(shelf: Path, headers: dict[str, str]) -> None:
    page = Page(shelf)
    answer = page.send("POST", "/api/jobs", {"title": "stolen"}, headers=headers)
    assert answer.status_code == 403
    assert [path.name for path in shelf.iterdir()] == ["hall"]


def test_a_foreign_page_reads_nothing_of_the_interface(shelf: Path) -> None:
    page = Page(shelf)
    assert (
        page.send("GET", "/api/jobs", headers={"sec-fetch-site": "cross-site"}).status_code == 403
    )
    assert page.send("GET", "/", headers={"sec-fetch-site": "cross-site"}).status_code == 200


def test_the_page_itself_is_let_in(shelf: Path) -> None:
    headers = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
    answer = Page(shelf).send("POST", "/api/jobs", {"title": "Chapel"}, headers=headers)
    assert answer.status_code == 201
    assert (shelf / "chapel" / "job.toml").is_file()


class TestOnTheLan:
    """One address, behind a link that is fresh at every start."""

    def rules(self) -> Rules:
        return Rules.lan("192.168.7.5", 8347)

    def test_tokens_are_fresh_and_long(self) -> None:
        first, second = self.rules(), self.rules()
        assert first.token != second.token
        assert len(first.token) >= 32  # 24 bytes in base64url, RFC 4648

    def test_nothing_without_the_pass(self, shelf: Path) -> None:
        page = Page(shelf, self.rules())
        for path in ("/", "/api/jobs", "/jobs/hall/ceiling", "/api/openapi.json"):
            answer = page.send("GET", path, host="192.168.7.5:8347")
            assert answer.status_code == 401, path
            assert "link" in answer.json()["error"]["what"]

    def test_a_wrong_token_gives_no_pass(self, shelf: Path) -> None:
        page = Page(shelf, self.rules())
        for query in ("?token=wrong", "", "?token="):
            answer = page.send("GET", f"/enter{query}", host="192.168.7.5:8347")
            assert answer.status_code == 403
            assert "set-cookie" not in answer.headers

    @pytest.mark.parametrize("cookie", ["soffit_pass=\xff\xfe", "soffit_pass", "=;=;", "a" * 9000])
    def test_odd_cookies_give_no_pass(self, shelf: Path, cookie: str) -> None:
        page = Page(shelf, self.rules())
        headers = {"cookie": cookie.encode("latin-1")}
        answer = page.send("GET", "/", headers=headers, host="192.168.7.5:8347")
        assert answer.status_code == 401

    def test_the_link_gives_a_pass_that_scripts_cannot_read(self, shelf: Path) -> None:
        rules = self.rules()
        page = Page(shelf, rules)
        answer = page.send("GET", f"/enter?token={rules.token}", host="192.168.7.5:8347")
        assert answer.status_code == 303
        assert answer.headers["location"] == "/"
        cookie = answer.headers["set-cookie"]
        assert "HttpOnly" in cookie
        assert "SameSite=Lax" in cookie
        page.cookies = {COOKIE: rules.token}
        assert page.send("GET", "/api/jobs", host="192.168.7.5:8347").status_code == 200
        assert page.send("GET", "/api/jobs", host="127.0.0.1:8347").status_code == 421


def test_a_body_that_is_too_large_is_refused(shelf: Path) -> None:
    page = Page(shelf)
    answer = page.send("POST", "/api/jobs", content=b"x" * (MOST_BODY + 1))
    assert answer.status_code == 413
    lying = {"content-length": "10", "content-type": "application/json"}
    answer = page.send("POST", "/api/jobs", content=b"[" * (MOST_BODY + 1), headers=lying)
    assert answer.status_code == 413


def test_every_answer_forbids_foreign_scripts_and_frames(shelf: Path) -> None:
    page = Page(shelf)
    for path in ("/", "/jobs/hall/survey", "/api/jobs", "/nothing", "/api/jobs/nothing"):
        answer = page.send("GET", path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"


def test_no_sheet_has_scripts_or_styles_in_its_text(shelf: Path) -> None:
    page = Page(shelf)
    for path in ("/", "/jobs/hall/survey", "/jobs/hall/ceiling", "/jobs/hall/check"):
        text = page.get(path)
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick=" not in text
        for tag in text.split("<script")[1:]:
            assert ' src="/static/' in tag.split(">")[0] or "application/json" in tag.split(">")[0]
        assert "http://" not in text.replace("http://www.w3.org", "")
        assert "https://" not in text


def test_paths_do_not_leave_the_folder(shelf: Path) -> None:
    (shelf / "secret.txt").write_text("secret")
    page = Page(shelf)
    for path in (
        "/api/jobs/..%2f..",
        "/api/jobs/hall/papers/..%2f..%2fsecret.txt",
        "/api/jobs/hall/papers/%2e%2e/%2e%2e/secret.txt",
        "/static/../secret.txt",
        "/jobs/..%2fhall/survey",
    ):
        answer = page.send("GET", path)
        assert answer.status_code in {404, 307}, path
        assert "secret" not in answer.text.replace(path, "").replace("secret.txt", "")
