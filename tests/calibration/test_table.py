"""The calibration table: its studies, targets and sums, and short forms of its cells with fixed seeds."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxPHFitter
from lifelines.exceptions import ConvergenceError

from survivor.effects.contrasts import contrasts
from survivor.evidence.making import contrast_finding
from survivor.models.fit import fit
from survivor.settings import Design
from survivor.simulate.cohort import Cohort, true_effects
from survivor.simulate.drawing import draw_intervals
from tests.calibration import cells, peers, table, weights
from tests.calibration.layouts import AT, balanced, one_in_four, ten_fold

LOW = tuple(0.1 * hazard for hazard in Cohort().hazards)
PLAIN = balanced(3, 2, effects=(-0.5,), plot_sd=0.5)
LAYOUTS = {
    "two methods": PLAIN,
    "four methods": balanced(3, 1, effects=(-0.5, 0.0, 0.3), plot_sd=0.5),
    "ten-fold sizes": ten_fold(PLAIN),
    "one plot in four": one_in_four(PLAIN),
    "hardly anybody dies": balanced(3, 1, effects=(-2.0,), plot_sd=0.5, hazards=LOW),
}


def cell_of(layout, asked="type I"):
    return cells.Cell("a cell of the tests", asked, (4, 6), layout)


@pytest.mark.parametrize("name", LAYOUTS)
def test_differences_are_those_of_contrasts_and_ratios_those_of_fit(name):
    differences, penalised = cells.Differences(), 0
    for frame in LAYOUTS[name].draw(np.random.default_rng(4), 6):
        fitted = fit(frame, "method")
        told = contrasts(fitted, at=AT).table[list(cells.NUMBERS)].to_numpy(dtype=float)
        np.testing.assert_allclose(differences(cells.reported(frame)), told, rtol=1e-9, atol=1e-12)
        ratios = fitted.table[list(cells.NUMBERS)].to_numpy(dtype=float)
        np.testing.assert_array_equal(cells.ratio_numbers(cells.reported(frame)), ratios)
        penalised += fitted.variance == "penalised"
    assert bool(penalised) == (name == "hardly anybody dies")


def test_counts_are_drawn_as_the_simulator_draws_seedlings():
    # The same cohort by both: alive by method and visit, and how much plots vary, within simulation error.
    ours = [
        frame.assign(study=study) for study, frame in enumerate(PLAIN.draw(np.random.default_rng(1), 150))
    ]
    cohort = replace(PLAIN.cohort, blocks=2)
    theirs = [draw_intervals(cohort, seed).assign(study=seed) for seed in range(150)]
    died = [
        pd.concat(frames).groupby(["study", "site", "method", "block", "plot", "stop_day"], observed=True)[
            "died"
        ]
        for frames in (ours, theirs)
    ]
    for how in ("mean", "std"):
        first, second = (
            each.sum().groupby(level=["site", "method", "stop_day"], observed=True).agg(how) for each in died
        )
        # 300 plots each: about 2 deaths of 20 with a standard deviation of 2.
        np.testing.assert_allclose(first, second, atol=0.6)


def test_differences_of_a_balanced_layout_are_the_simulators_truth():
    truth = true_effects(PLAIN.cohort, (AT,)).at(AT)["difference"].to_numpy()[1:]
    np.testing.assert_allclose(PLAIN.differences(), truth, rtol=1e-12)
    # A site with ten times the seedlings counts ten times.
    alone = [
        balanced(1, 2, effects=(-0.5,), plot_sd=0.5, site_effects=(effect,)).differences()[0]
        for effect in PLAIN.cohort.site_effects
    ]
    large = replace(PLAIN, size=np.where(PLAIN.site == 0, 200, 20))
    np.testing.assert_allclose(large.differences(), [np.average(alone, weights=[10, 1, 1])], rtol=1e-9)


@pytest.mark.parametrize("model", ["grouped", "visits", "mixed", "cox"])
def test_targets_are_what_was_put_in_where_plots_are_alike(model):
    layout = balanced(3, 1, effects=(-0.5, 0.3), plot_sd=0.0)
    # Cox regression on visit days takes deaths of four months as of one day: not quite the hazard ratio.
    close = 5e-3 if model == "cox" else 1e-6
    np.testing.assert_allclose(layout.log_ratios(model), [-0.5, 0.3], atol=close)


def test_the_logistic_target_is_the_difference_of_log_odds_where_plots_are_alike():
    layout = balanced(1, 1, effects=(-0.5,), plot_sd=0.0, site_effects=(0.2,))
    alive = true_effects(layout.cohort, (AT,)).at(AT)["survival"].to_numpy() / 100
    odds = np.log(alive / (1 - alive))
    np.testing.assert_allclose(layout.log_ratios("logistic"), odds[1:] - odds[:1], atol=1e-6)


@pytest.mark.parametrize("model", ["grouped", "logistic", "cox"])
def test_targets_are_where_a_very_large_study_lands(model):
    # 2,000 plots a method at each of three sites: the standard error of a log ratio is about 0.012.
    many = balanced(3, 2000, effects=(-0.5,), plot_sd=0.5)
    frame = next(many.draw(np.random.default_rng(6), 1))
    pooled = frame.groupby(
        ["site", "method", "planted_date", "dry_season", "start_day", "stop_day"], observed=True
    )
    summed = pooled[["at_risk", "died"]].sum().reset_index()
    found = fit(summed, "method", model, cluster=None, at=AT if model == "logistic" else None)
    assert found.table["estimate"].iloc[0] == pytest.approx(PLAIN.log_ratios(model)[0], abs=0.04)


def test_a_part_depends_on_its_number_and_nothing_else():
    cell = cell_of(PLAIN)
    first, again, other = (cells.studies(cell, part, 3)[0] for part in (0, 0, 1))
    np.testing.assert_array_equal(first, again)
    assert (first != other).any()


def test_other_analyses_see_the_same_studies(monkeypatch):
    monkeypatch.setattr(cells, "PART", 4)
    whole, _ = cells.studies(cells.CELLS[1], 0, 4)
    analyses = ((lambda frame: peers._ours(cells.reported(frame)), (("reported", "grouped"),)),)
    found = peers.part(peers.Group("reported", analyses, 2, 1), 1, 1)["found"]
    np.testing.assert_array_equal(found[:, 0], whole[2:])


def test_one_fit_of_lifelines_serves_with_and_without_clusters():
    frame = next(LAYOUTS["four methods"].draw(np.random.default_rng(5), 1))
    single = peers.single_seedlings(frame)
    alone = CoxPHFitter().fit(single.drop(columns="plot"), "stop_day", "died", strata=["site"]).summary
    apart = CoxPHFitter().fit(single, "stop_day", "died", strata=["site"], cluster_col="plot").summary
    for told, found in zip((alone, apart), peers.lifelines_cox(frame)[:, 0], strict=True):
        names = ["coef", "se(coef)", "coef lower 95%", "coef upper 95%", "p"]
        assert len(told) == 3
        np.testing.assert_allclose(found[:, [0, 1, 3, 4, 5]], told[names], rtol=1e-10)


def test_an_analysis_that_refuses_is_counted_and_the_others_stand(monkeypatch):
    def refuses(frame):
        raise ConvergenceError("no answer")

    cell = cell_of(LAYOUTS["four methods"])
    monkeypatch.setattr(cells, "CELLS", [cell])
    monkeypatch.setattr(cells, "PART", 2)
    analyses = ((refuses, (("refuses", "cox"),)), peers.LIBRARIES[1])
    group = peers.Group("libraries", analyses, 2, 1)
    monkeypatch.setattr(peers, "GROUPS", (group,))
    whole, ended = cells.studies(cell, 0, 2)
    kept = {cell.name: {"found": whole, "ended": ended}, group.kept(cell): peers.part(group, 0, 0)}
    assert kept[group.kept(cell)]["found"].shape == (2, 2, 2, 3, 6)
    told = peers.table(kept.get)
    assert told["analysis"].tolist() == ["grouped, CR2 (reported)"] * 2 + ["statsmodels GLM, cluster, z"]
    assert told["failed"].tolist() == [0, 0, 0]
    assert set(told["studies"]) == {2}


def test_single_seedlings_add_up():
    frame = next(PLAIN.draw(np.random.default_rng(2), 1))
    single = peers.single_seedlings(frame)
    assert len(single) == PLAIN.size.sum()
    assert single["died"].sum() == frame["died"].sum()


def test_equal_weights_change_nothing():
    cell = replace(weights.CELLS[0], layout=PLAIN)
    frame = next(PLAIN.draw(np.random.default_rng(3), 1))
    for weigh in weights.WAYS.values():
        assert np.ptp(weigh(cell, frame)) == pytest.approx(0, abs=1e-12)


def test_summary_by_hand():
    # Four studies: usual and hit, usual and not, without limits, refused.
    cell = cell_of(PLAIN)
    found = np.full((4, 2, 1, 6), np.nan)
    found[0, :, 0] = [1, 0.5, 9, 0.1, 1.9, 0.01]
    found[1, :, 0] = [2, 0.7, 9, -0.1, 4.1, 0.30]
    found[2, :, 0, :2] = [3, 0.6]
    ended = np.array([cells.USUAL, cells.PENALISED, cells.USUAL, cells.FAILED], dtype=np.int8)
    row = cells.summary(cell, found, ended)[0]
    assert (row["share_per_100"], row["studies"]) == (50, 4)
    assert row["simulation_error"] == pytest.approx(100 * 0.5 / np.sqrt(2))
    assert (row["penalised"], row["failed"], row["without_limits"]) == (1, 1, 1)
    assert row["mean_estimate"] == 1
    assert row["within"] == "no"
    held = cells.summary(cell_of(PLAIN, "coverage"), found, ended)[1]
    assert held["share_per_100"] == 0  # the true difference is about 11


def test_every_part_has_a_name_of_its_own_and_is_made_once(tmp_path):
    names = [name for name, _, _ in table.jobs()]
    assert len(set(names)) == len(names)
    assert len(names) == (
        len(cells.CELLS) * (cells.PARTS + sum(group.parts for group in peers.GROUPS))
        + len(weights.CELLS) * weights.PARTS
    )
    assert cells.PART * cells.PARTS == 10_000
    job = (f"{cells.slug('a cell')}.00", _made, (1.5,))
    table.run(tmp_path, [job], 1)
    np.savez_compressed(tmp_path / f"{cells.slug('a cell')}.01.npz", found=np.array([2.5]))
    table.run(tmp_path, [(f"{cells.slug('a cell')}.01", _made, (0.0,))], 1)  # is there: left as it is
    assert table.read(tmp_path, "a cell")["found"].tolist() == [1.5, 2.5]
    assert table.read(tmp_path, "another") is None


def _made(value):
    return {"found": np.array([value])}


FEW = [cell for cell in cells.CELLS if cell.name.startswith("df under 4")]


@pytest.mark.parametrize("cell", FEW, ids=lambda cell: cell.name)
def test_words_change_where_limits_rest_on_few_degrees_of_freedom(cell):
    # The grade is capped and says why; what would raise it is named. With 24 plots it does not say so.
    design = Design(allocation="random within blocks", plots_placed="random")
    said = []
    for layout in (cell.layout, cells.CELLS[0].layout):
        fitted = fit(next(layout.draw(np.random.default_rng(8), 1)), "method")
        found = contrasts(fitted, at=AT)
        finding = contrast_finding(found, 0, "12 months", design)
        assert (found.table["df"].iloc[0] < 4) == (layout is cell.layout)
        said.append(("fewer than 4 degrees of freedom" in " ".join(finding.reasons), finding))
    (few, capped), (many, _) = said
    assert few
    assert not many
    assert capped.grade in (
        None,
        "weak",
        "not answered",
    )  # None: not enough evidence to say, which has no grade
    assert "more plots, spread over more sites" in capped.raise_it


def _committed(name):
    return pd.read_csv(table.BESIDE / f"{name}.csv", comment="#")


def test_the_committed_table_has_every_cell_and_explains_those_outside_their_band():
    held = _committed("calibration")
    wanted = [(cell.name, measure) for cell in cells.CELLS for measure in cells.MEASURES]
    assert list(held[["cell", "estimate_of"]].itertuples(index=False, name=None)) == wanted
    low, high = (held["band"].str.split(" to ").str[place].astype(float) for place in (0, 1))
    inside = (held["share_per_100"] >= low) & (held["share_per_100"] <= high)
    assert (inside == (held["within"] == "yes")).all()
    notes = (table.BESIDE / "notes.md").read_text(encoding="utf-8")
    unexplained = [name for name in held.loc[~inside, "cell"].unique() if name not in notes]
    assert not unexplained


def test_the_committed_libraries_stand_beside_every_cell():
    held = _committed("peers")
    for cell in cells.CELLS:
        lines = held[(held["cell"] == cell.name) & (held["estimate_of"] == "hazard ratio")]
        number = lines.set_index("analysis")["studies"]
        assert (number[[name for name, _ in peers.GROUPS[0].lines]] >= 250).all()
        assert number["grouped, CR2 (reported)"] == number.max()


def test_the_committed_targets_are_those_of_the_layouts():
    held = _committed("calibration").set_index(["cell", "estimate_of"])["target"]
    for cell in cells.CELLS[:2]:
        targets = {
            "hazard ratio": cell.layout.log_ratios("grouped"),
            "difference": cell.layout.differences(),
        }
        for measure, values in targets.items():
            assert held[(cell.name, measure)] == pytest.approx(values.mean(), rel=1e-3, abs=1e-6)


def share(cell, studies):
    found, ended = cells.studies(cell, 0, studies)
    return pd.DataFrame(cells.summary(cell, found, ended)).set_index("estimate_of")["share_per_100"]


def allowed(cell, studies):
    """The band of a cell, wider by three simulation errors on either side."""
    low, high = cell.band
    nominal = 5 if cell.asked == "type I" else 95
    error = 300 * np.sqrt(nominal / 100 * (1 - nominal / 100) / studies)
    return low - error, high + error


@pytest.mark.slow
@pytest.mark.parametrize("cell", cells.CELLS[1:11], ids=lambda cell: cell.name)
def test_cells_in_a_medium_form(cell):
    found = share(cell, 400)
    low, high = allowed(cell, 400)
    assert ((found >= low) & (found <= high)).all(), found.to_dict()
