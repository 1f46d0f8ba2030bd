"""Every sentence of the appendix, as templates: what stands in the places is made beside the numbers."""

from __future__ import annotations

from typing import Final

# The first answer under each check.
FIRST_ANSWER: Final = "{method} against {against}: the answer, and what each other check gives. p is adjusted for the number of comparisons, but for mean days."
CHECK_ANSWER: Final = "the answer"
CHECK_PAIRS: Final = "allowing for all pairs"
CHECK_RADIUS: Final = "with the radius held equal"
CHECK_LIKE_SITES: Final = "expected at similar sites"
CHECK_MODEL: Final = "another model: {model}"
CHECK_RULE: Final = "{rule}"
CHECK_SITE: Final = "without {site_left_out}, where it is least clear"
CHECK_LOT: Final = "randomisation test"
CHECK_DAYS: Final = "mean days alive"
DAYS: Final = "{size} ({span}) days"
CHECK_E_VALUE: Final = "E-value of the limit"

# The appendix: randomisation, periods, mean days, pairs, models, sites, rules.
LOT: Final = (
    "Preparations were allocated at random within blocks. Were two of them alike, every other way to share out "
    "their two names within the blocks would have been as likely."
)
LOT_P: Final = (
    "The p below is the share of such allocations in which deaths differ at least as much from those expected "
    "as in the records."
)
LOT_RESTS: Final = (
    "It rests on the allocation alone, not on a model of how plots vary. The answer uses the p of the model, "
    "beside it, and is held back where the two disagree."
)
LOT_NOTE: Final = (
    "Expected: were the two preparations alike, by plot, with its species and visits; minus means fewer deaths. "
    "Adjusted for the number of comparisons (Holm)."
)
LOT_DRAWN: Final = "Where there are over {most} allocations, {tried} were drawn (seed {seed})."
LOT_FORMULA: Final = "With b of m allocations drawn as far from 0 or further, p is b + 1 over m + 1."
LOT_ROUGH: Final = (
    "Drawn allocations give p within an error. So they disagree with a clear difference only where p is 0.05 "
    "or more at its lower 95 % limit too."
)
LOT_REASON: Final = "{method}: {reason}."
PERIODS: Final = "The answer takes the hazard of death under a preparation to stand in one ratio to that under {usual}, all season."
PERIODS_HERE: Final = "Here each period has a ratio of its own: under 1, fewer died than under {usual}."
PERIODS_LATE: Final = (
    "Tags went in after planting, so stretches begin at the first sighting. A period holds deaths after that "
    "only, and the first period fewer deaths than there were."
)
PERIODS_NOTE: Final = "Limits by plot ({variance}), not adjusted. A death found after a stretch across two periods is split between them."
PERIODS_NO_TEST: Final = "Too few plots for a test of whether the ratios differ between periods."
PERIODS_TEST: Final = "(F {f} on {df1} and {df2} degrees of freedom, p {p})"
PERIODS_DIFFER: Final = (
    "The ratios differ between periods {test}. The answer is from the model with a ratio for each period, where that "
    "could be fitted. Elsewhere it is an average over the season."
)
PERIODS_OPEN: Final = (
    "There is not enough evidence to say that the ratios differ between periods {test}. Only large changes "
    "would show, so this does not say that they are the same."
)
RESIDUALS: Final = (
    "Among the rounds with most deaths the ratio changes most for {method}: from {low} to {high} (no limits)."
)
RESIDUALS_CAPTION: Final = (
    "Dot: ratio by the residuals of the Cox model in a round of visits (Schoenfeld), larger with more deaths. "
    "Broken line: all rounds. Thin line: 1. A trend away from the broken line may matter; one dot does not."
)
MEAN_DAYS: Final = (
    "Out of the first {day} days, how many a seedling lived on average. Unlike survival on one day it tells "
    "early deaths from late ones. A death counts on the day it was found, so means are slightly too high."
)
MEAN_DAYS_NOTE: Final = (
    "From the sites that hold both, with plants weighted so that both have the same share of each site. Limits "
    "by leaving out one plot at a time; p not adjusted."
)
NO_PAIR: Final = "No comparison of preparations could be made"
ALL_PAIRS: Final = (
    "The p of a pair is larger here than against {base} alone. More comparisons are made, so more differences "
    "arise by chance. Which differ from {base} is judged by the smaller table; which is the best of all, by "
    "this one."
)
RADIUS_HELD: Final = (
    "The main result compares preparations as they were done, with the radius each had. Here the radius is held "
    "equal: what is left of the difference between two preparations of one radius?"
)
AGREEMENT: Final = (
    "Models are compared on differences {per}. They look at the same records in different ways, so they will "
    "not agree exactly."
)
AGREEMENT_MODELS: Final = (
    "Interval-censored: a death lies between the visit alive and the visit found dead; all sites share the "
    "shape of the season. Cox: it is on the day it was found, and each site has a shape of its own. At the "
    "milestone: only that visit counts, and plants of unknown state are left out. Random plot effects: the "
    "first model with a level for each plot, averaged over plots."
)
AGREEMENT_LIMITS: Final = (
    "Limits of the last rest on how plot levels are distributed, those of the others on how plots differed. "
    "Where models point in different directions, treat all with caution."
)
AGREEMENT_CAPTION: Final = (
    "Dot, square or diamond: one model each, named under the preparation. Line: 95 % CI."
)
AGREEMENT_MIXED: Final = "Models point in different directions for: {names}."
AGREEMENT_ALL: Final = "All models point in the same direction for every preparation."
LEFT_OUT: Final = (
    "The differences without each site in turn. Where a row is far from the others, the result depends on that "
    "site."
)
LEFT_OUT_MANY: Final = "Of {sites} sites, the {left} without which a difference changes most are left out."
LEFT_OUT_STEP: Final = "One Newton step of the fit estimates which these are."
LEFT_OUT_TURNS: Final = "By p adjusted for the number of comparisons, as the grade goes, {method} is no longer clear without {sites}."
LEFT_OUT_HOLDS: Final = "By p adjusted for the number of comparisons, as the grade goes, every clear difference is clear without any one site."
LEFT_OUT_OWN: Final = "By its own interval, which then holds 0, {method} is no longer clear without {sites}."
LEFT_OUT_OWN_HOLDS: Final = "By its own interval, every clear difference is clear without any one site."
NO_UNKNOWN: Final = "No plant was missing or unknown"
COUNTED: Final = "Plants were counted and not tagged, so no rule for missing plants applies."
COUNTED_UNKNOWN: Final = (
    "{plants} whose fate at the milestone is unknown count as alive up to the visit before."
)
BOUNDS: Final = (
    "The same survival under other rules; the first is the one used. Plants never found again are those of "
    "which neither plant nor place was found. That they all died, and that all lived, are the bounds of "
    "survival while missing plants count as {missing}."
)
BOUNDS_NOT: Final = (
    "They are no bounds of the truth where that rule is wrong: survival under the other rule for missing plants "
    "stands beside them."
)

