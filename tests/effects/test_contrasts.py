import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from survivor.effects.contrasts import Contrasts, contrasts, holm, simultaneous
from survivor.effects.standardise import survival
from survivor.errors import EffectError
from survivor.models.fit import fit
from survivor.models.fitted import Estimates
from tests.effects.making import FakeFit, bartlett, planting

SITE_LEVEL = {"Oddle Flat": 0.0, "Snarrow Rise": 0.1, "Quillop Bend": -0.2, "Thribble End": -0.1}
EFFECT = {"usual": 0.0, "spot": 0.1, "rip": 0.2}


def alive(cell):
    """A method does more good at Snarrow Rise, so that the place of the average matters."""
    boost = 1.5 if cell["site"] == "Snarrow Rise" else 1.0
    return 0.5 + SITE_LEVEL[cell["site"]] + boost * EFFECT[cell["method"]]


@pytest.fixture
def three_methods():
    return FakeFit(
        planting(
            {
                "Oddle Flat": {"usual": 2, "spot": 2},
                "Snarrow Rise": {"usual": 1, "spot": 1, "rip": 2},
                "Quillop Bend": {"usual": 3},
            }
        ),
        alive,
    )


def test_holm_values():
    # Source: Holm 1979; values computed with R p.adjust.
    found = holm(np.array([0.01, 0.04, np.nan, 0.03, 0.005]))
    assert found[[0, 1, 3, 4]] == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert np.isnan(found[2])
    # Source: the fifteen p values of Benjamini and Hochberg 1995, section 4; computed with R p.adjust.
    fifteen = [
        0.0001,
        0.0004,
        0.0019,
        0.0095,
        0.0201,
        0.0278,
        0.0298,
        0.0344,
        0.0459,
        0.324,
        0.4262,
        0.5719,
        0.6528,
        0.759,
        1,
    ]
    expected = [0.0015, 0.0056, 0.0247, 0.1140, 0.2211, 0.2780, 0.2780, 0.2780, 0.3213, 1, 1, 1, 1, 1, 1]
    assert holm(np.array(fifteen)) == pytest.approx(expected, abs=5e-5)


def test_a_pair_is_averaged_over_the_sites_that_hold_both(three_methods):
    table = contrasts(three_methods).table.set_index("method")
    # spot and usual: Oddle Flat has 80 plants, Snarrow Rise 80; rip and usual: Snarrow Rise alone.
    assert table.loc["spot", "estimate"] == pytest.approx(50 * 0.1 + 50 * 0.15)
    assert table.loc["rip", "estimate"] == pytest.approx(30.0)
    assert table["basis"].tolist() == ["within sites", "within sites"]
    assert table["against"].tolist() == ["usual", "usual"]


def test_counts_are_those_of_the_two_arms_at_the_shared_sites(three_methods):
    table = contrasts(three_methods).table.set_index("method")
    counts = table[["n_seedlings", "n_plots", "n_sites", "fewest_plots"]]
    assert counts.loc["spot"].tolist() == [120, 6, 2, 3]
    assert counts.loc["rip"].tolist() == [60, 3, 1, 1]


def test_limits_and_p_are_t_on_the_scale_of_the_difference(three_methods):
    row = contrasts(three_methods).table.set_index("method").loc["spot"]
    std_error = 100 * 0.02 * np.sqrt(4 * 0.25)  # two cells an arm, half a weight each
    assert row["std_error"] == pytest.approx(std_error)
    assert row["upper"] - row["estimate"] == pytest.approx(stats.t.ppf(0.975, 10) * std_error)
    assert row["p_value"] == pytest.approx(2 * stats.t.sf(row["estimate"] / std_error, 10))
    assert row["p_adjusted"] == pytest.approx(row["p_value"])  # the larger of two


def test_another_base_and_all_pairs(three_methods):
    table = contrasts(three_methods, against="spot").table
    assert table[["method", "against"]].astype(str).values.tolist() == [["usual", "spot"], ["rip", "spot"]]
    assert table["estimate"].iloc[0] == pytest.approx(-12.5)
    every = contrasts(three_methods, pairs="all").table
    assert every[["method", "against"]].astype(str).values.tolist() == [
        ["spot", "usual"],
        ["rip", "usual"],
        ["rip", "spot"],
    ]


