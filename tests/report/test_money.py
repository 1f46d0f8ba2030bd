"""What a report says of costs: from a payoff that can be reckoned by hand, chosen and allocated at random."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from survivor.analysis.costs import infill_plants, rain_slope
from survivor.analysis.rain import Rain
from survivor.costs.infill import InfillPlants
from survivor.costs.payoff import in_seasons, payoff
from survivor.costs.stocking import InfillLives, infill_order, stems_needed
from survivor.document.elements import Figure, Paragraph, Section, Table
from survivor.evidence.grading import Circumstances
from survivor.evidence.making import payoff_finding, value_finding
from survivor.report.arrangement import ANNEX
from survivor.report.costs import costs
from survivor.report.orders import infill_sections
from survivor.sentences import plain_text
from survivor.settings import Design, Infill
from tests.document.reading import undrawn
from tests.effects.making import FakeFit, planting
from tests.report.making import build

ALIVE = {"usual": 0.6, "spot": 0.8, "rip": 0.7, "mound": 0.58}
COSTS = {"usual": 3.0, "spot": 5.0, "rip": 3.9, "mound": 4.0}
CAUSAL = ("caused", "because of", "due to", "raised survival", "kept alive", "improved", "effect of")


def fit(places=None):
    frame = planting(places or {"Oddle Flat": dict.fromkeys(ALIVE, 5)})
    return FakeFit(frame, lambda cell: ALIVE[cell["method"]], std_error=0.02)


@pytest.fixture(scope="module")
def found():
    return payoff(
        fit(),
        COSTS,
        currency="dollars",
        against="usual",
        infill=Infill(times_first=1.5),
        infill_plants=InfillPlants({"usual": 0.2, "spot": 0.1}, 0.7, 0.6, 0.8, "Infill is 40 plants."),
    )


@pytest.fixture(scope="module")
def analysis(found):
    sites = {"site": "Oddle Flat", "planted": 800, "survival": 67.0, "lower": 60.0, "upper": 73.0}
    return build(
        payoff=found,
        stems_needed=stems_needed(found.survival, 1000.0, {"usual": 1250.0}, InfillLives(0.7, 0.6, 0.8)),
        infill_order=infill_order(pd.DataFrame([{**sites, "n_plots": 6, "at_day": 700}])),
    )


def parts(section: Section) -> dict[str, Section]:
    return {part.key: part for part in section.parts}


def words(section: Section) -> str:
    said = [block.plain for block in section.blocks if isinstance(block, Paragraph)]
    for block in section.blocks:
        table = block.table if isinstance(block, Figure) else block
        if isinstance(table, Table):
            said += [cell for row in table.rows for cell in row] + [plain_text(table.note), table.caption]
        if isinstance(block, Figure):
            said += [block.described, plain_text(block.caption)]
    return " ".join([*said, *(words(part) for part in section.parts)])


def test_all_parts_of_the_money_are_there(analysis):
    assert list(parts(costs(analysis))) == [
        "extra-cost",
        "break-even-cost",
        "best-value-part",
        "with-infill",
        "season-costs",
        "stems-wanted",
    ]


def test_the_numbers_are_those_reckoned_by_hand(analysis):
    section = parts(costs(analysis))
    extra = words(section["extra-cost"])
    # Rip costs 90 more for 10 more alive, spot 200 for 20.
    assert "$9.00" in extra
    assert "$10.00" in extra
    assert "dominated" not in extra
    assert "“spot” equals “usual” in cost per established plant at $4.00" in words(section["break-even-cost"])
    best = words(section["best-value-part"])
    assert "Below $5.00 for a living plant none repays its cost" in best
    assert "From $5.00 to $9.00 “usual” is the best value" in best
    assert "From $9.00 to $11.00 “rip” is the best value" in best
    # 100 at 3.00 and 20 at 4.50: 390 for 60 and 14 alive.
    assert "$5.27" in words(section["with-infill"])
    assert "1,667" in words(section["stems-wanted"])  # 1,000 over 0.6, rounded up
    (order,) = infill_sections(analysis)
    assert "264" in words(order)  # a third of 800


def test_an_order_of_infill_says_what_it_takes_to_live(found):
    sites = pd.DataFrame(
        [
            {
                "site": "Oddle Flat",
                "planted": 800,
                "survival": 67.0,
                "lower": 60.0,
                "upper": 73.0,
                "at_day": 700,
            }
        ]
    )
    for lives, begins, ends in (
        (None, "It takes 264 plants", "every infill plant taken to live."),
        (InfillLives(0.8, 0.7, 0.9), "330 plants would bring", "over the share of infill that lives."),
    ):
        order = infill_order(sites.assign(n_plots=6), lives)
        said = infill_sections(build(payoff=found, infill_order=order))[0].blocks[0].text
        assert said.startswith(begins)
        assert said.endswith(ends)
        assert ("if every one lives" in said) is (lives is None)


def test_no_word_says_that_one_thing_caused_another_where_preparations_were_chosen(analysis):
    said = words(costs(analysis)).casefold()
    assert not [word for word in CAUSAL if word in said]
    assert "not allocated at random" in said or "it was not allocated at random" in said


def test_the_page_holds_the_figures_with_their_words(analysis):
    page = undrawn(ANNEX.of(analysis))
    for title in ("Chance of the best value",):
        assert title in page


def test_why_no_season_is_costed_is_said(analysis):
    said = words(parts(costs(analysis))["season-costs"])
    assert said.startswith("What a dry or a wet season would cost cannot be estimated from these records.")


def test_a_dry_season_is_costed_where_rain_is_known(found):
    known = Rain(effect=_effect(), by_method=SimpleNamespace(per=100.0, table=_by_method()))
    rain = rain_slope(known, list(COSTS))
    assert rain is not None
    # Told of itself per 100 mm for spot, of all together for the others.
    assert rain.estimate.tolist() == pytest.approx([-0.004, -0.009, -0.004, -0.004])
    seasons = in_seasons(found, rain)
    section = parts(costs(build(payoff=found, in_seasons=seasons)))["season-costs"]
    assert "a dry season, 40 mm" in words(section)
    dry = seasons.table.set_index(["scenario", "method"]).loc[("a dry season", "usual")]
    assert dry["survival"] == pytest.approx(100 * 0.6 ** np.exp(0.004 * 60))


def test_without_an_effect_of_rain_there_is_no_slope():
    assert rain_slope(Rain(), ["usual"]) is None


def _effect():
    line = {"estimate": -0.004, "std_error": 0.001, "df": 6.0}
    return pd.DataFrame([{**line, "rain_mean_mm": 100.0, "rain_least_mm": 40.0, "rain_most_mm": 160.0}])


def _by_method():
    return pd.DataFrame({"method": ["spot"], "estimate": [-0.9], "std_error": [0.2], "df": [5.0]})


DRAWN = Design(allocation="random within blocks", plots_placed="random")
CHOSEN = Design(allocation="by choice", plots_placed="random")


def test_money_where_preparations_were_chosen_is_at_most_moderate(found):
    drawn, chosen = (value_finding(found, "12 months", design) for design in (DRAWN, CHOSEN))
    assert "chosen for each place" in " ".join(chosen.reasons)
    assert chosen.grade in ("moderate", "weak")
    assert "chosen for each place" not in " ".join(drawn.reasons)
    assert chosen.answer.startswith("Below $5.00")


def test_money_of_methods_that_share_no_site_is_at_most_slight():
    places = {"Oddle Flat": {"usual": 4, "spot": 4}, "Wenlow Rise": {"usual": 4, "rip": 4}}
    apart = payoff(fit(places), {"usual": 9.0, "spot": 4.0, "rip": 4.4})
    assert apart.between == (("spot", "rip"),)
    assert any("No site holds both “spot” and “rip”" in check for check in apart.checks)
    for finding in (payoff_finding(apart, "12 months", DRAWN), value_finding(apart, "12 months", DRAWN)):
        assert finding.grade == "weak"
        assert "it rests on differences between sites only" in finding.reasons
    together = payoff(fit(places), {"usual": 9.0, "spot": 4.0})
    assert together.between == ()
    assert payoff_finding(together, "12 months", DRAWN).grade == "strong"


def test_a_penalised_model_caps_the_best_value(found):
    assert value_finding(found, "12 months", DRAWN, flags=Circumstances(penalised=True)).grade == "weak"


def test_infill_is_read_from_the_records_or_as_stated(found):
    rows = {"site": "Oddle Flat", "block": "", "plot": "1", "start_day": 0.0, "stop_day": 100.0, "died": 0}
    first = pd.DataFrame([{**rows, "method": "usual", "at_risk": 50, "cohort": "planting"}])
    more = pd.DataFrame([{**rows, "method": "usual", "at_risk": 10, "cohort": "infill"}])
    infill = pd.DataFrame([{"estimate": 70.0, "lower": 60.0, "upper": 80.0}])

    def season(stated):
        return SimpleNamespace(
            settings=SimpleNamespace(infill=stated),
            intervals=first,
            records=SimpleNamespace(intervals=pd.concat([first, more], ignore_index=True)),
        )

    told = infill_plants(season(Infill(times_first=1.5)), infill)
    assert told.per_plant == {"usual": 0.2}
    assert (told.survival, told.lower, told.upper) == pytest.approx((0.7, 0.6, 0.8))
    stated = Infill(per_plant=5.0, plants_per_100=15.0, survival_per_100=60.0)
    told = infill_plants(season(stated), infill)
    assert told.per_plant == {"usual": 0.15}
    assert told.survival == pytest.approx(0.6)
    none = SimpleNamespace(
        settings=SimpleNamespace(infill=None), intervals=first, records=SimpleNamespace(intervals=first)
    )
    assert infill_plants(none, infill.iloc[:0]) is None
