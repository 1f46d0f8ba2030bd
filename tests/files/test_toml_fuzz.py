"""Study, plan, guideline and gauge files mutated at random: read, or refused in plain words, at once."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.files.kinds import KINDS
from tests.files.mutating import Season, a_mutated_file, why_of_gauge


def mutations(kind: str, folder: Path, drawn: random.Random, times: int) -> None:
    for _ in range(times):
        a_mutated_file(kind, folder, drawn)


def seasons(folder: Path, drawn: random.Random, times: int) -> None:
    season = Season(folder)
    for number in range(times):
        if number % 2:
            slip, seen, _ = season.mutated_gauge(drawn)
            assert seen not in ("silent", "elsewhere") or why_of_gauge(slip), slip
        else:
            season.mutated_study(drawn)


@pytest.mark.parametrize("kind", KINDS)
def test_a_mutated_file_is_read_or_refused(tmp_path, kind):
    mutations(kind, tmp_path, random.Random(5), 60)


@pytest.mark.slow
def test_a_season_with_a_mutated_file_is_read_or_refused(tmp_path):
    seasons(tmp_path, random.Random(6), 12)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_many_mutated_files_are_read_or_refused(tmp_path, kind):
    mutations(kind, tmp_path, random.Random(7), 500)


@pytest.mark.slow
def test_many_seasons_with_a_mutated_file_are_read_or_refused(tmp_path):
    seasons(tmp_path, random.Random(8), 500)
