"""How a model fits, beside residuals of a generalised linear model and fits made again by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm

import survivor
from survivor.effects.diagnostics import expected_deaths
from survivor.errors import EffectError, ModelError
from survivor.models.by_period import fit_varying
from tests.effects.making import changing_counts
from tests.public.fitted import WITH_Z as FIT
from tests.public.making import METHODS, F


def other() -> sm.GLM:
    """Give the same model of the same rows as a binomial GLM with a complementary log-log link."""
    sites = pd.get_dummies(F["site"], dtype=float).to_numpy()
    own = [(F["method"] == name).to_numpy(float) for name in METHODS[1:]]
    columns = np.column_stack([sites, (F["start_day"] > 0).to_numpy(float), *own, F["z"]])
    counts = np.column_stack([F["died"], F["at_risk"] - F["died"]])
    link = sm.families.links.CLogLog()
    return sm.GLM(counts, columns, family=sm.families.Binomial(link)).fit(tol=1e-12)


def test_expected_deaths_are_those_of_a_generalised_linear_model():
    np.testing.assert_allclose(expected_deaths(FIT), other().fittedvalues * F["at_risk"], rtol=1e-6)


def test_residuals_of_plots_are_sums_of_those_of_rows():
    share = np.asarray(other().fittedvalues)
    rows = F.assign(gap=F["died"] - share * F["at_risk"], spread=share * (1 - share) * F["at_risk"])
    by_plot = rows.groupby(["site", "plot"])[["gap", "spread"]].sum()
    found = survivor.diagnose(FIT)
    expected = by_plot["gap"] / np.sqrt(by_plot["spread"])
    told = found.residuals.set_index(["site", "plot"])["pearson"]
    np.testing.assert_allclose(told.loc[expected.index], expected, rtol=1e-5)
    assert found.dispersion == pytest.approx(float(np.sum(expected**2)) / (24 - 8), rel=1e-5)
    dead, wanted = (found.residuals[name].to_numpy() for name in ("died", "expected"))
    distance = 2 * (dead * np.log(dead / wanted) - (dead - wanted))
    np.testing.assert_allclose(found.residuals["deviance"] ** 2, distance, rtol=1e-9)
    assert (np.sign(found.residuals["deviance"]) == np.sign(dead - wanted)).all()
    assert found.residuals["at_risk"].tolist() == [20.0] * 24


def test_influence_is_the_difference_without_the_plot():
    table = survivor.diagnose(FIT, at=300).influence
    whole = survivor.contrasts(FIT, at=300).table.set_index("method")["estimate"]
    for plot in ("p0", "p7", "p20"):
        rest = F[F["plot"] != plot]
        again = survivor.fit(rest, "method + z")
        # Averaged over the plants of all plots, also of the one left out.
        population = F[F["start_day"] == 0].rename(columns={"at_risk": "plants"})
        cells = population[["site", "z", "plants"]].groupby(["site", "z"], as_index=False).sum()
        alive = {
            name: np.average(
                again.predict(cells.assign(method=name), 300)["estimate"], weights=cells["plants"]
            )
            for name in METHODS
        }
        own = table[table["name"].str.endswith(f"/ {plot}")].set_index("method")
        for name in METHODS[1:]:
            assert own.loc[name, "estimate"] == pytest.approx(alive[name] - alive["usual"], abs=2e-4)
            assert own.loc[name, "change"] == pytest.approx(own.loc[name, "estimate"] - whole[name], abs=1e-6)
    sites = table[table["left_out"] == "site"]
    assert sorted(sites["name"].unique()) == ["S0", "S1", "S2", "S3"]
    without = survivor.contrasts(survivor.fit(F[F["site"] != "S1"], "method + z"), at=300).table
    told = sites[sites["name"] == "S1"].set_index("method")["estimate"]
    np.testing.assert_allclose(told.loc[list(METHODS[1:])], without["estimate"], rtol=1e-6)


def test_calibration_adds_up_to_the_records():
    found = survivor.diagnose(FIT)
    table = found.calibration
    assert table["died"].sum() == F["died"].sum()
    assert table["at_risk"].sum() == F["at_risk"].sum()
    # With a level for each site and a term for each method, deaths of each method add up.
    sums = table.groupby("method", observed=True)[["died", "expected"]].sum()
    np.testing.assert_allclose(sums["died"], sums["expected"], rtol=0.05)
    rounds = table[["first_day", "last_day"]].drop_duplicates().to_numpy().tolist()
    assert rounds == [[180, 180], [365, 365]]


@pytest.mark.slow
def test_a_wrong_model_shows_in_the_calibration():
    late = F.copy()  # with rip a few die at the first visit, and many after it
    mine = late["method"] == "rip"
    late.loc[mine & (late["start_day"] == 0), "died"] = 1
    late.loc[mine & (late["start_day"] == 180), "died"] = 7
    plain = survivor.fit(late, "method")
    told = {
        name: survivor.diagnose(fit).calibration.set_index(["method", "last_day"])["pearson"]
        for name, fit in (("plain", plain), ("varying", fit_varying(plain, "method")))
    }
    assert abs(told["plain"]["rip", 365]) > 2
    assert abs(told["varying"]["rip", 365]) < 1


@pytest.mark.slow
def test_tagged_plants_give_what_their_counts_do():
    rows = F.loc[F.index.repeat(F["at_risk"])].reset_index(drop=True)
    place = rows.groupby(["plot", "start_day"]).cumcount()
    tagged = rows.assign(died=(place < rows["died"]).astype(int), at_risk=1)
    one, other_one = survivor.diagnose(FIT), survivor.diagnose(survivor.fit(tagged, "method + z"))
    for name in ("died", "expected", "pearson", "deviance"):
        np.testing.assert_allclose(one.residuals[name], other_one.residuals[name], rtol=1e-5)


def test_a_covariate_that_changes_is_looked_at_interval_by_interval():
    frame = changing_counts(2)
    found = survivor.diagnose(survivor.fit(frame, "method + stress"))
    assert found.calibration["expected"].sum() == pytest.approx(frame["died"].sum(), rel=0.02)
    assert found.influence["change"].notna().all()


def test_log_log_is_of_the_product_limit_curve():
    found = survivor.diagnose(FIT).log_log
    table = survivor.curve(F, by="method", cluster=None).read(365).set_index("method")["survival"]
    last = found[found["day"] == 365].set_index("method")["log_log"]
    np.testing.assert_allclose(np.exp(-np.exp(last)), table.loc[last.index])


@pytest.mark.slow
def test_it_draws_the_four_and_says_what_stands_out():
    found = survivor.diagnose(FIT)
    figure = found.plot()
    titles = [axes.get_title(loc="left") for axes in figure.axes]
    assert len(titles) == 4
    assert all(titles)
    text = repr(found)
    assert "Plots differ" in text
    assert "matters most" in text
    one = F.copy()
    one.loc[one["plot"] == "p5", "died"] = one.loc[one["plot"] == "p5", "at_risk"] - 1
    assert any(
        "p5" in said and "stand" in said for said in survivor.diagnose(survivor.fit(one, "method")).checks
    )


def test_other_fits_are_refused_with_what_to_do():
    for options in ({"model": "cox"}, {"model": "logistic", "at": 365}, {"baseline": "unspecified"}):
        with pytest.raises(ModelError, match="grouped fits") as fault:
            survivor.diagnose(survivor.fit(F, "method", **options))
        assert 'model="grouped"' in fault.value.mend
    penalised = F.assign(died=F["died"].where(F["method"] != "rip", 0))
    with pytest.raises(ModelError, match="grouped fits"):
        survivor.diagnose(survivor.fit(penalised, "method"))
    with pytest.raises(ModelError, match="no plots"):
        survivor.diagnose(survivor.fit(F, "method", cluster=None))
    with pytest.raises(EffectError):
        survivor.diagnose(FIT, by="plot")
    with pytest.raises(EffectError):
        survivor.diagnose(FIT, at=900)


def test_leverages_of_plots_are_those_of_the_hat_matrix():
    """Preisser and Qaqish (1996): the trace of each plot's block of the hat matrix; all make p."""
    one = F[F["start_day"] == 0]
    fit = survivor.fit(one, "method", pieces=[])
    found = survivor.diagnose(fit).residuals
    assert found["leverage"].sum() == pytest.approx(len(fit.engine.parameters))
    # By hand: weights of a complementary log-log model, a column a site and for two of the methods.
    expected = found["expected"].to_numpy() / found["at_risk"].to_numpy()
    hazard = -np.log1p(-expected)
    weight = found["at_risk"].to_numpy() * hazard**2 * (1 - expected) / expected
    columns = pd.get_dummies(found["site"], dtype=float).assign(
        auger=(found["method"] == "auger").astype(float), rip=(found["method"] == "rip").astype(float)
    )
    root = np.sqrt(weight)[:, None] * columns.to_numpy()
    hat = root @ np.linalg.solve(root.T @ root, root.T)
    np.testing.assert_allclose(found["leverage"], np.diag(hat), rtol=1e-6)
    periods = survivor.fit(F, "method", pieces=[180], by_period="method")
    assert survivor.diagnose(periods).residuals["leverage"].sum() == pytest.approx(
        len(periods.engine.parameters)
    )
