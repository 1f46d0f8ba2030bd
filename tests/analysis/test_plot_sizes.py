"""Seasons in which plots differ much in size: their models weight plots, and say so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.models import SeasonFits, fit_season
from survivor.effects.compare import working_of
from survivor.effects.contrasts import contrasts
from survivor.effects.prediction import like_sites
from survivor.effects.sites import leave_one_site_out
from survivor.effects.within_between import within_between
from survivor.models.by_period import fit_again
from survivor.models.fit import fit
from survivor.settings import read_settings
from tests.analysis.seasons import write
from tests.calibration.layouts import AT, Layout, balanced, ten_fold

PLAIN = balanced(6, 2, effects=(-0.5,), plot_sd=0.8)
UNEQUAL = ten_fold(PLAIN)


def records(layout: Layout, seed: int = 1) -> pd.DataFrame:
    return next(layout.draw(np.random.default_rng(seed), 1))


@pytest.fixture(scope="module")
def fits(tmp_path_factory: pytest.TempPathFactory) -> SeasonFits:
    folder = write(tmp_path_factory.mktemp("season"), lambda site, plot: (60, 200, 370))
    return fit_season(records(UNEQUAL), read_settings(folder / "study.toml"), AT)


def sized(*sizes: int) -> pd.DataFrame:
    layout = replace(PLAIN, size=np.resize(sizes, len(PLAIN.size)))
    return records(layout)


def test_weights_go_by_the_plants_watched_in_small_and_large_plots() -> None:
    assert working_of(sized(20)) == ("independence", [])
    assert working_of(sized(10, 40))[0] == "independence"  # 4 times, not more
    assert working_of(sized(10, 41))[0] == "plot correlation"
    # One large plot of 24 does not make plots unequal.
    layout = replace(PLAIN, size=np.where(np.arange(len(PLAIN.size)) == 0, 500, 20))
    assert working_of(records(layout))[0] == "independence"
    # Whoever died, the choice is the same.
    frame = records(UNEQUAL)
    first = frame[frame["start_day"] == 0]
    assert working_of(frame) == working_of(first.assign(died=0))


def test_every_model_of_deaths_weights_plots_and_the_notes_say_so(fits: SeasonFits) -> None:
    assert fits.headline is not None
    assert fits.whole is not None
    assert fits.between is not None
    told = (fits.headline, fits.whole, fits.between, fits.others["logistic"])
    assert [each.working for each in told] == ["plot correlation"] * 4
    assert fits.headline.correlation is not None
    assert fits.headline.correlation > 0
    assert fits.between.correlation == fits.headline.correlation  # of plots, whatever limits go by
    notes = " ".join(fits.notes)
    assert "Plots differ much in how many plants are watched (10th percentile 8, 90th 80)" in notes
    assert f"is taken as {fits.headline.correlation:.3f} (from plots of one method and site" in notes
    own = fit(records(UNEQUAL), "method", working="plot correlation").table
    np.testing.assert_array_equal(fits.headline.table["estimate"], own["estimate"])


def test_seasons_of_plots_alike_in_size_are_as_before(tmp_path: Path) -> None:
    folder = write(tmp_path / "season", lambda site, plot: (60, 200, 370))
    fits = fit_season(records(PLAIN), read_settings(folder / "study.toml"), AT)
    assert fits.headline is not None
    assert (fits.headline.working, fits.headline.correlation) == ("independence", None)
    assert "counts for less" not in " ".join(fits.notes)


def test_what_is_fitted_again_weights_plots_too() -> None:
    frame = records(UNEQUAL)
    head = fit(frame, "method", working="plot correlation")
    difference = contrasts(head, at=AT).table["estimate"].iloc[0]
    plain = contrasts(fit(frame, "method"), at=AT).table["estimate"].iloc[0]
    assert abs(difference - plain) > 0.5  # per 100 planted
    # Expected at similar sites go by site, about the same estimate.
    assert like_sites(head, at=AT).table["estimate"].iloc[0] == pytest.approx(difference, abs=1e-8)
    rest = frame[frame["site"] != "site 01"]
    again = contrasts(fit(rest, "method", working="plot correlation"), at=AT).table["estimate"].iloc[0]
    out = leave_one_site_out(head, AT).set_index("site_left_out")["estimate"]
    assert out["site 01"] == pytest.approx(again, abs=1e-8)
    # Without a cluster only estimates are asked for: those of plots weighted.
    loose = fit_again(rest, head, cluster=None)
    assert contrasts(loose, at=AT).table["estimate"].iloc[0] == pytest.approx(again, abs=1e-8)


def test_within_and_between_sites_is_asked_with_the_same_weights() -> None:
    frame = records(UNEQUAL)
    # Shares of preparations differ between sites only where some plots are not there.
    kept = frame[~frame["plot"].isin(["P01", "P06", "P10", "P16", "P18"])]
    weighed, plain = (
        within_between(fit(kept, "method", working=how)).table["estimate"].to_numpy(dtype=float)
        for how in ("plot correlation", "independence")
    )
    assert np.abs(weighed - plain).min() > 1e-3
