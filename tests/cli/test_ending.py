"""How a run ends: a plain line and a status of its own, whatever happened and wherever the output goes."""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
from pathlib import Path

import pytest

import survivor.cli
from tests.cli.running import command, run
from tests.writing import small_season

DATASETS = Path(__file__).parents[2] / "datasets"


def ended(monkeypatch, capsys, fault: BaseException) -> tuple[object, str]:
    """Status and message of a run in which this happens."""

    def fail() -> None:
        raise fault

    monkeypatch.setattr(survivor.cli, "app", fail)
    with pytest.raises(SystemExit) as left:
        survivor.cli.main()
    return left.value.code, capsys.readouterr().err


class Panic(BaseException):
    """As of a reader that is written in another language."""


@pytest.mark.parametrize("fault", [ValueError("of\nours"), RecursionError("of ours"), Panic("of ours")])
def test_a_fault_of_our_own_is_one_plain_line_with_a_way_to_report_it(monkeypatch, capsys, fault):
    status, said = ended(monkeypatch, capsys, fault)
    assert status == 3  # never the status of records that have to be mended
    assert f"this is a fault of survivor {survivor.__version__}, not of your records: " in said
    assert f"{type(fault).__name__}: of ours (test_ending.py, line " in said
    assert "What to do: run it again with SURVIVOR_TRACE=1 set, and send what it says" in said
    assert "Traceback" not in said
    monkeypatch.setenv("SURVIVOR_TRACE", "1")
    assert "Traceback" in ended(monkeypatch, capsys, fault)[1]


def test_too_little_memory_is_said(monkeypatch, capsys):
    status, said = ended(monkeypatch, capsys, MemoryError())
    assert status == 2
    assert said.startswith("there is not enough memory for this\nWhat to do:")


@pytest.mark.slow
@pytest.mark.parametrize("letters", ["cp1252", "ascii"])
def test_output_that_knows_few_letters_is_written_all_the_same(tmp_path, letters):
    shutil.copytree(DATASETS / "tagged", tmp_path / "Ōtāpara 🚜")
    study = tmp_path / "Ōtāpara 🚜" / "study.toml"
    text = study.read_text(encoding="utf-8")
    named = text.replace("[study]\nname = ", '[study]\nname = "Ōtāpara −35 🚜" #', 1)
    assert named != text
    study.write_text(named, encoding="utf-8")
    checked = run("check", study.parent, PYTHONIOENCODING=letters, PYTHONUTF8="0", LC_ALL="C")
    assert checked.returncode == 0, checked.stderr
    assert re.search("[?Ō]t[?ā]para [?−]35 [?🚜]", checked.stdout.decode())
    assert b"Traceback" not in checked.stderr


@pytest.mark.slow
def test_the_next_command_can_be_typed_as_it_stands(tmp_path):
    folder = tmp_path / "my studies" / "Plots – 2022 (final) 100%"
    shutil.copytree(DATASETS / "counts", folder)
    said = run("check", folder, PYTHONUTF8="1").stdout.decode()
    assert f"Next: survivor report '{folder}'" in said


@pytest.mark.slow
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_run_that_is_stopped_says_so_and_leaves_nothing(tmp_path, number):
    running = subprocess.Popen(
        command("report", DATASETS / "counts", "--out", tmp_path / "a" / "b"),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert running.stderr is not None
    while b"Models" not in running.stderr.readline():
        assert running.poll() is None
    assert (tmp_path / "a" / "b").is_dir()  # made and tried before the work
    running.send_signal(number)
    _, said = running.communicate(timeout=60)
    assert running.returncode == 128 + number
    assert b"Stopped. Every file is whole" in said
    assert b"Traceback" not in said
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_machine_that_is_not_ours(tmp_path):
    """No home, no locale, no folder for settings, nothing of the interpreter's checks of itself."""
    poor = {"HOME": "/nonexistent", "XDG_CONFIG_HOME": "/nonexistent", "LC_ALL": "POSIX", "PYTHONUTF8": "0",
            "PYTHONCOERCECLOCALE": "0", "TERM": "dumb"}  # fmt: skip
    shutil.copytree(DATASETS / "counts", tmp_path / "counts")
    made = run("report", "counts", flags=("-O", "-X", "dev"), cwd=tmp_path, **poor)
    assert made.returncode == 0, made.stderr
    assert b"MPLCONFIGDIR" not in made.stderr
    report = tmp_path / "reports" / "counts"
    assert (report / "report.pdf").read_bytes().startswith(b"%PDF")
    small = small_season(tmp_path / "small")
    for file in sorted(small.iterdir()):
        file.chmod(0o444)
    small.chmod(0o555)  # a folder that may only be read is enough to read from
    again = run("report", "small", cwd=tmp_path, **poor)
    assert again.returncode == 0, again.stderr


@pytest.mark.slow
@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk that is always full")
def test_where_not_even_the_end_can_be_written_the_status_tells_it():
    with open("/dev/full", "wb") as full:
        left = subprocess.run(command("check", "nowhere"), stdout=full, stderr=full, check=False)
    assert left.returncode == 2
