"""Permutation p against every relabelling by hand, against its own draws, and where nothing differs."""

from itertools import product

import numpy as np
import pandas as pd
import pytest
from statsmodels.stats.multitest import multipletests

from survivor.errors import ModelError
from survivor.models.fit import fit
from survivor.models.randomisation import DRAWN, EVERY, permutation_test
from tests.models.cohorts import counts

PAIR = ("spot spray", "rip")


def _blocks(seed=3, blocks=4, methods=PAIR, plots=1, **changes):
    """A table of counts with ``plots`` plots of each method in each block."""
    return counts(seed=seed, sites=blocks, plots=plots, methods=methods, planted=30, **changes)


def _swapped(frame, blocks):
    """The same table with the two names exchanged in these blocks."""
    other = {"spot spray": "rip", "rip": "spot spray"}
    moved = frame["site"].isin(blocks) & frame["method"].isin(list(other))
    names = frame["method"].astype(str).where(~moved, frame["method"].astype(str).map(other))
    return frame.assign(method=pd.Categorical(names, frame["method"].cat.categories))


def _t(frame, formula="method", term="method[T.rip]"):
    table = fit(frame, formula).table.set_index("term")
    return table.loc[term, "estimate"] / table.loc[term, "std_error"]


def _by_hand(frame, **changes):
    """|t| of every layout of one plot of each in a block, through the front door."""
    sites = sorted(frame["site"].unique())
    return np.array(
        [
            abs(_t(_swapped(frame, [s for s, moved in zip(sites, way, strict=True) if moved]), **changes))
            for way in product((False, True), repeat=len(sites))
        ]
    )


def test_every_layout_equals_relabelling_by_hand():
    # Source: Fisher (1935), section 21: the share of the 2^4 layouts with a t at least as far from nought.
    frame = _blocks()
    values = _by_hand(frame)
    line = permutation_test(fit(frame, "method")).table.iloc[0]
    assert line["how"] == EVERY
    assert line["layouts"] == 16
    assert line["tried"] == 8  # of mirror images only one
    assert line["statistic"] == pytest.approx(_t(frame), rel=1e-6)
    assert line["p_value"] == np.mean(values >= values[0] * (1 - 1e-4))
    assert line["smallest_p"] == 2 / 16


def test_other_preparations_stay_where_they_are():
    frame = _blocks(methods=("spot spray", "rip", "mound"))
    values = _by_hand(frame)
    table = permutation_test(fit(frame, "method")).table.set_index("method")
    assert table.loc["rip", "p_value"] == np.mean(values >= values[0] * (1 - 1e-4))
    assert table["n_plots"].tolist() == [8, 8]


def test_columns_other_than_the_preparation_stay_with_their_rows():
    frame = _blocks(species=("acacia", "callitris"))
    values = _by_hand(frame, formula="method + species")
    line = permutation_test(fit(frame, "method + species")).table.iloc[0]
    assert line["p_value"] == np.mean(values >= values[0] * (1 - 1e-4))


def test_unequal_numbers_have_no_mirror_image():
    frame = _blocks(blocks=3, plots=2)
    lost = (frame["site"] == "site 0") & (frame["plot"] == "rip 0")
    line = permutation_test(fit(frame[~lost], "method")).table.iloc[0]
    # One of three plots in the first block, two of four in the others: 3 x 6 x 6.
    assert line["layouts"] == line["tried"] == 108
    assert line["smallest_p"] == pytest.approx(1 / 108)