def test_planted_numbers_are_the_weights(three_methods):
    planted = pd.DataFrame({"site": ["Oddle Flat", "Snarrow Rise"], "plants": [300, 100]})
    table = contrasts(three_methods, population=planted).table.set_index("method")
    assert table.loc["spot", "estimate"] == pytest.approx(75 * 0.1 + 25 * 0.15)


def test_a_pair_that_shares_no_site_is_refused_without_a_model_for_sites():
    frame = planting(
        {
            "Oddle Flat": {"usual": 3},
            "Snarrow Rise": {"usual": 3},
            "Quillop Bend": {"spot": 3},
            "Thribble End": {"spot": 3},
        }
    )
    table = contrasts(FakeFit(frame, alive)).table
    assert table["basis"].tolist() == ["refused"]
    assert "no site holds both" in table["reason"].iloc[0]
    assert 'strata=None and cluster="site"' in table["reason"].iloc[0]
    assert table[["estimate", "lower", "upper", "p_value", "p_adjusted"]].isna().all(axis=None)


def test_with_a_model_for_sites_it_is_between_sites_only():
    frame = planting(
        {
            "Oddle Flat": {"usual": 3},
            "Snarrow Rise": {"usual": 3},
            "Quillop Bend": {"spot": 3},
            "Thribble End": {"spot": 3},
        }
    )
    sites = FakeFit(frame, lambda cell: 0.5 + EFFECT[cell["method"]], strata=(), cluster=("site",), df=2.0)
    for given in (contrasts(FakeFit(frame, alive), between_fit=sites), contrasts(sites)):
        table = given.table
        assert table["basis"].tolist() == ["between sites only"]
        assert table["estimate"].iloc[0] == pytest.approx(10.0)
        assert table["df"].iloc[0] == 2.0
        assert table["n_sites"].iloc[0] == 4


def test_where_method_and_site_are_one_it_is_refused_whatever_the_model():
    frame = planting({"Oddle Flat": {"usual": 3}, "Quillop Bend": {"spot": 3}})
    sites = FakeFit(frame, alive, strata=(), cluster=("site",))
    table = contrasts(FakeFit(frame, alive), between_fit=sites).table
    assert table["basis"].tolist() == ["refused"]
    assert "cannot be distinguished from the site" in table["reason"].iloc[0]


def test_refused_pairs_do_not_count_for_holm():
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}, "Quillop Bend": {"rip": 3}})
    table = contrasts(FakeFit(frame, alive)).table.set_index("method")
    assert table.loc["rip", "basis"] == "refused"
    assert table.loc["spot", "p_adjusted"] == table.loc["spot", "p_value"]


def test_a_link_through_a_third_method_is_named():
    frame = planting(
        {
            "Oddle Flat": {"usual": 2, "rip": 2},
            "Snarrow Rise": {"usual": 2, "rip": 2},
            "Quillop Bend": {"spot": 2, "rip": 2},
            "Thribble End": {"spot": 2, "rip": 2},
        }
    )
    table = contrasts(FakeFit(frame, alive)).table.set_index("method")
    assert "linked only through rip" in table.loc["spot", "reason"]


def test_a_model_without_site_levels_says_so(three_methods):
    bare = FakeFit(three_methods.data, alive, strata=())
    table = contrasts(bare).table
    assert (table["reason"] == "the model has no site levels: differences between sites are in it").all()


def test_without_deaths_there_are_no_limits_and_it_is_refused():
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}})
    table = contrasts(FakeFit(frame, lambda _: 1.0, std_error=0.0)).table
    assert table["basis"].tolist() == ["refused"]
    assert "no limits can be given" in table["reason"].iloc[0]


@pytest.mark.parametrize(("wrong", "words"), [
    ({"against": "auger"}, "not a level"),
    ({"pairs": "some"}, "not known"),
    ({"by": "plot"}, "does not hold"),
])  # fmt: skip
def test_wrong_use_is_refused(three_methods, wrong, words):
    with pytest.raises(EffectError, match=words):
        contrasts(three_methods, **wrong)


def test_a_between_fit_with_site_levels_is_refused(three_methods):
    with pytest.raises(EffectError, match="no site levels"):
        contrasts(three_methods, between_fit=three_methods)


def test_one_level_leaves_nothing_to_compare():
    with pytest.raises(EffectError, match="one level"):
        contrasts(FakeFit(planting({"Oddle Flat": {"usual": 3}}), alive))


