"""Files are written whole or not at all, and nothing that is not ours is replaced."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import pandas as pd
import pytest

from survivor.errors import WritingError
from survivor.files import writing as module
from survivor.files.lock import LOCK, held, writer_of
from survivor.files.writing import MANIFEST, csv_text, is_there, refuse_inputs, write_whole, writing
from survivor.report.verify import told_in
from survivor.study import load
from tests.files.making import NEW, OLD, put
from tests.writing import small_season


def content(folder: Path) -> dict[str, str]:
    """Every file below a folder by name, the manifest aside."""
    return {
        path.relative_to(folder).as_posix(): path.read_text()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.name != MANIFEST
    }


def without_exchange(monkeypatch) -> None:
    """As on a system that cannot let two folders change names at one moment."""
    monkeypatch.setattr(module, "_exchanged", lambda stage, folder: False)


@pytest.fixture(params=["as one", "one by one"])
def way(request, monkeypatch):
    if request.param == "one by one":
        without_exchange(monkeypatch)
    return request.param


def test_files_go_where_their_names_say_and_hold_what_was_given(tmp_path, way):
    with writing(tmp_path / "a" / "out", "the report") as place:
        written = place.write({"a.txt": "é\r\n", "tables/b.csv": b"\x00"})
    assert written == (tmp_path / "a" / "out" / "a.txt", tmp_path / "a" / "out" / "tables" / "b.csv")
    assert [file.read_bytes() for file in written] == [b"\xc3\xa9\r\n", b"\x00"]
    assert sorted(os.listdir(tmp_path / "a")) == ["out"]
    assert sorted(os.listdir(tmp_path / "a" / "out")) == [MANIFEST, "a.txt", "tables"]


def test_what_an_earlier_run_wrote_and_this_one_does_not_is_gone(tmp_path, way):
    put(tmp_path / "out", {"a": "1", "tables/b": "1", "pictures/c": "1"})
    put(tmp_path / "out", {"a": "2", "tables/d": "2"})
    assert content(tmp_path / "out") == {"a": "2", "tables/d": "2"}
    assert not (tmp_path / "out" / "pictures").exists()


def test_what_is_not_ours_stays_and_is_named(tmp_path, way, caplog):
    put(tmp_path / "out", {"a": "1", "tables/b": "1"})
    (tmp_path / "out" / "mine.txt").write_text("mine")
    (tmp_path / "out" / "tables" / "mine.csv").write_text("mine")
    (tmp_path / "out" / "photos").mkdir()
    (tmp_path / "out" / "photos" / "1.jpg").write_text("mine")
    put(tmp_path / "out", {"a": "2"})
    assert content(tmp_path / "out") == {
        "a": "2", "mine.txt": "mine", "photos/1.jpg": "mine", "tables/mine.csv": "mine",
    }  # fmt: skip
    assert "left as it is, since survivor did not write it: mine.txt, photos, tables/mine.csv" in caplog.text


@pytest.mark.parametrize("how", ["never ours", "changed since", "a link", "a folder"])
def test_what_is_not_ours_is_never_replaced(tmp_path, how, way):
    out = tmp_path / "out"
    put(out, {"a": "1", "b": "1"})
    if how == "never ours":
        (out / "c").write_text("mine")
    elif how == "changed since":
        (out / "b").write_text("1 and what I wrote")
    elif how == "a link":
        (out / "b").unlink()
        (tmp_path / "elsewhere").write_text("1")
        (out / "b").symlink_to(tmp_path / "elsewhere")
    else:
        (out / "c").mkdir()
    before = content(out)
    with pytest.raises(WritingError) as fault:
        put(out, {"a": "2", "b": "2", "c": "2"})
    assert fault.value.exit_status == 2
    assert ("b: was changed since" if how in ("changed since", "a link") else "c: there already") in str(
        fault.value
    )
    assert content(out) == before


def test_what_was_changed_is_found_before_the_work(tmp_path):
    put(tmp_path, {"a": "1"})
    (tmp_path / "a").write_text("mine")
    with pytest.raises(WritingError, match="a: was changed"), writing(tmp_path, "the report"):
        raise AssertionError("the work was begun")


def test_what_another_command_wrote_is_not_replaced_and_not_taken_away(tmp_path, way):
    put(tmp_path / "out", {"plan.toml": "1"}, what="the plan")
    with pytest.raises(WritingError, match="there already"):
        put(tmp_path / "out", {"plan.toml": "2"}, what="the guideline")
    put(tmp_path / "out", {"page": "2"}, what="the guideline")
    put(tmp_path / "out", {"page": "3"}, what="the guideline")
    put(tmp_path / "out", {"plan.toml": "3"}, what="the plan")
    assert content(tmp_path / "out") == {"page": "3", "plan.toml": "3"}


def test_a_folder_that_holds_the_same_of_another_file_is_refused(tmp_path):
    first, second = tmp_path / "a" / "study.toml", tmp_path / "b" / "study.toml"
    put(tmp_path / "out", {"a": "1"}, of=first)
    put(tmp_path / "out", {"a": "2"}, of=first)
    with pytest.raises(WritingError, match="holds the report of another file"):
        put(tmp_path / "out", {"a": "3"}, of=second)
    assert content(tmp_path / "out") == {"a": "2"}
    assert str(tmp_path) not in (tmp_path / "out" / MANIFEST).read_text()  # a report is sent to others


def test_a_place_that_cannot_be_written_is_named_in_full_before_the_work(tmp_path, monkeypatch):
    (tmp_path / "taken").write_text("a file stands where the folder should be")
    monkeypatch.chdir(tmp_path)
    for place in ("taken", "taken/below", "x" * 300, "with\0nought"):
        with pytest.raises(WritingError, match="the plan could not be written") as fault:
            put(Path(place), {}, what="the plan")
        assert str(tmp_path / place) in str(fault.value)
        assert "name a place that you may write to" in str(fault.value)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_only_be_read_is_refused_before_the_work(tmp_path):
    (tmp_path / "out").mkdir(mode=0o555)
    with pytest.raises(WritingError, match="Permission denied"), writing(tmp_path / "out", "the report"):
        raise AssertionError("the work was begun")


def test_where_nothing_is_written_nothing_is_left(tmp_path):
    with pytest.raises(KeyboardInterrupt), writing(tmp_path / "a" / "b", "the report"):
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


def test_one_file_is_replaced_whole_and_a_link_stays(tmp_path):
    (tmp_path / "real").write_text("1")
    (tmp_path / "real").chmod(0o640)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_whole(tmp_path / "link", b"2", "it")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "2"
    assert (tmp_path / "real").stat().st_mode & 0o777 == 0o640
    assert sorted(os.listdir(tmp_path)) == ["link", "real"]


def test_inputs_are_never_written_over(tmp_path):
    (tmp_path / "visits.csv").write_text("")
    (tmp_path / "link").symlink_to(tmp_path / "visits.csv")
    for name in ("visits.csv", "./visits.csv", "link"):
        with pytest.raises(WritingError, match="not written over"):
            refuse_inputs([tmp_path / name], [tmp_path / "visits.csv"])


def test_a_name_that_no_file_can_have_is_not_there(tmp_path):
    assert not is_there(tmp_path / ("x" * 5000))


@pytest.mark.parametrize("text", ["=1+1", "@SUM(A1)", "+cmd", "-cmd", "\t=1", "\r=1", " =1", "\n=1"])
def test_a_text_that_a_spreadsheet_takes_for_a_formula_stays_a_text(text):
    table = pd.DataFrame({text: [text], "fine": ["-12.5"], "number": [-1.5]})
    assert csv_text(table).replace('"', "").startswith(f"'{text}")
    assert f"'{text}" in csv_text(table).replace('"', "")[len(text) :]
    assert ",-12.5,-1.5" in csv_text(table)


# --- one folder, one writer --------------------------------------------------------------------------------


def test_a_second_writer_is_refused_with_the_name_of_the_first(tmp_path):
    with held(tmp_path):
        code = (
            "import sys; from pathlib import Path; from survivor.files.writing import writing\n"
            "with writing(Path(sys.argv[1]), 'the report') as place: place.write({'a': '2'})"
        )
        second = subprocess.run([sys.executable, "-c", code, tmp_path], capture_output=True, text=True)
    assert second.returncode == 1
    assert f"another run of survivor is writing to this folder (process {os.getpid()}" in second.stderr
    assert not (tmp_path / LOCK).exists()
    put(tmp_path, {"a": "2"})


def test_a_lock_that_nobody_holds_is_taken_over_and_said(tmp_path, caplog):
    (tmp_path / LOCK).write_text("process 12 of elsewhere, since 2022-05-31 12:00:00\n")
    put(tmp_path, {"a": "1"})
    assert "taken over from a run that did not end by itself (process 12 of elsewhere" in caplog.text
    assert content(tmp_path) == {"a": "1"}


HOLDS = """
import sys
from pathlib import Path
from survivor.files.lock import held
with held(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.readline()
"""


@contextlib.contextmanager
def written_elsewhere(folder: Path):
    """Another process writes to the folder."""
    pipe = subprocess.PIPE
    with subprocess.Popen([sys.executable, "-c", HOLDS, folder], stdin=pipe, stdout=pipe) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        yield holder.pid
        holder.communicate(b"\n")


def test_who_reads_is_told_of_who_writes(tmp_path, caplog):
    """Of another process only, and only while it does."""
    study = small_season(tmp_path / "study")
    with written_elsewhere(study) as pid:
        load(study)
        assert f"another run of survivor is writing to this folder (process {pid} of" in caplog.text
        with pytest.raises(WritingError, match=f"another run of survivor .* \\(process {pid} of"):
            told_in(study)
    caplog.clear()
    with held(study):
        load(study)
    (study / LOCK).write_text("process 12 of elsewhere, since 2022-05-31 12:00:00\n")  # of a run that died
    load(study)
    assert caplog.text == ""


def test_who_asks_who_writes_keeps_nobody_from_writing(tmp_path):
    (tmp_path / LOCK).write_text("")
    asking = threading.Thread(target=lambda: [writer_of(tmp_path) for _ in range(2_000)])
    asking.start()
    for number in range(50):
        put(tmp_path, {"a": str(number)})
    asking.join()
    assert content(tmp_path)["a"] == "49"


@pytest.mark.skipif(sys.platform != "linux", reason="a system that lets two folders change names at once")
def test_what_comes_to_a_folder_that_holds_nothing_comes_as_one(tmp_path, monkeypatch):
    def one_by_one(*_):
        raise AssertionError("whoever kills it now leaves half a folder")

    monkeypatch.setattr(module.Place, "_one_by_one", one_by_one)
    put(tmp_path / "out", {"study.toml": "1", "plots.csv": "1"}, as_one=False)
    assert content(tmp_path / "out") == {"study.toml": "1", "plots.csv": "1"}


# --- a full disk, and a kill -------------------------------------------------------------------------------


def is_one_of_two(folder: Path, *, mixed: bool) -> None:
    """Nothing is half; and all is of one run, unless a run that was stopped between its files says so."""
    found = content(folder)
    found.pop(LOCK, None)
    found = {name: text for name, text in found.items() if not name.startswith(".survivor-new/")}
    for name, text in found.items():
        assert text in (OLD.get(name), NEW.get(name)), name
    if found not in (OLD, NEW):
        record = json.loads((folder / MANIFEST).read_text())["written"]["the report"]
        assert mixed
        assert record["whole"] is False


@pytest.mark.parametrize("seed", range(12))
def test_a_full_disk_leaves_what_was_there(tmp_path, way, monkeypatch, seed):
    out = tmp_path / "out"
    put(out, OLD)
    room = random.Random(seed).randrange(sum(map(len, NEW.values())))
    real_open = Path.open

    def full(self, mode="r", *more, **how):
        opened = real_open(self, mode, *more, **how)
        if mode != "wb":
            return opened

        def write(held: bytes) -> int:
            nonlocal room
            if len(held) > room:
                type(opened).write(opened, held[:room])
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            room -= len(held)
            return type(opened).write(opened, held)

        return _Opened(opened, write)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", full)
        with pytest.raises(WritingError, match="No space left on device"):
            put(out, NEW)
    assert content(out) == OLD
    assert sorted(os.listdir(tmp_path)) == ["out"]
    put(out, NEW)
    assert content(out) == NEW


class _Opened:
    """A file of which only the writing is another."""

    def __init__(self, opened, write):
        self._opened, self.write = opened, write

    def __enter__(self):
        return self

    def __exit__(self, *fault):
        self._opened.close()

    def __getattr__(self, name):
        return getattr(self._opened, name)


def killed(folder: Path, way: str, moments) -> None:
    """Kill a writer without warning, again and again; look each time at what is there."""
    for moment in moments:
        writer = subprocess.Popen(
            [sys.executable, "-m", "tests.files.making", str(folder), way],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert writer.stdout is not None
        assert writer.stdout.readline() == b"begun\n"
        time.sleep(moment)
        writer.kill()
        writer.wait()
        writer.stdout.close()
        if folder.exists() and any(name != LOCK for name in os.listdir(folder)):
            is_one_of_two(folder, mixed=way == "one by one")
    put(folder, OLD)
    assert content(folder) == OLD
    assert os.listdir(folder.parent) == [folder.name]


@pytest.mark.parametrize("way", ["as one", "one by one"])
def test_a_kill_leaves_every_file_whole(tmp_path, way):
    drawn = random.Random(3)
    killed(tmp_path / "out", way, [drawn.uniform(0.001, 0.05) for _ in range(3)])


@pytest.mark.slow
@pytest.mark.parametrize("way", ["as one", "one by one"])
def test_a_kill_at_a_hundred_moments_leaves_every_file_whole(tmp_path, way):
    drawn = random.Random(4)
    killed(tmp_path / "out", way, [drawn.uniform(0.001, 0.08) for _ in range(100)])
