"""The report speaks of the preparations and the planting of this study, not of those only named in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from survivor.analysis import Analysis
from survivor.document.elements import Paragraph, Table
from survivor.report.cautions import cautions
from survivor.report.groups import species
from survivor.report.planting import planting
from tests.analysis.seasons import write
from tests.once import analysed

METHODS = """
[[methods]]
name = "usual"
works = ["spot spray"]

[[methods]]
name = "other"
works = ["hand hoe"]

[[methods]]
name = "deep auger"
works = ["auger hole"]
"""


def visits(site: int, plot: int) -> tuple[int, ...]:
    return (60, 200, 365)


def with_species(folder: Path, of: dict[str, int]) -> Path:
    """Give the first so many seedlings of each plot one species, by preparation, and the others another."""
    write(folder, visits, more=METHODS)
    path = folder / "visits.csv"
    head, *lines = path.read_text(encoding="utf-8").splitlines()
    made = [f"{head},species"]
    for line in lines:
        _, _, _, tag, method, *_ = line.split(",")
        number = int(tag.split("-")[1])
        made.append(f"{line},{'wattle' if number < of[method] else 'gum'}")
    path.write_text("\n".join(made), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return analysed(with_species(tmp_path_factory.mktemp("alike"), {"usual": 5, "other": 5}))


def test_a_preparation_in_no_plot_is_named_as_such_and_touches_no_caution(season: Analysis) -> None:
    tables = {block.key: block for block in planting(season).blocks if isinstance(block, Table)}
    assert [row[0] for row in tables["preparations"].rows] == ["usual", "other"]
    assert "In the study file but in no plot of these records: deep auger." in tables["preparations"].note
    assert not any(column.heading == "deep auger" for table in tables.values() for column in table.columns)
    first = next(block.text for block in cautions(season).blocks if isinstance(block, Paragraph))
    assert "herbicide" in first
    assert "machinery" not in first


def test_species_are_said_to_be_planted_unlike_only_where_they_are(season: Analysis, tmp_path: Path) -> None:
    said = next(block.text for block in species(season).blocks if isinstance(block, Paragraph))
    assert said == "Species were planted in the same shares under every preparation and at every site."
    unlike = analysed(with_species(tmp_path, {"usual": 3, "other": 7}))
    said = next(block.text for block in species(unlike).blocks if isinstance(block, Paragraph))
    assert said.startswith("Species were not planted alike")