def test_saturated_difference_is_the_raw_one_bartlett():
    frame = bartlett()
    frame["treatment"] = frame["time"] + " " + frame["length"]
    model = fit(frame, "treatment", cluster=None, strata=None)
    long = frame[frame["length"] == frame.loc[frame["died"] == 84, "length"].iloc[0]]
    now, spring = (long.loc[long["died"] == died, "treatment"].iloc[0] for died in (84, 156))
    table = contrasts(model, by="treatment", against=spring).table.set_index("treatment")
    # Source: counts of Bartlett 1935: 156/240 less 84/240, Wald limits by hand.
    std_error = 100 * np.sqrt(2 * 0.65 * 0.35 / 240)
    assert table.loc[now, "estimate"] == pytest.approx(30.0, abs=1e-6)
    assert table.loc[now, "std_error"] == pytest.approx(std_error, abs=1e-5)
    assert table.loc[now, "lower"] == pytest.approx(30 - 1.959964 * std_error, abs=1e-4)


def crossed(seed=1):
    rng = np.random.default_rng(seed)
    frame = planting({site: {"usual": 3, "spot": 3} for site in SITE_LEVEL})
    return frame.assign(died=rng.binomial(20, np.where(frame["method"] == "spot", 0.2, 0.4)))


def test_with_all_sites_shared_it_is_the_difference_of_the_standardised():
    model = fit(crossed(), "method")
    alone = survival(model).table["estimate"]
    table = contrasts(model).table
    assert table["estimate"].iloc[0] == pytest.approx(alone[1] - alone[0], abs=1e-9)


def test_joining_equal_rows_changes_nothing():
    frame = crossed()
    seedlings = frame.loc[frame.index.repeat(frame["at_risk"])].reset_index(drop=True)
    seedlings["tag"] = (seedlings.index % 20).astype(str)
    seedlings["died"] = (seedlings.index % 20 < seedlings["died"]).astype(int)
    seedlings["at_risk"] = 1
    first, second = (contrasts(fit(given, "method")).table for given in (frame, seedlings))
    names = ["estimate", "std_error", "df", "p_value"]
    assert first[names].to_numpy() == pytest.approx(second[names].to_numpy(), rel=1e-6)


@pytest.mark.parametrize("model", ["cox", "logistic"])
def test_other_models_answer_on_the_same_scale(model):
    frame = crossed()
    if model == "logistic":
        other = fit(frame, "method", model=model, at=365)
    else:
        other = fit(frame, "method", model=model)
    grouped = contrasts(fit(frame, "method")).table
    assert contrasts(other).table["estimate"].iloc[0] == pytest.approx(grouped["estimate"].iloc[0], abs=2.0)


def test_only_pairs_with_a_separated_method_rest_on_the_penalty():
    """Nobody died with the mat: what does not compare it is as from the model without it."""
    rng = np.random.default_rng(4)
    frame = planting({site: {"usual": 3, "rip": 3, "mat": 3} for site in ("Oddle Flat", "Snarrow Rise")})
    frame["died"] = rng.binomial(20, np.where(frame["method"] == "rip", 0.2, 0.5))
    frame.loc[frame["method"] == "mat", "died"] = 0
    whole = fit(frame, "method")
    without = frame[frame["method"] != "mat"]
    plain = fit(without.assign(method=without["method"].cat.remove_unused_categories()), "method")
    assert (whole.variance, plain.variance) == ("penalised", "CR2")
    found = contrasts(whole, at=365, pairs="all", plain_fit=plain).table.set_index(["method", "against"])
    assert found["penalised"].to_dict() == {
        ("rip", "usual"): False,
        ("mat", "usual"): True,
        ("mat", "rip"): True,
    }
    alone = contrasts(plain, at=365).table.set_index("method").loc["rip"]
    for name in ("estimate", "std_error", "df", "lower", "upper", "p_value"):
        assert found.loc[("rip", "usual"), name] == pytest.approx(alone[name])
    capped = contrasts(whole, at=365).table
    assert capped["penalised"].all()