def test_draws_come_near_to_every_layout():
    frame = _blocks(blocks=3, plots=2)
    model = fit(frame, "method")
    every = permutation_test(model, draws=108).table.iloc[0]
    assert (every["how"], every["layouts"], every["tried"]) == (EVERY, 216, 108)
    drawn = permutation_test(model, draws=100, seed=7).table.iloc[0]
    assert drawn["how"] == DRAWN
    # Source: Phipson and Smyth (2010): (b + 1)/(m + 1).
    assert drawn["p_value"] * 101 == pytest.approx(round(drawn["p_value"] * 101))
    error = np.sqrt(every["p_value"] * (1 - every["p_value"]) / 100)
    assert abs(drawn["p_value"] - every["p_value"]) < 3 * error + 0.01
    assert drawn["smallest_p"] == pytest.approx(1 / 101)
    again = permutation_test(model, draws=100, seed=7).table.iloc[0]
    assert again["p_value"] == drawn["p_value"]


def _two_alike(seed):
    """Four blocks of three plots: two preparations that do the same, and one with a third of the hazard."""
    rng = np.random.default_rng(seed)
    rows = []
    for site in range(4):
        for method, effect in (("spot spray", 0.0), ("rip", 0.0), ("mound", -1.1)):
            own = np.exp(rng.normal(0, 0.6) + effect)
            alive, start = 15, 0
            for stop, hazard in ((150, 0.5), (365, 0.3)):
                died = int(rng.binomial(alive, 1 - np.exp(-hazard * own)))
                rows.append((f"site {site}", method, method, start, stop, alive, died))
                alive, start = alive - died, stop
                if alive == 0:
                    break
    names = ["site", "plot", "method", "start_day", "stop_day", "at_risk", "died"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(method=pd.Categorical(frame["method"], ["spot spray", "rip", "mound"]))


@pytest.mark.slow
@pytest.mark.parametrize("statistic", ["t", "score"])
def test_p_is_no_smaller_than_it_may_be_though_a_third_preparation_differs(statistic):
    # p of two that do the same reaches each of the values 1/8 ... 1 no more often than that.
    found = []
    for seed in range(200):
        table = permutation_test(fit(_two_alike(seed), "method"), statistic=statistic).table
        table = table.set_index("method")
        found.append(table.loc["rip", "p_value"])
    values = np.array(found)
    for level in (1 / 8, 1 / 4, 1 / 2):
        assert np.mean(values <= level) < level + 3 * np.sqrt(level * (1 - level) / len(values))


def test_scores_of_one_visit_are_deaths_less_expected():
    # By hand: with one visit and a level a block, the null model expects the share dead of the block's two
    # plots in each, and a score is H / p (deaths less expected) with H = -log(1 - p).
    frame = _blocks(blocks=6)
    frame = frame[frame["start_day"] == 0]
    pair = frame.pivot_table(index="site", columns="method", values=["at_risk", "died"], observed=True)
    dead = pair["died"].sum(axis=1) / pair["at_risk"].sum(axis=1)
    more = pair["died"]["rip"] - pair["at_risk"]["rip"] * dead
    own = (-np.log1p(-dead) / dead * more).to_numpy()
    sums = np.array([np.sum(own * signs) for signs in product((1, -1), repeat=6)])
    line = permutation_test(fit(frame, "method"), statistic="score").table.iloc[0]
    assert (line["how"], line["layouts"], line["tried"]) == (EVERY, 64, 64)
    assert line["statistic"] == pytest.approx(own.sum(), rel=1e-5)
    assert line["p_value"] == np.mean(np.abs(sums) >= abs(own.sum()) * (1 - 1e-9))


@pytest.mark.slow
def test_scores_answer_as_t_does():
    # Both are exact; they order the layouts a little differently.
    pairs = []
    for seed in range(10):
        model = fit(_blocks(seed=seed, blocks=7, methods=("spot spray", "rip", "mound")), "method")
        found = (permutation_test(model, statistic=name).table["p_value"] for name in ("t", "score"))
        pairs += list(zip(*found, strict=True))
    by_t, by_score = np.array(pairs).T
    assert np.corrcoef(by_t, by_score)[0, 1] > 0.97
    assert np.abs(by_t - by_score).mean() < 0.03


def test_scores_drawn_come_near_to_every_layout(monkeypatch):
    model = fit(_blocks(blocks=4, plots=2), "method")
    every = permutation_test(model, statistic="score").table.iloc[0]
    monkeypatch.setattr("survivor.models.randomisation.MOST_EXACT", 0)
    drawn = permutation_test(model, statistic="score", draws=600).table.iloc[0]
    assert (every["tried"], drawn["tried"], drawn["how"]) == (6**4, 600, DRAWN)
    error = np.sqrt(every["p_value"] * (1 - every["p_value"]) / 600)
    assert abs(drawn["p_value"] - every["p_value"]) < 3 * error + 0.002


def test_blocks_within_strata_of_the_model():
    frame = _blocks(blocks=4)
    frame["block"] = np.where(frame["site"].isin(["site 0", "site 1"]), "B1", "B2")
    frame["site"] = frame["site"].map({f"site {n}": f"place {n % 2}" for n in range(4)})
    model = fit(frame, "method")  # levels for two sites of four plots
    assert permutation_test(model).table["layouts"].item() == 36
    assert permutation_test(model, blocks=["site", "block"]).table["layouts"].item() == 16


def test_a_preparation_alone_in_its_blocks_has_no_p():
    frame = _blocks(blocks=4)
    rip = frame["method"] == "rip"
    apart = frame["site"].isin(["site 0", "site 1"])
    frame = frame[rip == apart].assign(region="north")
    line = permutation_test(fit(frame, "method", strata="region"), blocks="site").table.iloc[0]
    assert np.isnan(line["p_value"])
    assert "no block holds both" in line["reason"]


def test_holm_over_the_comparisons():
    frame = _blocks(methods=("spot spray", "rip", "mound"))
    table = permutation_test(fit(frame, "method")).table
    # Source: statsmodels multipletests, Holm.
    expected = multipletests(table["p_value"], method="holm")[1]
    np.testing.assert_allclose(table["p_adjusted"], expected)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda f: permutation_test(fit(f, "method", cluster=None)), "not CR2"),
        (lambda f: permutation_test(fit(f, "species")), "does not hold method"),
        (lambda f: permutation_test(fit(f, "method * species")), "interaction"),
        (lambda f: permutation_test(fit(f, "species"), by="species"), "differs within a cluster"),
        (lambda f: permutation_test(fit(f, "method"), against="mulch"), "not a level"),
        (lambda f: permutation_test(fit(f, "method"), blocks="paddock"), "no column .paddock."),
        (lambda f: permutation_test(fit(f, "method"), blocks="species"), "lies in two blocks"),
        (lambda f: permutation_test(fit(f, "method", model="cox")), "not CR2"),
        (lambda f: permutation_test(fit(f, "method"), statistic="z"), "is not known"),
    ],
)
def test_what_cannot_be_dealt_anew_is_refused(make, words):
    with pytest.raises(ModelError, match=words):
        make(_blocks(species=("acacia", "callitris")))


@pytest.mark.slow
def test_drawing_stops_once_enough_layouts_are_as_far_apart():
    # Source: Besag and Clifford 1991, Biometrika 78: the first h extremes in l draws give p = h / l.
    frame = _blocks(blocks=8, plots=4)
    # Names exchanged at half the sites: no difference is left to find.
    dealt = fit(_swapped(frame, sorted(frame["site"].unique())[::2]), "method")
    whole = permutation_test(dealt, draws=399).table.iloc[0]
    short = permutation_test(dealt, draws=399, enough=20).table.iloc[0]
    assert short["how"] == whole["how"] == DRAWN
    assert 20 <= short["tried"] < whole["tried"] == 399
    assert short["p_value"] == 20 / short["tried"]
    # Given the true p, h / l varies by about p times the root of (1 - p) / h.
    error = whole["p_value"] * np.sqrt((1 - whole["p_value"]) / 20)
    assert abs(short["p_value"] - whole["p_value"]) < 3 * error
    never = permutation_test(dealt, draws=399, enough=400).table.iloc[0]
    assert never["p_value"] == whole["p_value"]
