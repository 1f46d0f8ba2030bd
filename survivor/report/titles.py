"""What each table of a report holds, in one line, for those who open the workbook or the folder."""

from __future__ import annotations

from typing import Final

TITLES: Final[dict[str, str]] = {
    "findings": "Every question asked, its answer with limits, what it rests on and how sure it is",
    "survival": "Alive per 100 planted under each preparation at the milestone, averaged over sites, species",
    "milestones": "Alive per 100 planted under each preparation at every milestone that the visits reached",
    "counted": "Seedlings of each preparation as counted at the milestone: alive, dead, unknown",
    "infill": "Survival of infill plants, on their own clock",
    "in_all": "Plants alive in the whole planting, and living stems per hectare",
    "planting_years": "Alive at the milestone by planting season and preparation",
    "heights": "Plants alive and of the set height by preparation, as counted",
    "patch": "Weed cover and weed-free radius at each visit, described",
    "photo_points": "Photo points, with the names of their files",
    "corrections": "Corrections made in the records",
    "contrasts": "Each preparation against {base}: difference in plants alive per 100 planted",
    "all_pairs": "The same differences between all pairs of preparations",
    "curves": "Survival curves: share alive, limits and numbers at risk by day after planting",
    "radius": "Alive per 100 planted by radius of the weed-free patch",
    "radius_answer": "The numbers of the answer on the radius: gain along a line, where more stops paying",
    "radius_gain": "What a further 10 cm of radius goes with, by radius",
    "radius_held": "Differences between preparations with the radius held equal",
    "radius_by_method": "The radius response under each preparation",
    "payoff": "Cost per plant established under each preparation",
    "increments": "Extra cost and extra plants alive, from one preparation to the next dearer one",
    "payoff_plane": "Extra cost and extra plants alive under each preparation, against {base}",
    "break_even": "The most that each preparation may cost per plant to equal {base}",
    "best_value": "Chance of the best value by what an established plant is worth",
    "payoff_with_infill": "Cost per plant established under each preparation, with infill out and in",
    "season_costs": "Cost per plant established in a dry and in a wet season",
    "cost_lines": "What was paid for under each preparation, brought to one plant",
    "stocking": "Plants to put in per hectare for the stems wanted",
    "infill_order": "Infill plants to order at each site for those that died so far",
    "permutation": "p values from drawing the lots for preparations again",
    "hazards": "Ratio of the hazard under each preparation to that under {base}, by period",
    "mean_days": "Mean days alive up to the milestone",
    "mean_days_differences": "Differences in mean days alive",
    "within_between": "The difference within sites beside the difference between sites",
    "e_values": "How strong an unmeasured cause would have to be to explain a difference away",
    "like_sites": "Differences with limits for sites like these",
    "layout": "Plots of each preparation at each site",
    "filled_in": "Plants averaged over that stand where a preparation was not seen",
    "tests": "F tests: whether responses, and ratios of hazards, differ",
    "traits": "Traits of the plots under each preparation",
    "overlap": "Plots that share a trait with those of {base}",
    "agreement": "The same differences from different models",
    "rain": "Measures of the season's rain against its record",
    "rain_by_method": "How rain went with survival under each preparation",
    "rain_effect": "How rain went with survival",
    "species": "Alive at the milestone by species",
    "sites": "Alive at the milestone by site",
    "causes": "Deaths by preparation, period and likely cause",
    "bounds": "The answers under other rules for missing and unknown plants",
    "left_out": "The differences with each site left out",
    "residuals": "Hazard ratio at each round of visits",
    "measures": "Measures that are not the same: survival of planted, survival of found",
    "problems": "What is wrong with the records, and the mend",
    "accounts": "Where every record read has gone: used, set aside or listed",
    "matches": "How each heading of the sheets was understood",
    "soil_water": "Days short of soil water at each plot",
    "soil_water_days": "Soil water day by day for a typical plot of each gauge and soil",
}

_TERMS: Final = "terms_"


def title_of(table: str, base: str = "the usual practice") -> str:
    """Return what a table holds; for a table that no line is written for, its name in plain words.

    Parameters
    ----------
    table
        Its short name, as in the folder of tables.
    base
        What the preparations are compared with, as the report words it.
    """
    if table.startswith(_TERMS):
        return f"Coefficients of the model “{table.removeprefix(_TERMS)}”, on the log scale"
    return TITLES.get(table, table.replace("_", " ")).replace("{base}", base)
