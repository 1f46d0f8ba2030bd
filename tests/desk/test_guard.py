"""Who is let in: attacks on a local server, each with what it gets."""

import re
from collections.abc import Iterator

import pytest

from survivor.desk import guard
from survivor.desk.guard import Door
from tests.desk.opened import ORIGIN, Opened

ROOMS = ("/", "/sheets/counts", "/report/counts", "/file/reports/counts/report.html", "/desk.css", "/nowhere")


@pytest.mark.parametrize("path", ROOMS)
def test_nobody_comes_in_without_the_key(desk: Opened, path: str):
    assert desk.stranger().get(path).status_code == 403


@pytest.mark.parametrize("key", ["", "x", "key=", "%00", "é"])
def test_a_wrong_key_is_no_key(desk: Opened, key: str):
    answer = desk.stranger().get(f"/enter?key={key}")
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_the_key_is_turned_into_a_pass_that_scripts_and_other_sites_never_get(desk: Opened):
    answer = desk.stranger().get(f"/enter?key={desk.door.key}")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert desk.door.key not in answer.text + cookie
    assert desk.door.pass_ not in answer.text


def test_keys_are_never_the_same():
    doors = [Door("127.0.0.1:1") for _ in range(50)]
    assert len({door.key for door in doors} | {door.pass_ for door in doors}) == 100
    assert min(len(door.key) for door in doors) >= 43  # 256 random bits
    assert not any(door.key in repr(door) or door.pass_ in repr(door) for door in doors)


@pytest.mark.parametrize(
    "host",
    ["localhost:4711", "127.0.0.1", "127.0.0.1:80", "evil.example:4711", "evil.example", "[::1]:4711", "",
     "127.0.0.1:4711.evil.example", "127.0.0.1:4711@evil.example"],
)  # fmt: skip
def test_another_host_is_refused_with_the_pass_too(desk: Opened, host: str):
    browser = desk.browser()
    assert browser.get("/", headers={"host": host}).status_code == 421
    assert desk.stranger().get(f"/enter?key={desk.door.key}", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        "https://127.0.0.1:4711",
        "http://127.0.0.1:4712",
        "http://localhost:4711",
        "",
    ],
)
@pytest.mark.parametrize(("method", "path"), [("GET", "/"), ("POST", "/demo"), ("POST", "/report/counts")])
def test_another_origin_is_refused_with_the_pass_too(desk: Opened, origin: str, method: str, path: str):
    with desk.browser() as browser:
        assert browser.request(method, path, headers={"origin": origin}).status_code == 403
    assert sorted(path.name for path in desk.folder.iterdir()) == ["counts", "tagged"]


def test_a_change_without_an_origin_is_refused(desk: Opened):
    browser = desk.stranger()
    browser.get(f"/enter?key={desk.door.key}")
    assert browser.get("/").status_code == 200
    assert browser.post("/demo").status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_site_started_is_refused(desk: Opened, site: str):
    asked = {"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}
    assert desk.browser().get("/desk.css", headers=asked).status_code == 403
    assert desk.browser().get("/", headers={**asked, "sec-fetch-mode": "navigate"}).status_code == 403


def test_no_answer_allows_another_site_anything(desk: Opened):
    with desk.browser() as browser:
        for path in ("/", "/report/counts", "/nowhere", "/desk.css"):
            headers = browser.get(path).headers
            assert not [name for name in headers if name.startswith("access-control")]
            assert headers["x-content-type-options"] == "nosniff"
            assert headers["referrer-policy"] == "same-origin"
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert "frame-ancestors 'none'" in policy


@pytest.mark.parametrize("path", ["/", "/report/counts", "/nowhere", "/sheets/../x"])
def test_no_page_holds_a_script_or_a_style_of_its_own(desk: Opened, path: str):
    with desk.browser() as browser:
        page = browser.get(path).text
    assert re.findall(r"<script(?![^>]* src=)|\son\w+=|\sstyle=|<style|javascript:", page) == []
    assert set(re.findall(r'(?:src|href)="(https?:[^"]*)"', page)) == set()


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_no_other_method_does_anything(desk: Opened, method: str):
    with desk.browser() as browser:
        assert browser.request(method, "/report/counts").status_code == 405


def test_more_than_is_taken_is_refused_before_it_is_read(desk: Opened):
    read = []

    def endless() -> Iterator[bytes]:
        while True:
            read.append(1)
            yield b"x"

    with desk.browser() as browser:
        told = {"content-length": str(2 * 2**30)}
        assert browser.post("/drop/season", content=endless(), headers=told).status_code == 413
        assert browser.post("/demo", content=b"", headers={"content-length": "5000000"}).status_code == 413
        assert browser.post("/demo", content=b"", headers={"content-length": "-1"}).status_code == 413
    assert len(read) <= 1


def test_more_than_is_taken_is_refused_where_no_length_is_told(desk: Opened, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(guard, "_most", lambda scope: 100_000)
    head = b'--b\r\nContent-Disposition: form-data; name="files"; filename="a.csv"\r\n\r\n'

    def sent() -> Iterator[bytes]:
        yield head
        for _ in range(50):
            yield b"1,2\n" * 1000

    with desk.browser() as browser:
        kind = {"content-type": "multipart/form-data; boundary=b"}
        answer = browser.post("/drop/season", content=sent(), headers=kind)
    assert answer.status_code == 413
    assert sorted(path.name for path in desk.folder.iterdir()) == ["counts", "tagged"]


def test_the_desk_stops_by_its_button_and_by_no_link(desk: Opened):
    with desk.browser() as browser:
        assert browser.get("/stop").status_code == 405
        assert desk.closed == []
        assert browser.post("/stop").status_code == 200
    assert desk.closed == [True]


def test_how_pages_look_is_kept_and_what_they_say_is_not(desk: Opened):
    """So that the last page looks as the others do when the desk is closed already."""
    browser = desk.browser()
    page = browser.get("/")
    assert page.headers["cache-control"] == "no-store"
    looks = re.findall(r'(?:href|src)="(/desk\.(?:css|js)\?\w{16})"', page.text)
    assert len(looks) == 2
    for address in looks:
        assert "immutable" in browser.get(address).headers["cache-control"]


def test_the_pass_of_one_desk_opens_no_other(desk: Opened):
    other = Opened(desk.folder)
    browser = desk.browser()
    assert other.stranger(cookies=dict(browser.cookies)).get("/").status_code == 403
    assert ORIGIN.endswith(desk.door.host)
