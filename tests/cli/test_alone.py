"""Nothing reaches beyond this machine: every command does its work with all but loopback closed."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.cli.running import ALONE, SURVIVOR, run
from tests.writing import small_season

DATASETS = Path(__file__).parents[2] / "datasets"


# Opens a desk on a folder, goes through every page of it as a browser would, and closes it.
VISIT = """
import html, http.cookiejar, re, signal, subprocess, sys, urllib.request
program, home = sys.argv[1:]
desk = subprocess.Popen([sys.executable, "-c", program, "desk", home, "--no-browser"], stdout=subprocess.PIPE)
try:
    address = desk.stdout.readline().decode().split()[-1]
    kept = urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
    browser = urllib.request.build_opener(urllib.request.ProxyHandler({}), kept)
    browser.open(address, timeout=60).read()
    root, waiting, seen = address.partition("/enter")[0], ["/"], set()
    while waiting:
        place = waiting.pop()
        seen.add(place.partition("?")[0])
        page = browser.open(root + place, timeout=60).read().decode("utf-8", "replace")
        links = [html.unescape(link) for link in re.findall(r'<a[^>]* href="(/[^"#]*)"', page)]
        waiting += [link for link in dict.fromkeys(links) if link.partition("?")[0] not in seen]
finally:
    desk.send_signal(signal.SIGINT)
print(len(seen), "pages; status", desk.wait(60))
"""


def without_network() -> tuple[str, ...]:
    """The command that runs another with loopback and no other network, where the system lets it."""
    words = ("unshare", "--net", "--map-root-user", "sh", "-c", 'ip link set lo up && exec "$@"', "sh")
    try:
        subprocess.run([*words, "true"], check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        return ()
    return words


EACH = """
import json
from survivor.cli import main
for words in json.loads(sys.argv[1]):
    sys.argv = ["survivor", *words]
    try:
        main()
    except SystemExit as left:
        if left.code not in (None, 0, 1):
            raise
"""


def alone(cwd: Path, *commands: Sequence[object]) -> None:
    """Run commands one after the other in a process of their own, which nothing leaves."""
    words = json.dumps([[str(word) for word in one] for one in commands])
    ended = run(words, code=ALONE + EACH, before=without_network(), cwd=cwd, HOME=str(cwd))
    assert b"REACHED OUT" not in ended.stderr, ended.stderr
    assert ended.returncode == 0, ended.stderr


def test_the_watch_sees_who_reaches_out(tmp_path):
    """Else all that follows would be well whatever happened."""
    for code in (
        "import socket; socket.create_connection(('192.0.2.1', 80), 0.1)",
        "import urllib.request; urllib.request.urlopen('http://192.0.2.1/')",
        "import socket; socket.getaddrinfo('example.org', 80)",
    ):
        assert run(code=ALONE + code).returncode == 99


@pytest.mark.slow
def test_small_commands_reach_out_to_nobody(tmp_path):
    for name in ("study", "sheets"):
        shutil.copytree(DATASETS / "counts", tmp_path / name)
    (tmp_path / "sheets" / "study.toml").unlink()
    small_season(tmp_path / "small")
    (tmp_path / "Desktop").mkdir()
    alone(
        tmp_path,
        ("demo", "demo"),
        ("check", "study", "--out", "out", "--html", "a.html", "--xlsx", "a.xlsx"),
        ("new", "blank"),
        ("new", "sheets", "--from-sheets"),
        ("report", "small"),
        ("report", "small", "--verify", "reports/small"),
        ("check", "small", "--write-matches"),
        ("desk", ".", "--shortcut"),
    )
    assert (tmp_path / "sheets" / "study.toml").is_file()
    assert (tmp_path / "reports" / "small" / "report.pdf").is_file()


@pytest.mark.slow
def test_the_desk_reaches_out_to_nobody(tmp_path):
    small_season(tmp_path / "home" / "season")
    visit = [*without_network(), sys.executable, "-c", VISIT, ALONE + SURVIVOR, tmp_path / "home"]
    ended = subprocess.run(visit, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stderr
    assert "REACHED OUT" not in ended.stderr
    pages, status = re.fullmatch(r"(\d+) pages; status (\d+)\n", ended.stdout).groups()
    assert int(pages) > 5
    assert status == "0"


@pytest.mark.slow
def test_large_commands_reach_out_to_nobody(tmp_path):
    shutil.copytree(DATASETS / "seasons", tmp_path / "seasons")
    alone(
        tmp_path,
        ("pool", *sorted((tmp_path / "seasons").glob("season-*"))),
        ("guideline", "seasons/guideline.toml"),
        ("new", "blank"),
        ("plan", "blank/plan.toml", "--studies", "20"),
        ("layout", "blank/plan.toml", "--out", "laid", "--plots", "4", "--seedlings", "4"),
        ("sheets", "laid"),
    )
    assert list((tmp_path / "laid").glob("*.xlsx"))


@pytest.mark.slow
def test_a_programme_reaches_out_to_nobody(tmp_path):
    """Its processes talk with each other by loopback alone."""
    for name in ("north", "south"):
        small_season(tmp_path / "all" / name)
    alone(tmp_path, ("programme", "all", "--workers", "2"))
    assert (tmp_path / "reports" / "all" / "programme.html").is_file()
