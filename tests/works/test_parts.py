"""What each work adds: against the model written out, a published factorial, and the truth of a cohort."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.genmod.api as sm
from statsmodels.tools.tools import add_constant

import survivor
from survivor.errors import SurvivorError
from survivor.works.columns import NO, PATTERN, YES
from survivor.works.parts import PAIR, WORK, parts_of, unit_column, whole_plots
from tests.models.published import orobanche
from tests.works.making import COLUMNS, WORKS, factorial, question

TRUTH = {"pre-emergent": -0.4, "rip": -0.6, "mulch mat": 0.0}


@pytest.fixture(scope="module")
def season() -> pd.DataFrame:
    return factorial(np.random.default_rng(11), TRUTH, plot_sd=0.2)


def test_effects_are_those_of_the_model_written_out(season: pd.DataFrame) -> None:
    found = parts_of(season, WORKS, [], question())
    formula = " + ".join(COLUMNS[work] for work in WORKS)
    fitted = survivor.fit(season, formula, strata=["site", "block"], cluster="plot")
    table = found.table.set_index("what")
    for work in WORKS:
        column = COLUMNS[work]
        own = survivor.contrasts(fitted, by=column, at=365, against=NO).table.iloc[0]
        for name in ("estimate", "lower", "upper", "p_value", "df"):
            assert table.loc[work, name] == pytest.approx(own[name], rel=1e-9)
        assert table.loc[work, "log_hazard_ratio"] == pytest.approx(fitted.params[f"{column}[T.{YES}]"])
    assert (table["kind"] == WORK).all()


def test_a_pair_is_the_difference_of_differences(season: pd.DataFrame) -> None:
    found = parts_of(season, WORKS, [("rip", "mulch mat")], question())
    line = found.table[found.table["kind"] == PAIR].iloc[0]
    formula = "work_pre_emergent + work_rip * work_mulch_mat"
    fitted = survivor.fit(season, formula, strata=["site", "block"], cluster="plot")
    assert line["p_value"] == pytest.approx(
        fitted.table.set_index("term").loc["work_rip[T.yes]:work_mulch_mat[T.yes]", "p_value"], abs=0.05
    )
    alive = {}
    for rip in (NO, YES):
        for mulch in (NO, YES):
            set_to = season.assign(
                work_rip=pd.Categorical([rip] * len(season), categories=[NO, YES]),
                work_mulch_mat=pd.Categorical([mulch] * len(season), categories=[NO, YES]),
            )
            entered = set_to[set_to["start_day"] == 0]
            alive[rip, mulch] = fitted.predict(entered, 365)["estimate"].mean()
    by_hand = alive[YES, YES] - alive[YES, NO] - alive[NO, YES] + alive[NO, NO]
    assert line["estimate"] == pytest.approx(by_hand, rel=1e-6)


def test_the_test_of_the_sum_is_that_of_the_interactions(season: pd.DataFrame) -> None:
    """Bundles beyond their works are, in a full factorial, all interactions: 4 of 3 works."""
    found = parts_of(season, WORKS, [], question())
    formula = "work_pre_emergent * work_rip * work_mulch_mat"
    fitted = survivor.fit(season, formula, strata=["site", "block"], cluster="plot")
    terms = [term for term in fitted.table["term"] if ":" in term]
    own = fitted.test(terms)
    assert found.beyond is not None
    assert found.beyond.statistic == pytest.approx(own.statistic, rel=1e-6)
    assert (found.beyond.df1, found.beyond.p_value) == (4, pytest.approx(own.p_value, rel=1e-6))


def test_works_that_went_together_are_one_unit() -> None:
    season = factorial(np.random.default_rng(3), {"rip": -0.5, "guard": -0.2}, plot_sd=0.1)
    season = season.assign(work_mound=season["work_rip"])
    season[PATTERN] = season[PATTERN].str.replace("rip", "mound + rip")
    found = parts_of(season, ("rip", "mound", "guard"), [("rip", "guard")], question())
    assert found.table["what"].tolist() == ["rip and mound", "guard", "rip x guard"]
    assert found.table["basis"].tolist() == ["within sites", "within sites", "refused"]
    assert "rip cannot be distinguished from other works" in found.table["reason"].iloc[2]
    assert any("only their sum can be seen" in text for text in found.apart.said)
    assert unit_column(found.apart.units[0]) in found.frame.columns


def test_a_published_factorial() -> None:
    """Germination of Orobanche: two seeds by two root extracts in 21 plates (Crowder 1978, table 3).

    Deaths over one interval are those that did not germinate; the grouped model is then a binomial
    regression with complementary log-log link, whose estimates are here those of statsmodels (run).
    """
    plates = orobanche()
    frame = pd.DataFrame(
        {
            "site": "glasshouse", "block": "", "plot": [str(n) for n in range(len(plates))],
            "start_day": 0.0, "stop_day": 1.0, "at_risk": plates["at_risk"], "died": plates["died"],
        }
    )  # fmt: skip
    for work, column in (("seed", "seed"), ("root", "root")):
        levels = sorted(plates[column].unique())
        frame[f"work_{work}"] = pd.Categorical(
            np.where(plates[column] == levels[1], YES, NO), categories=[NO, YES]
        )
    names = frame[["work_seed", "work_root"]].astype(str)
    frame[PATTERN] = [
        " + ".join(work for work, own in zip(("root", "seed"), (r, s), strict=True) if own == YES) or "none"
        for s, r in names.itertuples(index=False)
    ]
    found = parts_of(frame, ("seed", "root"), [("seed", "root")], question("site", at=1.0))
    design = add_constant((names == YES).astype(float).rename(columns={"work_seed": "s", "work_root": "r"}))
    link = sm.families.Binomial(sm.families.links.CLogLog())
    counts = np.column_stack([frame["died"], frame["at_risk"] - frame["died"]])
    plain = sm.GLM(counts, design, family=link).fit()
    table = found.table.set_index("what")
    assert table.loc["seed", "log_hazard_ratio"] == pytest.approx(plain.params["s"], abs=1e-5)
    assert table.loc["root", "log_hazard_ratio"] == pytest.approx(plain.params["r"], abs=1e-5)
    both = sm.GLM(counts, design.assign(both=design["s"] * design["r"]), family=link).fit()
    assert table.loc["seed x root", "log_hazard_ratio"] == pytest.approx(both.params["both"], abs=1e-5)


def test_limits_go_by_whole_plots_where_they_are_named(season: pd.DataFrame) -> None:
    lines = season.assign(line=season["work_rip"].astype(str))
    by_plot = parts_of(lines, WORKS, [], question()).table.set_index("what")
    cluster = whole_plots(lines, "line")
    by_line = parts_of(lines, WORKS, [], question(cluster=cluster)).table.set_index("what")
    assert cluster == ("site", "block", "line")
    assert by_line.loc["rip", "df"] < by_plot.loc["rip", "df"]
    assert by_line.loc["rip", "estimate"] == pytest.approx(by_plot.loc["rip", "estimate"])
    with pytest.raises(SurvivorError, match="no column of the plot sheet is called tractor"):
        whole_plots(lines, "tractor")
