"""The unspecified baseline: what it must equal, its certificate, its jackknife and what it refuses."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import minimize

from survivor.effects.contrasts import contrasts
from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.innermost import Innermost, Watched, innermost_of
from survivor.models.unspecified_solver import best_jumps, maximise_profile, problem_of
from survivor.simulate.cohort import Cohort
from survivor.simulate.drawing import draw_intervals
from tests.curves.making import npmle
from tests.models.breast import breast
from tests.models.cohorts import counts, split_rows, tagged
from tests.models.published import freireich_at_visits


def free(frame, formula, **keywords):
    return fit(frame, formula, baseline="unspecified", **keywords)


def irregular(seed=3, **keywords):
    cohort = Cohort(
        sites=3,
        blocks=2,
        seedlings=15,
        visit_days=((40, 150, 300, 365),),
        visit_spread_days=25,
        p_skip=0.2,
        **keywords,
    )
    return draw_intervals(cohort, seed).reset_index(drop=True)


def certificate(found):
    said = next(check for check in found.checks if "certified" in check)
    return float(re.search(r"at most ([0-9.]+) of what it costs", said).group(1))


# --- what it must equal ----------------------------------------------------------------------------------


def test_equals_pieces_where_visits_are_shared():
    # Source: the innermost intervals are then the stretches between visits, each with a free hazard.
    frame = counts(species=("acacia", "callitris"))
    found, pieces = free(frame, "method + species"), fit(frame, "method + species")
    np.testing.assert_allclose(found.table["estimate"], pieces.table["estimate"], atol=1e-7)
    assert found.log_likelihood == pytest.approx(pieces.log_likelihood, abs=1e-8)
    cells = frame[["site", "method", "species"]].drop_duplicates()
    weights = np.full((1, len(cells)), 1 / len(cells))
    for day in (40, 150, 365):
        first, second = (model.average_survival(cells, weights, day) for model in (found, pieces))
        assert first.estimate[0] == pytest.approx(second.estimate[0], abs=1e-7)


def test_freireich_at_visits():
    # Source: Freireich et al. (1963) grouped at 5 weeks; log hazard ratio, standard error by the observed
    # information and log-likelihood computed with statsmodels and R glm (cloglog).
    found = free(freireich_at_visits(), "treatment", cluster=None, strata=None)
    row = found.table.iloc[0]
    assert row["estimate"] == pytest.approx(-1.673574, abs=1e-6)
    assert row["std_error"] == pytest.approx(0.432686, abs=1e-6)
    assert found.log_likelihood == pytest.approx(-55.532077, abs=1e-6)
    assert found.variance == "profile"


@pytest.mark.parametrize("arm", ["RT", "RCT"])
def test_without_terms_it_is_turnbulls_curve(arm):
    frame = breast()
    one = frame[frame["arm"] == arm]
    found = free(one, "1", cluster=None, strata=None)
    ends = one.groupby("tag").agg(stop=("stop_day", "max"), start=("start_day", "max"), died=("died", "sum"))
    left = np.where(ends["died"] > 0, ends["start"], ends["stop"])
    right = np.where(ends["died"] > 0, ends["stop"], np.inf)
    curve = npmle(left, right, np.ones(len(ends)))
    inside = [
        curve.mass[(curve.left >= a) & (curve.right <= b)].sum() for a, b in zip(left, right, strict=True)
    ]
    assert found.log_likelihood == pytest.approx(np.log(inside).sum(), abs=1e-7)
    cells = pd.DataFrame({"site": [""]})
    told = 0
    for day in range(1, 49):
        if any(
            a < day < b and mass > 1e-9
            for a, b, mass in zip(curve.left, curve.right, curve.mass, strict=True)
        ):
            with pytest.raises(ModelError, match="not determined"):
                found.average_survival(cells, np.ones((1, 1)), day)
        else:
            told += 1
            at = found.average_survival(cells, np.ones((1, 1)), day)
            assert at.estimate[0] == pytest.approx(curve.survival(np.array([day]))[0], abs=1e-6)
    assert told > 30


def test_breast_masses_are_those_published():
    # Source: Turnbull's estimate for the radiation arm, as printed by Fay and Shaw (2010), Journal of
    # Statistical Software 36(2), to 4 digits; here computed to 6 with every gradient certified.
    frame = breast()
    found = free(frame[frame["arm"] == "RT"], "1", cluster=None, strata=None)
    cells = pd.DataFrame({"site": [""]})
    falls = {
        (4, 5): 0.046347,
        (6, 7): 0.033363,
        (7, 8): 0.088667,
        (11, 12): 0.070753,
        (24, 25): 0.092646,
        (33, 34): 0.081786,
        (38, 40): 0.120880,
        (46, 48): 0.465558,
    }
    for (before, after), mass in falls.items():
        first, second = (
            found.average_survival(cells, np.ones((1, 1)), day).estimate[0] for day in (before, after)
        )
        assert first - second == pytest.approx(mass, abs=1e-6)
    assert any("days 46 to 48: all who were left died" in check for check in found.checks)


@pytest.mark.slow
def test_breast_hazard_ratio_by_direct_maximisation():
    # Source: the likelihood written out over intervals and maximised numerically in the log of each jump.
    frame = breast()
    found = free(frame, "arm", cluster=None, strata=None)
    start, stop = frame["start_day"].to_numpy(), frame["stop_day"].to_numpy()
    died, treated = frame["died"].to_numpy(), (frame["arm"] == "RCT").to_numpy(float)
    days = np.unique(stop)
    inside = ((start[:, None] < days) & (days <= stop[:, None])).astype(float)

    def height(at):
        jumps = np.exp(at[1:])
        hazard = np.exp(at[0] * treated) * (inside @ jumps)
        value = np.where(died > 0, np.log(-np.expm1(-np.maximum(hazard, 1e-300))), -hazard)
        return -value.sum()

    begin = np.concatenate([[0.0], np.full(len(days), -3.0)])
    peer = minimize(
        height, begin, method="L-BFGS-B", options={"maxiter": 5000, "maxfun": 10**6, "ftol": 1e-14}
    )
    assert found.table["estimate"].iloc[0] == pytest.approx(peer.x[0], abs=2e-3)
    assert found.log_likelihood == pytest.approx(-peer.fun, abs=1e-3)
    assert found.log_likelihood >= -peer.fun - 1e-9
    assert certificate(found) <= 1 + 1e-8


# --- innermost intervals ---------------------------------------------------------------------------------


def test_innermost_intervals_by_hand():
    # Seen alive to day 4 or 6, dead by 5 or 7: nothing tells the hazard outside (4, 5] and (6, 7].
    frame = pd.DataFrame(
        {
            "start": [0, 4, 0, 6, 0, 4],
            "stop": [4, 5, 6, 7, 9, 7],
            "at_risk": 1,
            "died": [0, 1, 0, 1, 0, 1],
        }
    )
    found = innermost_of(_watched(frame))
    np.testing.assert_array_equal(np.column_stack([found.left, found.right]), [[4, 5], [6, 7]])
    # The first row tells nothing: no hazard lies before day 4.
    np.testing.assert_array_equal(found.rows.at_risk, [2, 1, 2])


def _watched(frame, columns=None):
    count = len(frame)
    return Watched(
        np.empty((count, 0)) if columns is None else columns,
        np.zeros(count, dtype=np.intp),
        frame["start"].to_numpy(float),
        frame["stop"].to_numpy(float),
        frame["at_risk"].to_numpy(float),
        frame["died"].to_numpy(float),
        np.zeros(count, dtype=np.intp),
    )


def _everywhere(rows):
    """Every stretch between neighbouring days as an interval that may jump."""
    days = np.unique(np.concatenate([rows.start, rows.stop]))
    first = np.searchsorted(days[1:], rows.start, side="right")
    last = np.searchsorted(days[1:], rows.stop, side="right") - 1
    return Innermost(days[:-1], days[1:], rows, first, last, np.empty((0, 2)))


def test_nothing_is_lost_by_innermost_intervals_alone():
    # Source: the definition: with late entry, counts and a column that changes along a life, the maximum
    # over jumps anywhere is the maximum over jumps on innermost intervals.
    rng = np.random.default_rng(8)
    saved = 0
    for _ in range(30):
        start = rng.integers(0, 8, 12)
        frame = pd.DataFrame({"start": start, "stop": start + rng.integers(1, 6, 12)})
        frame["at_risk"] = rng.integers(1, 4, 12)
        frame["died"] = rng.binomial(frame["at_risk"], 0.3)
        # Somebody is seen to live through every day, so that no jump is endless.
        frame.loc[12] = [0, 15, 2, 0]
        if frame["died"].sum() == 0:
            continue
        columns = rng.integers(0, 2, (13, 1)).astype(float)
        rows = _watched(frame, columns)
        whole, every = innermost_of(rows), _everywhere(rows)
        theta = rng.normal(size=1)
        few, many = (best_jumps(problem_of(each, 1, np.zeros(1)), theta) for each in (whole, every))
        assert few.value == pytest.approx(many.value, abs=1e-6)
        saved += len(every.left) - len(whole.left)
    assert saved > 50


def test_the_certificate_holds_on_every_day():
    found = free(irregular(), "method")
    assert 1 <= certificate(found) <= 1 + 1e-8


def test_slope_and_curvature_of_the_profile():
    # Source: the definition, by differences of the profile itself. Jumps that are nought stay so near by.
    frame = irregular()
    found = free(frame, "method", cluster=None)
    engine = found.engine
    rows = _arrays(frame)
    problem = problem_of(innermost_of(rows), 3, engine.baseline.centre)
    best = engine.fitted
    step = 1e-3 * np.eye(3)
    profile = np.array(
        [
            [best_jumps(problem, best.theta + a + b, best.jumps).value for b in (step[2], -step[2])]
            for a in (step[2], -step[2])
        ]
    )
    curvature = -(profile[0, 0] - profile[0, 1] - profile[1, 0] + profile[1, 1]) / 4e-6
    # Along the term alone, levels held: the inverse of that element of the information.
    information = np.linalg.inv(best.inverse[-3:, -3:])
    assert curvature == pytest.approx(information[2, 2], rel=1e-3)
    assert abs(profile[0, 1] - best.value) < 1e-8


def _arrays(frame):
    found = free(frame, "method")  # the same rows as the engine's, by cluster
    return found.engine.refits.rows


# --- what must not change it -----------------------------------------------------------------------------


def test_counts_and_tags_are_the_same_answer():
    frame = counts(species=("acacia", "callitris"))
    found, other = free(frame, "method + species"), free(tagged(frame), "method + species")
    for column in ("estimate", "std_error", "df"):
        np.testing.assert_allclose(other.table[column], found.table[column], rtol=1e-6)


def test_order_unit_and_origin_of_columns_change_nothing():
    frame = irregular()
    frame["radius"] = 0.3 + frame.groupby(["site", "plot"]).ngroup() % 5 * 0.2
    found = free(frame, "method + radius")
    other = frame.sample(frac=1, random_state=1).assign(
        start_day=frame["start_day"] / 365.25,
        stop_day=frame["stop_day"] / 365.25,
        radius=frame["radius"] + 100,
    )
    again = free(other, "method + radius")
    for column in ("estimate", "std_error"):
        np.testing.assert_allclose(again.table[column], found.table[column], rtol=1e-5)
    assert again.log_likelihood == pytest.approx(found.log_likelihood, abs=1e-6)


def test_cutting_survivors_rows_changes_nothing():
    # A seedling seen alive in between tells nothing new when it is seen alive later.
    frame = breast()
    alive = frame["died"] == 0
    cut = pd.concat([split_rows(frame[alive], 10), frame[~alive]], ignore_index=True)
    found, other = (free(rows, "arm", cluster=None, strata=None) for rows in (frame, cut))
    assert other.table["estimate"].iloc[0] == pytest.approx(found.table["estimate"].iloc[0], abs=1e-7)
    assert other.table["std_error"].iloc[0] == pytest.approx(found.table["std_error"].iloc[0], abs=1e-7)


# --- plots -----------------------------------------------------------------------------------------------


def test_the_jackknife_is_that_of_fits_without_each_plot():
    # Source: the definition of the stratified delete-one jackknife (Shao and Tu 1995, section 6.2): squared
    # changes count (n - 1) / n with n plots at a site.
    frame = irregular()
    found = free(frame, "method")
    assert found.variance == "jackknife"
    plots = frame[["site", "block", "plot"]].drop_duplicates()
    changes = []
    for keys in plots.itertuples(index=False):
        rest = frame[(frame[["site", "block", "plot"]] != list(keys)).any(axis=1)]
        changes.append(free(rest, "method", cluster=None).table["estimate"].iloc[0])
    change = np.array(changes) - found.table["estimate"].iloc[0]
    sizes = plots.groupby("site")["plot"].transform("size").to_numpy()
    expected = np.sum((1 - 1 / sizes) * change**2)
    assert found.table["std_error"].iloc[0] == pytest.approx(np.sqrt(expected), rel=1e-6)
    assert found.table["df"].iloc[0] == len(plots) - 3 - 1


def test_averages_by_the_jackknife_and_by_delta():
    frame = irregular()
    cells = frame[["site", "method"]].drop_duplicates()
    weights = np.vstack(
        [np.full(len(cells), 1 / len(cells)), np.where(cells["method"] == cells["method"].iloc[0], 1, -1) / 3]
    )
    by_plot, alone = free(frame, "method"), free(frame, "method", cluster=None)
    day = _a_day_told(by_plot)
    first, second = (found.average_survival(cells, weights, day) for found in (by_plot, alone))
    np.testing.assert_allclose(first.estimate, second.estimate, atol=1e-9)
    pieces = fit(frame, "method").average_survival(cells, weights, day)
    np.testing.assert_allclose(first.estimate, pieces.estimate, atol=0.06)
    assert (0.5 * pieces.std_error < first.std_error).all()
    assert (first.std_error < 2 * pieces.std_error).all()
    peer = fit(frame, "method", cluster=None).average_survival(cells, weights, day)
    np.testing.assert_allclose(second.std_error, peer.std_error, rtol=0.25)
    read = by_plot.engine._read(cells, weights, day)
    apart = np.array([read.averages(base) for base in by_plot.engine.refits.each])
    assert apart.shape == (by_plot.n_clusters, 2)
    np.testing.assert_allclose(apart.mean(axis=0), first.estimate, atol=0.02)


def _a_day_told(found, below=365):
    base = found.engine.baseline
    return max(day for day in range(200, below) if base.open_at(day) is None)


def test_delta_limits_by_differences():
    # Source: statsmodels-free check: at shared visits the model has finitely many parameters, and the delta
    # method with the observed information must agree with that of the pieces up to the information used.
    frame = counts(planted=200, plot_sd=0.0)
    cells = frame[["site", "method"]].drop_duplicates()
    weights = np.full((1, len(cells)), 1 / len(cells))
    found = free(frame, "method", cluster=None).average_survival(cells, weights, 365)
    pieces = fit(frame, "method", cluster=None).average_survival(cells, weights, 365)
    assert found.std_error[0] == pytest.approx(pieces.std_error[0], rel=0.01)


def test_contrasts_work():
    frame = irregular()
    found = free(frame, "method")
    table = contrasts(found, at=_a_day_told(found)).table
    assert np.isfinite(table[["estimate", "lower", "upper", "p_value"]]).all(axis=None)
    test = found.test(list(found.table["term"]))
    assert test.p_value == pytest.approx(found.table["p_value"].iloc[0], rel=1e-9)


def test_a_site_without_deaths_is_named_and_stays_alive():
    frame = counts()
    frame.loc[frame["site"] == "site 1", "died"] = 0
    found = free(frame, "method")
    assert any("nobody died at site 1" in check for check in found.checks)
    cells = pd.DataFrame({"site": ["site 1", "site 0"], "method": ["rip", "rip"]})
    assert found.average_survival(cells, np.array([[1.0, 0.0]]), 365).estimate[0] == 1
    rest = free(frame[frame["site"] != "site 1"], "method")
    np.testing.assert_allclose(found.table["estimate"], rest.table["estimate"], rtol=1e-7)


def test_a_term_on_one_plot_has_no_limits():
    frame = counts(sites=4)
    frame = frame[(frame["method"] != "rip") | ((frame["site"] == "site 1") & (frame["plot"] == "rip 0"))]
    found = free(frame, "method")
    row = found.table.set_index("term").loc["method[T.rip]"]
    assert np.isfinite(row["estimate"])
    assert np.isnan(row["std_error"])
    assert any("no limits for rip" in check for check in found.checks)
    cells = pd.DataFrame({"site": ["site 1", "site 1"], "method": ["rip", "auger"]})
    at = found.average_survival(cells, np.eye(2), 365)
    assert np.isnan(at.df[0])
    assert at.df[1] > 0


# --- refusals --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda frame: frame.assign(died=0), "nobody died"),
        (
            lambda frame: frame.assign(died=frame["died"].where(frame["method"] != "rip", 0)),
            "nobody died with method rip",
        ),
        (lambda frame: frame.assign(site=frame["method"].astype(str)), "cannot be distinguished from site"),
    ],
)
def test_what_cannot_be_fitted_is_refused_by_name(change, words):
    with pytest.raises(ModelError, match=words):
        free(change(counts()), "method")


@pytest.mark.parametrize(
    ("keywords", "words"),
    [
        ({"baseline": "unspecified", "model": "cox"}, "no baseline to choose"),
        ({"baseline": "unspecified", "pieces": [40]}, "has no pieces"),
        ({"baseline": "splines"}, "no baseline 'splines'"),
    ],
)
def test_what_does_not_go_together_is_refused(keywords, words):
    with pytest.raises(ModelError, match=words):
        fit(counts(), "method", **keywords)


def test_days_between_are_refused_with_those_that_can_be_asked():
    found = free(counts(), "method")
    cells = pd.DataFrame({"site": ["site 0"], "method": ["rip"]})
    with pytest.raises(ModelError, match="between days 150 and 365"):
        found.average_survival(cells, np.ones((1, 1)), 300)


def test_rows_without_deaths_are_no_burden():
    # Steps of theta are few, also where terms are strong.
    frame = counts(planted=60, plot_sd=1.5)
    rows = _arrays(frame)
    found = maximise_profile(problem_of(innermost_of(rows), 3, np.zeros(2)), np.zeros(4))
    assert found.steps < 12
    assert found.slope < 1e-6
