"""What a report certifies is what was read: once, by the names of the study file, from its own folder."""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path

import pytest

from survivor.errors import StudyFileError
from survivor.files import content as module
from survivor.study import load
from tests.slow import some_slow
from tests.writing import Seedling, states_until, study_file, write_season

TWO = """
[[records.sheets]]
file = "b/visits.csv"
"""


def season(folder: Path, study: str) -> Path:
    made = [
        Seedling("site", plot, f"{plot}{tag}", method, (60, 365), states_until(tag % 3, 2))
        for plot, method in (("p", "usual"), ("q", "other"))
        for tag in range(6)
    ]
    return write_season(folder, study, made)


def two_sheets(folder: Path) -> Path:
    """A season in two files of one name."""
    season(
        folder,
        study_file(rules='tagged = "at planting"').replace(
            'file = "visits.csv"', 'file = "a/visits.csv"\n' + TWO
        ),
    )
    lines = (folder / "visits.csv").read_text().splitlines(keepends=True)
    for name, part in (("a", lines[:13]), ("b", [lines[0], *lines[13:]])):
        (folder / name).mkdir()
        (folder / name / "visits.csv").write_text("".join(part))
    return folder


def test_every_file_has_its_digest_under_the_name_that_the_study_file_uses(tmp_path):
    told = load(two_sheets(tmp_path)).provenance
    for name in ("study.toml", "a/visits.csv", "b/visits.csv"):
        assert told[f"sha256 of {name}"] == hashlib.sha256((tmp_path / name).read_bytes()).hexdigest()


def test_a_sheet_that_is_saved_while_it_is_read_is_certified_as_it_was_read(tmp_path, monkeypatch):
    """Whoever asks the disk a second time is given something else."""
    two_sheets(tmp_path)
    real, times = Path.read_bytes, {}

    def read(path: Path) -> bytes:
        times[path] = times.get(path, 0) + 1
        return real(path) + b"site,,x,x1,usual,planting,2021-06-01,1,2021-07-31,dead\n" * (times[path] - 1)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "read_bytes", read)
        study = load(tmp_path)
    assert set(times.values()) == {1}
    assert (
        study.provenance["sha256 of a/visits.csv"]
        == hashlib.sha256((tmp_path / "a" / "visits.csv").read_bytes()).hexdigest()
    )
    before = study.provenance
    (tmp_path / "a" / "visits.csv").write_text("changed since")
    assert study.provenance == before
    assert module._KEPT.get() is None  # nothing is kept longer than it is read


@pytest.mark.parametrize("how", ["beside", "absolute", "a link"])
@pytest.mark.parametrize("what", some_slow(["records", "gauge"], 1))
def test_what_lies_outside_the_folder_is_refused_unless_the_study_file_says_so(tmp_path, how, what):
    folder = season(tmp_path / "study", study_file())
    (tmp_path / "secret").mkdir()
    given = "visits.csv" if what == "records" else "rain.csv"
    if what == "gauge":
        (folder / given).write_text("date,rain (mm)\n2021-06-01,5\n2021-06-02,0\n")
    shutil.move(folder / given, tmp_path / "secret" / given)
    name = {"beside": f"../secret/{given}", "absolute": str(tmp_path / "secret" / given), "a link": given}[
        how
    ]
    if how == "a link":
        (folder / given).symlink_to(tmp_path / "secret" / given)
    file = folder / "study.toml"
    text = file.read_text().replace(
        'file = "visits.csv"', f'file = "{name}"' if what == "records" else 'file = "visits.csv"'
    )
    if what == "gauge":
        text += f'\n[[gauges]]\nname = "g"\nfile = "{name}"\n'
    file.write_text(text)
    with pytest.raises(StudyFileError, match="outside the folder of the study") as fault:
        load(folder)
    assert fault.value.what.startswith(name)
    assert "outside = true" in fault.value.mend
    file.write_text(text.replace("[study]\n", "[study]\noutside = true\n", 1))
    told = load(folder).provenance
    assert told["read from outside the study's folder"] == name
    assert told[f"sha256 of {name}"] == hashlib.sha256((tmp_path / "secret" / given).read_bytes()).hexdigest()