def test_numbers_that_stand_for_names_are_not_compared_on_a_line():
    rows = planting({site: {"usual": 3, "spot": 3, "rip": 3} for site in SITE_LEVEL}).assign(
        died=[1 + place % 4 for place in range(36)]
    )
    rows["code"] = rows["method"].cat.codes + 1
    with pytest.raises(EffectError, match=r"column of numbers.*\n?.*C\(code\)"):
        contrasts(fit(rows, "code"), by="code")
    by_code, by_name = contrasts(fit(rows, "C(code)"), by="code"), contrasts(fit(rows, "method"))
    assert by_code.table["estimate"].tolist() == pytest.approx(by_name.table["estimate"].tolist())
    two = rows[rows["code"] < 3]  # of two values a line tells what names tell
    line, names = contrasts(fit(two, "code"), by="code"), contrasts(fit(two, "C(code)"), by="code")
    assert line.table["estimate"].tolist() == pytest.approx(names.table["estimate"].tolist())


# Dunn (1961, Journal of the American Statistical Association 56, 52-64), table 1: how many standard errors
# wide an interval is that holds 95 % for m comparisons together, by degrees of freedom. From memory.
DUNN = {(3, 10): 2.87, (5, 10): 3.17, (5, 20): 2.85, (10, 20): 3.15}


def _made(estimate, df):
    width = stats.t.ppf(0.975, df)
    table = pd.DataFrame(
        {"estimate": estimate, "df": df, "lower": estimate - width, "upper": estimate + width}
    )
    return Contrasts("method", 365.0, table, "", ())


@pytest.mark.parametrize(("asked", "wide"), DUNN.items())
def test_limits_of_all_together_have_the_width_of_dunn(asked, wide):
    comparisons, df = asked
    found = simultaneous(_made(np.array([4.0]), df), comparisons).table.loc[0]
    assert found["upper_simultaneous"] - 4 == pytest.approx(wide, abs=0.005)
    assert 4 - found["lower_simultaneous"] == pytest.approx(wide, abs=0.005)


def test_no_interval_of_a_season_misses_in_95_of_100_though_the_comparisons_share_an_arm():
    rng = np.random.default_rng(8)
    seasons, arms = 4_000, 6
    shares = rng.normal(size=(seasons, arms)) / np.sqrt(2)  # so that a difference has a standard error of 1
    found = (shares[:, 1:] - shares[:, :1]).ravel()
    table = simultaneous(_made(found, np.inf), arms - 1).table
    own = ((table["lower"] > 0) | (table["upper"] < 0)).to_numpy().reshape(seasons, -1).any(axis=1)
    together = (table["lower_simultaneous"] > 0) | (table["upper_simultaneous"] < 0)
    missed = together.to_numpy().reshape(seasons, -1).any(axis=1)
    # All intervals of their own hold at once as often as Dunnett's integral over the shared arm says
    # (1955, Journal of the American Statistical Association 50, 1096-1121); within 3 errors of simulation.
    ends = [(end + np.linspace(-8, 8, 4_001) / np.sqrt(2)) * np.sqrt(2) for end in stats.norm.interval(0.95)]
    inside = (stats.norm.cdf(ends[1]) - stats.norm.cdf(ends[0])) ** (arms - 1)
    hold = integrate.trapezoid(inside * stats.norm.pdf(np.linspace(-8, 8, 4_001)), np.linspace(-8, 8, 4_001))
    assert own.mean() == pytest.approx(1 - hold, abs=3 * np.sqrt(hold * (1 - hold) / seasons))
    assert missed.mean() <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / seasons)


def test_limits_of_all_together_count_what_is_compared_and_end_at_100(three_methods):
    found = contrasts(three_methods, at=365, pairs="all")
    table = found.table
    assert found.comparisons == table["lower"].notna().sum() == 3
    by_t = stats.t.ppf(1 - 0.05 / 6, table["df"]) * table["std_error"]
    assert table["upper_simultaneous"].to_numpy() == pytest.approx((table["estimate"] + by_t).clip(-100, 100))
    assert table["lower_simultaneous"].between(-100, table["lower"]).all()


def test_limits_of_a_difference_by_t_end_where_all_live_against_none():
    found = Estimates(np.array([-0.64, 0.10]), np.diag([0.04, 0.04]), np.array([3.0, 3.0]))
    lower, upper, p_value = found.limits_of_differences()
    width = stats.t.ppf(0.975, 3) * 0.2
    assert lower == pytest.approx([-1.0, 0.10 - width])
    assert upper == pytest.approx([-0.64 + width, 0.10 + width])
    assert p_value == pytest.approx(2 * stats.t.sf(np.array([3.2, 0.5]), 3))