# Preparation or ground.
NO_TRAIT: Final = "The records hold no trait of the plots by which their ground could be compared."
SAME_TRAITS: Final = "Under every preparation as under {base}, 0.0 apart: {names}."
BALANCE_NOTE: Final = (
    "Difference: from the plots under {base}. Half a standard deviation and more is much. Dates: the middle "
    "one, and first to last."
)
SAME_GROUND: Final = "All plots stood where the other stood too, by: {names}."
OVERLAP_NOTE: Final = (
    "Where few plots of one stood on ground that the other had too, a comparison rests on the model's view of "
    "that ground. Numbers and dates: within the range of the other's plots; words and sites: where both stood."
)
WITHIN_NONE: Final = "Within sites beside between sites: {reason}."
WITHIN: Final = (
    "If ground did not go with preparation, two comparisons would agree: plots within a site, and "
    "sites with more and with less of a preparation. The answer rests on the first; the second holds whatever else "
    "went with such sites."
)
WITHIN_NOTE: Final = (
    "Limits by site (CR2, {sites} sites), not adjusted. Sites have no level of their own here."
)
WITHIN_NO_TEST: Final = "Too few sites for a test of whether the two differ."
WITHIN_DIFFER: Final = "The two differ (Mundlak's test, p {p}): something else went with the sites that had more of a preparation."
WITHIN_OPEN: Final = (
    "There is not enough evidence to say that the two differ (Mundlak's test, p {p}); few sites leave room for "
    "much."
)
E_VALUES: Final = (
    "Could an unrecorded trait of the ground account for the whole of a difference? Only if it went with the "
    "preparation, and with death, by a risk ratio of at least the E-value each. An E-value near 1 says that "
    "little would do, not whether there is such a trait."
)
E_NOTE: Final = (
    "Risk of death by day {day}, over the places that hold both (VanderWeele and Ding 2017). E-value of the "
    "limit: 1 where the limits hold 1."
)
LIKE_SITES: Final = (
    "The limits of the answer are for these sites. Here the sites stand for others like them: the limits hold "
    "how the difference varied from site to site. They say nothing of sites that were planted for another "
    "reason, or of another season."
)
