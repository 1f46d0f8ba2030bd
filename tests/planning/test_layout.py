"""The lot, its constraints and the tags."""

import collections

import pandas as pd
import pytest

from survivor.errors import PlanError
from survivor.planning.layout import blocks_of, draw_layout
from tests.planning.making import METHODS, fewest_side_by_side, raw_plan, small_plan


def sites(**changed):
    """The plan's sites with some keys of one changed."""
    tables = [dict(table) for table in raw_plan()["sites"]]
    for name, values in changed.items():
        next(table for table in tables if table["name"].startswith(name)).update(values)
    return tables


def test_every_block_holds_every_method_once():
    layout = draw_layout(small_plan(), 10, 7)
    blocks = layout.plots.groupby(["site", "block"])["method"].agg(sorted)
    assert len(blocks) == 10
    assert (blocks.map(tuple) == tuple(sorted(METHODS))).all()
    assert layout.plots.groupby(["site", "block"])["plot"].nunique().eq(2).all()
    assert layout.plots.groupby("site")["block"].nunique().tolist() == [2, 3, 3, 2]  # by name of site
    assert len(layout.tags) == 10 * 2 * 7


def test_the_lot_is_fair():
    # 600 blocks: each method is first in half of them, within four standard errors (0.5 / sqrt(600)).
    layout = draw_layout(small_plan(), 600, 1)
    first = layout.plots[layout.plots["plot"] == "P1"]["method"].value_counts(normalize=True)
    assert abs(first[METHODS[0]] - 0.5) < 4 * 0.5 / 600**0.5
    # and no run of the same order longer than a coin gives once in thousands of studies
    order = layout.plots[layout.plots["plot"] == "P1"]["method"].tolist()
    longest = max(
        len(run) for run in "".join("u" if m == METHODS[0] else "r" for m in order).replace("ur", "u r")
        .replace("ru", "r u").split()
    )  # fmt: skip
    assert longest < 22


def test_a_site_changed_leaves_the_others_as_they_were():
    plain = draw_layout(small_plan(), 8, 5).plots
    steep = draw_layout(small_plan(sites=sites(Quill={"cannot": []}, Ombry={"blocks": 5})), 11, 5).plots
    for site in ("Tarn Hollow", "Quill Creek", "Vossel Flat"):
        pd.testing.assert_frame_equal(
            plain[plain["site"] == site].reset_index(drop=True),
            steep[steep["site"] == site].reset_index(drop=True),
        )


def three_methods(**changed):
    methods = [*raw_plan()["methods"], {"name": "spray and auger", "works": ["spot spray", "auger hole"]}]
    return small_plan(methods=methods, sites=sites(**changed))


def test_a_site_gets_no_method_that_it_cannot_take():
    plan = three_methods(Quill={"cannot": ["rip line"], "why": "steep ground, standing trees"})
    layout = draw_layout(plan, 8, 5)
    at_site = layout.plots[layout.plots["site"] == "Quill Creek"]
    assert set(at_site["method"]) == {METHODS[0], "spray and auger"}
    assert any("steep ground" in remark and METHODS[1] in remark for remark in layout.remarks)
    assert fewest_side_by_side(layout, METHODS[0]) == (METHODS[1], 6)


def test_a_method_can_be_refused_by_its_name():
    plan = three_methods(Tarn={"cannot": ["Spray and Auger".lower()]})
    layout = draw_layout(plan, 4, 2)
    assert "spray and auger" not in set(layout.plots.loc[layout.plots["site"] == "Tarn Hollow", "method"])


def test_a_site_without_the_usual_practice_is_said():
    plan = three_methods(Tarn={"cannot": [METHODS[0]]})
    assert any("tells nothing of it" in remark for remark in draw_layout(plan, 4, 2).remarks)


def test_a_site_that_compares_nothing_is_refused():
    plan = small_plan(sites=sites(Tarn={"cannot": ["rip line"]}))
    with pytest.raises(PlanError, match="Tarn Hollow can take fewer than two"):
        draw_layout(plan, 4, 2)


def test_blocks_are_shared_out_evenly_beside_those_that_are_given():
    assert blocks_of(small_plan(), 9) == [3, 2, 2, 2]
    assert blocks_of(small_plan(sites=sites(Quill={"blocks": 4})), 9) == [2, 4, 2, 1]
    with pytest.raises(PlanError, match="every site needs a block"):
        blocks_of(small_plan(), 3)


def test_a_layout_needs_sites_with_names():
    with pytest.raises(PlanError, match="sites named"):
        draw_layout(small_plan(sites=[], sizes={"sites": 4}), 4, 2)


@pytest.mark.parametrize("scope", ["unique in the study", "unique in the plot"])
def test_tags_are_text_with_zeros_in_front_and_unique(scope):
    plan = small_plan(layout={"tags": scope, "first_tag": 1, "tag_digits": 4})
    tags = draw_layout(plan, 4, 6).tags
    assert tags["tag"].map(lambda tag: isinstance(tag, str) and len(tag) == 4).all()
    keys = ["tag"] if scope == "unique in the study" else ["site", "block", "plot", "tag"]
    assert not tags.duplicated(keys).any()
    assert tags["tag"].iloc[0] == "0001"
    assert (tags["tag"].nunique() == 6) is (scope == "unique in the plot")


def test_tags_that_run_out_are_said():
    plan = small_plan(layout={"tag_digits": 2})
    with pytest.raises(PlanError, match="run out at 160"):
        draw_layout(plan, 4, 20)


def test_species_are_as_even_as_can_be_in_every_plot():
    plan = small_plan(layout={"species": ["blackwood", "river red gum", "sweet bursaria"]})
    tags = draw_layout(plan, 6, 20).tags
    counts = tags.groupby(["site", "block", "plot"])["species"].agg(collections.Counter)
    assert all(max(found.values()) - min(found.values()) <= 1 for found in counts)
    assert all(len(found) == 3 for found in counts)
    total = tags["species"].value_counts()
    assert total.max() - total.min() <= 12  # the odd ones go round, plot by plot
    # Their places in the plot are drawn too: no species owns the first tag of every plot.
    assert tags.groupby(["site", "block", "plot"])["species"].first().nunique() > 1
