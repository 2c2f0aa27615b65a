"""Only the person's own browser gets in: attacks on the desk from other pages and programs."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from provenance._desk import guard, uploads
from provenance._desk.serving import _file_that_opens, _listening, usual_port
from tests.desk.sitting import HOST, PORT, Sitting, text_of


@pytest.fixture
def sitting(tmp_path: Path) -> Sitting:
    return Sitting(tmp_path)


def test_acts_of_other_pages_and_programs_are_refused(sitting: Sitting) -> None:
    """The attacks that Fetch, RFC 6454 and RFC 6265 let a browser be used for."""
    good = {"Origin": HOST, "X-Desk-Act": sitting.access.act}
    cases = {
        "another origin": ({**good, "Origin": "http://elsewhere.example"}, 403),
        "an origin of another port": ({**good, "Origin": "http://127.0.0.1:1"}, 403),
        "a sandboxed page": ({**good, "Origin": "null"}, 403),
        "no origin": ({"X-Desk-Act": sitting.access.act}, 403),
        "no token": ({"Origin": HOST}, 403),
        "another token": ({**good, "X-Desk-Act": "ä" * 43}, 403),
        "a request across sites": ({**good, "Sec-Fetch-Site": "cross-site"}, 403),
        "a name that was rebound": ({**good, "Host": f"elsewhere.example:{PORT}"}, 421),
        "the host without its port": ({**good, "Host": "127.0.0.1"}, 421),
        "a false length": ({**good, "Content-Length": "٣"}, 413),
        "a form of a plain page": ({**good, "Sec-Fetch-Site": "same-site"}, 403),
    }
    for case, (headers, status) in cases.items():
        raw = {key: value.encode() for key, value in headers.items()}
        answer = sitting.client.post("/at-work", data={"by": "XY"}, headers=raw)
        assert answer.status_code == status, case
    assert sitting.desk.by == "MB"
    sitting.act("/at-work", {"by": "XY", "language": "en"})
    assert sitting.desk.by == "XY"


def test_nothing_is_shown_without_the_session(sitting: Sitting) -> None:
    for cookie in ({}, {sitting.access.cookie: "x"}, {"desk1": sitting.access.session}):
        stranger = TestClient(sitting.client.app, base_url=HOST, cookies=cookie)
        for path in ("/", "/look/desk.css", "/made/x", "/nowhere"):
            answer = stranger.get(path)
            assert (answer.status_code, "address" in answer.text) == (403, True), path
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE"):
        assert sitting.client.request(method, "/").status_code == 405


def test_a_ticket_opens_once_and_is_in_no_list_of_processes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))  # where no language is kept
    sitting = Sitting(tmp_path)
    browser = TestClient(sitting.client.app, base_url=HOST, headers={"Accept-Language": "es-MX"})
    assert browser.get("/open?ticket=guessed").status_code == 403
    assert browser.get(f"/open?ticket={sitting.access.ticket}").status_code == 200
    assert browser.get("/").status_code == 200
    assert sitting.desk.language == "es"
    other = TestClient(sitting.client.app, base_url=HOST)
    assert other.get(f"/open?ticket={sitting.access.ticket}").status_code == 403
    path = _file_that_opens(sitting.desk, f"{HOST}/open?ticket=t&x=<")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert "&amp;x=&lt;" in path.read_text()


def test_a_folder_has_its_own_port_and_another_one_when_that_is_taken(tmp_path: Path) -> None:
    """So that what a page kept is saved when the desk is opened again, and nowhere else."""
    assert usual_port(tmp_path) == usual_port(tmp_path / "x" / "..")
    assert usual_port(tmp_path) != usual_port(tmp_path / "other")
    usual = 0
    # one of them may be in use here
    for folder in (tmp_path / "a", tmp_path / "b", tmp_path / "c"):
        with _listening(0, folder) as one, _listening(0, folder) as other:
            assert one.getsockname()[0] == "127.0.0.1"
            assert other.getsockname()[1] != one.getsockname()[1]
            usual += one.getsockname()[1] == usual_port(folder)
    assert usual


def test_every_answer_bears_the_policies(sitting: Sitting) -> None:
    """CSP level 3; Fetch (CORP, COOP); the nonce is another in every answer."""
    policies = set()
    for path in ("/", "/nowhere", "/look/desk.css", "/look/../../pyproject.toml"):
        head = sitting.client.get(path).headers
        policies.add(policy := head["content-security-policy"])
        assert "default-src 'none'; script-src 'self'; " in policy
        assert head["x-content-type-options"] == "nosniff"
        assert head["cross-origin-resource-policy"] == "same-origin"
        assert head["cache-control"] == "no-store"
    assert len(policies) == 4


def test_a_body_is_counted_as_it_comes(sitting: Sitting, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "MOST_BODY_BYTES", 1000)
    assert "MiB" in sitting.act("/at-work", {"by": "x" * 2000}, status=413).text

    def without_length() -> object:
        yield from [b"by=x" * 100] * 10

    headers = {"Origin": HOST, "X-Desk-Act": sitting.access.act}
    headers["Content-Type"] = "application/x-www-form-urlencoded"
    answer = sitting.client.post("/at-work", content=without_length(), headers=headers)
    assert answer.status_code >= 400
    assert sitting.desk.by == "MB"


def test_the_page_of_limits_says_what_a_body_may_have() -> None:
    told = (Path(__file__).parents[2] / "docs" / "limits.md").read_text("utf-8")
    act, upload = guard.MOST_BODY_BYTES >> 20, guard.MOST_UPLOAD_BYTES >> 30
    files, fields = f"{uploads.MOST_FILES:,} files", f"{uploads.MOST_FIELDS:,} fields"
    assert f"One act may send {act} MB" in told
    assert f"up to {upload} GB, {files} and {fields}" in told


def test_paths_never_leave_the_folder(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "secret.txt").write_text("x")
    (tmp_path / "in" / "link.txt").symlink_to(tmp_path / "secret.txt")
    sitting = Sitting(tmp_path / "in")
    for path in (
        "/file/..%2Fsecret.txt",
        "/file/%2e%2e%2fsecret.txt",
        "/file/link.txt",
        "/file/..%5Csecret.txt",
        "/record/%2e%2e",
        "/look/%2e%2e/%2e%2e/pyproject.toml",
        "/look/page.html",
        "/look/vendor/%2e%2e/%2e%2e/%2e%2e/README.md",
    ):
        assert sitting.client.get(path).status_code == 404, path
    (tmp_path / "in" / "list.html").write_text("<script>alert(1)</script>")
    answer = sitting.client.get("/file/list.html")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "sandbox" in answer.headers["content-security-policy"]


def test_a_desk_to_read_only_changes_nothing(tmp_path: Path) -> None:
    sitting = Sitting(tmp_path, read_only=True)
    assert "read only" in sitting.act("/at-work", {"by": "XY"}, status=405).text
    assert "Who is at work" not in sitting.page("/")


def test_a_fault_of_the_program_is_told_and_kept(
    sitting: Sitting, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("provenance._desk.overview.things_in", broken)
    assert "fault of the program, not of your data" in text_of(sitting.page("/", status=500))
