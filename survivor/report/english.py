"""Every sentence of the annex and the officer's sheet but the appendix, as templates: values come from beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

# All questions and answers.
FATES: Final = {"used": "used", "excluded": "excluded", "listed": "not needed"}
QUESTIONS: Final = "All questions and answers"
NO_QUESTION: Final = "No question could be answered."
GRADES: Final = (
    "Strength of evidence is strong, moderate or weak, or the question is not answered; the rules are under "
    "“Methods”."
)
SMALLEST: Final = "The smallest difference that matters was set at {smallest} {per}."
EVIDENCE: Final = "Evidence: {strength}."
RESTS_ON: Final = "It rests on {counts}."
STRENGTHEN: Final = "What would strengthen it: {what}."
STRENGTHEN_TOO: Final = "Also: {what}."

# Survival over time.
CURVES: Final = "Observed survival (Kaplan-Meier), not standardised."
STEPS: Final = (
    "A curve steps down on the day of a visit; the plants died at some time since the visit before."
)
IN_DRY_SEASON: Final = "Of {deaths} found by the last visit, {dry} are assigned to a dry season."
ASSIGNED: Final = (
    "A death goes to the period that holds most of the days between the last visit alive and the next one."
)
YEARS_TOGETHER: Final = (
    "Plants of {years} are together here, each counted from its own planting, so one day of a curve is not one "
    "season. By year they stand under “Planting years beside each other”."
)
ROUNDS: Final = "Between the days of two columns no plot was visited."
ROUNDS_SOME: Final = "These are {shown} of {all} rounds of visits; curves.csv has the others. On days of no round no plot was visited."
AT_RISK: Final = "Seedlings followed into the round. The count falls {why}."
BY_DEATHS: Final = "by deaths"
BY_TAGS: Final = "by tags no longer found"
BY_SITES: Final = "by sites whose records end sooner after planting than others"
BY_SITES_LATER: Final = (
    "by sites whose records end sooner after planting than others (as those of a later planting year may)"
)

# What they died of.
CAUSES: Final = "A cause is the observer's likeliest one, seen at the visit after the death."
CAUSES_UNKNOWN: Final = "Of {deaths}, {unknown} have no known cause; they are left as unknown."
CAUSES_FINDING: Final = "{deaths} with a period; most ({most}) in: {worst}."
CAUSES_NOTE: Final = (
    "All periods together; the workbook has each. Analysed: plants whose state was known at some visit."
)
CAUSES_CAPTION: Final = "Bars: seedlings found dead, all preparations together; hatched: cause not known."

# Heights.
HEIGHTS_WHY: Final = (
    "Heights of the living alone are not compared: where the weak have died the rest look tall. Given here is "
    "how many of the planted are alive and have the set height."
)
HEIGHTS_NOTE: Final = (
    "Observed: the share alive of the plants whose fate is known, times the share of the measured that are "
    "that tall. A living plant not measured is taken to be like those measured under its preparation. Not "
    "standardised for site and species; species grow at different paces. Limits by leaving out one plot at a "
    "time."
)
HEIGHTS_NOT_SET: Final = (
    "Heights were measured, and the study file sets none to report with survival. {why} Add [heights] "
    "at_least_cm to the study file."
)
HEIGHTS_NONE: Final = "The study file sets a height, and the records hold no height of tagged seedlings."
HEIGHTS_NOT_REACHED: Final = (
    "The visits have not reached {milestone}, for which the study file sets a height."
)

# The whole planting, milestones, infill.
IN_ALL: Final = (
    "Plots are a sample. The number alive in the whole planting is survival of planted, times the plants "
    "planted at each site and of each species. It takes the preparations to have the same shares in the whole "
    "planting as in the plots of each site."
)
IN_ALL_NOTE: Final = (
    "Survival of planted, survival of found and stocking are three measures; none stands for another."
)
NO_STOCKING: Final = (
    "Stocking, living stems on a hectare, is not given. The study file has neither the spacing nor the hectares "
    "planted at each site ([spacing], [[planted]])."
)
NOT_OF_FOUND: Final = (
    "Neither can be estimated: these records begin at the first visit, and those that died before it are in no "
    "number. Plants planted times survival would be too high."
)
NOT_IN_STUDY: Final = (
    "The study file gives neither the plants in the whole planting nor the spacing ([[planted]], [spacing]). So "
    "the number alive beyond the plots, and the stocking, cannot be estimated."
)
NO_WHOLE: Final = "Survival of the whole planting could not be estimated"
STAGES: Final = (
    "Survival of the seedlings first planted, from planting to each milestone. A milestone is answered by the "
    "visits within its window; one that they have not reached has no number."
)
STAGES_NONE: Final = "Survival could not be estimated at any milestone"
STAGES_NOTE: Final = (
    "Averaged in the same way as the main result. Seedlings and plots: watched from the start."
)
NO_INFILL: Final = "No infill is recorded."
INFILL: Final = "{plants} in {plots} are counted apart."
INFILL_LIVED: Final = "Of 100, {estimate} were alive {day} days after their own planting (95 % CI {span})."
INFILL_APART: Final = (
    "That is observed, all preparations together. They are in no other number of this report."
)
INFILL_UNKNOWN: Final = "Their survival cannot be estimated: {reason}."

# Planting years.
YEARS: Final = (
    "Plants of {years} met different seasons. Each year is on its own clock, from its own planting. A "
    "difference between years is one of weather, sites and preparations together: these records cannot take "
    "them apart."
)
YEAR: Final = "Of those planted in {year}, {estimate} {per} were alive at {when}, all preparations together (95 % CI {span})."
YEAR_BARE: Final = (
    "Of those planted in {year}, {estimate} {per} were alive at {when}; no interval can be given."
)
YEAR_NONE: Final = "Of those planted in {year}, none was visited near {when}."
YEARS_NOTE: Final = "Observed: not standardised for site. Limits by plot; a single plot gives none."

# The radius.
RADIUS_CHOSEN: Final = "The radius of a plot was not allocated at random."
RADIUS_CHOSEN_EVEN: Final = "The radius of a plot was not allocated at random, though the preparations were."
RADIUS_MAY: Final = (
    "Of two plots of one preparation at one site, the one with the wider patch may differ in other ways."
)
RADIUS_ABSENT: Final = "Not in this table, as no plot of it has a radius: {names}."
RADIUS_CAPTION: Final = (
    "Line: alive {per}, {shape}; band: 95 % CI. Strokes on the axis: the plots; above: the area of the patch. "
    "Only differences within a preparation and site count."
)
RADIUS_TEST: Final = "Test of the radius: p {p}."
RADIUS_TEST_LINE: Final = "Curve against straight line: p {p}."
RADIUS_NOTE: Final = "Survival {shape}, as drawn. Some of the radii looked at; radius.csv has them all."
SLOPES: Final = (
    "Does a wider weed-free patch go with the same under every preparation? Each preparation has a straight "
    "line of its own here, from plots of one preparation at one site set against each other. A ratio under 1 "
    "means that fewer died where the patch was wider."
)
RAIN_SLOPES: Final = (
    "Did rain of the first dry season go with the same under every preparation? This compares gauges and "
    "seasons, each one sample, so whatever else went with them is in it. A ratio under 1 means that fewer died "
    "where more rain fell."
)
SLOPES_NOTE: Final = "Ratios of hazards; limits by t on the degrees of freedom ({variance}), not adjusted."
FEW_DF: Final = "Fewer than {least} degrees of freedom: not reliable."
SLOPES_NO_TEST: Final = "Too few plots for a test of whether the preparations differ in this."
SLOPES_TEST: Final = "(F {f} on {df1} and {df2} degrees of freedom, p {p})"
SLOPES_FEW: Final = (
    "The test of whether the preparations differ in this is not reliable {test}. Plots of one preparation at "
    "one site are too few, with fewer than {least} degrees of freedom."
)
SLOPES_DIFFER: Final = (
    "The preparations differ in this {test}. Read the response over all of them as an average, and each by its "
    "own line below."
)
SLOPES_OPEN: Final = (
    "There is not enough evidence to say that the preparations differ in this {test}. Limits of each are wide "
    "where its plots are few, so this does not say that they are the same."
)

# The season.
CONTEXT: Final = "{seasons} at sites near each other {are} one sample of rain each. It is context: what kind of season these results come from."
CONTEXT_NOT: Final = "It does not say how the preparations would have done in another."
ONE_SEASON: Final = "One season"
NO_GAUGE: Final = "No rain gauge is named in the study file."
NO_RAIN_MODEL: Final = "Rain was not put in the model: that needs at least six gauge-seasons."
DECILES_CAPTION: Final = (
    "Decile 1: the lowest tenth of the years on record; 10: the highest. Shaded: 4 to 7, about average. For "
    "dry spells a high decile is a long one."
)
RAIN_AT_LEAST: Final = "at least"
DECILES_LEAST: Final = "Where days are not known, a decile rests on the least that fell."
DECILES_RECORD: Final = "Years of record: {years}, by measure."
DECILES_GAUGES: Final = "Gauges: {gauges}."
DECILE: Final = "{measure}, {gauge}: {value}, decile {decile}, {words}."
LATER_PLANTINGS: Final = (
    "Measures count from the first planting of each season at the gauge; rain.csv has them for {days} too."
)
RAIN_NOTE: Final = "Note {marks}: {note}"
CUMULATIVE: Final = "By {last} {rain} mm had fallen since {first}; the median of the record is {median} mm."
CUMULATIVE_CAPTION: Final = (
    "Line: this season. Broken grey line: median of the same days in {years} other years without a gap in "
    "them; grey band: eight years in ten."
)
NOT_READ: Final = "{days} of this season {have} no amount of {their} own: not read, or read with a later day."
LINE_ENDS: Final = "The line ends where too many days were not read."
SOIL_WATER: Final = (
    "Soil water is modelled, not measured: a daily balance of rain and evapotranspiration (FAO-56)."
)
ROOT_ZONE_WIDE: Final = "The root zone is {depth} m deep and as wide as the weed-free patch."
ROOT_ZONE: Final = (
    "The root zone is {depth} m deep and of {radius} m radius; weeds also draw water from it where the "
    "weed-free patch is smaller."
)
SHORT_AT: Final = (
    "Plants are called short of water once {part} % of the water that the soil holds for them is used."
)
SOIL_USE: Final = (
    "With water enough the patch uses {patch} and weeds {weeds} times what short green grass does."
)
SOIL_SOURCE: Final = "What a soil of each texture holds: {source}."
SOIL_CONTEXT: Final = "Like the rain it is context, and says nothing of the plants themselves."
WATER_SHORT: Final = "{when} such a patch was short of water on {days} of {of}, by this model."
WATER_LEAST: Final = "at least {least} and at most {most}"
WATER_SPELL: Final = "Its longest spell with water enough was {spell}."
AT_LEAST: Final = "at least {least}"
IN_DRY: Final = "In the dry season"
IN_SHOWN: Final = "In the days shown"
WATER_ABOVE: Final = "Above: rain of each day."
WATER_CROSSES: Final = "Above: rain of each day; crosses: days not read."
WATER_BELOW: Final = "Below: water left for plants, of {total} mm that the soil can hold for them{litres}."
WATER_LITRES: Final = " ({litres} litres in the root zone)"
WATER_BAR: Final = "Bar at the foot: days known to be short of water."
WATER_GREY: Final = "Grey: limits of the soil water where a day not known leaves it in doubt."
WATER_PLOTS: Final = "Stands for {plots} of this texture."

# Species and sites.
SPECIES_UNLIKE: Final = (
    "Species were not planted alike under every preparation or at every site. A species that did badly may "
    "have stood on the harder ground."
)
SPECIES_ALIKE: Final = "Species were planted in the same shares under every preparation and at every site."
SITES: Final = (
    "Sites are in alphabetical order and are not ranked: they differ in ground, weather and preparations, and a "
    "site is not a preparation."
)
GROUPS_NONE: Final = "No {word} was visited near the day asked for."
GROUPS_SPAN: Final = "From {low} alive {per} for {worst} to {high} for {best}."
GROUPS_ONE: Final = "{low} alive {per}{alike}."
GROUPS_CAPTION: Final = (
    "Dot: alive {per}, observed under all preparations together, not standardised. Line: 95 % CI, by plot."
)
GROUPS_FIRST: Final = "The first {most} of {all} are drawn."
WATCHED: Final = "Watched: seedlings planted whose state was known at some visit; alive per 100 is of these."
WATCHED_FOUND: Final = (
    "Watched: seedlings found alive at the first visit and seen again; alive per 100 is of these."
)
NOT_WATCHED: Final = "{seedlings} planted and never seen at a visit."
NOT_AMONG: Final = "{seedlings} planted and not among these."
PLANTED_UNKNOWN: Final = "How many were planted is not recorded by {by}."

# Methods.
OTHER_SITES: Final = (
    "What would have been seen at other sites or in another season: limits are for these sites and {seasons}."
)
BUNDLE: Final = (
    "Which part of a preparation a difference belongs to: a preparation is a bundle of works, and its parts "
    "were not tried apart."
)
PLANTED: Final = "alive, of all that were planted: the measure of this report unless it says otherwise"
PLANTED_NOT: Final = "alive, of all that were planted: not the measure of this report, which is of those found at the first visit"
MEANINGS: Final = (
    (
        "Survival of found",
        "alive, of alive and dead plants seen; too high, as dead plants disappear and are not counted",
    ),
    ("Stocking", "living stems on a hectare, infill counted apart"),
    (
        "95 % CI (confidence interval)",
        "the range that is compatible with these records. Were the season monitored again and again, 95 of 100 "
        "such ranges would hold the truth",
    ),
    (
        "Two kinds of interval",
        "survival of the whole planting: for these sites, with the shares of preparations that they have. "
        "Survival by site or year: by plot, as though its plots were drawn from many, so it is wider",
    ),
    (
        "Not enough evidence to say",
        "the interval holds both no difference and differences that matter, or the number of comparisons "
        "leaves the question open. It never means no difference",
    ),
    (
        "Missing",
        "position found, plant gone; counted as dead at that visit unless the study file says unknown",
    ),
    ("Not found", "position or tag not found; unknown from the last sighting on, never dead by default"),
    (
        "Infill",
        "a new plant with its own planting date; it never takes over the survival of the plant it replaced",
    ),
)
ALIVE_AGAIN: Final = (  # of the rules for tagged seedlings
    (
        "Called dead, and alive later",
        "alive throughout, as a plant that resprouts had not died; it died where the records say replanted",
    ),
    ("State in doubt", "neither alive nor dead at that visit; the visits before and after tell"),
)
FOUR_WORDS: Final = (
    "Each answer is graded: strong, moderate, weak or not answered. It starts as strong, and each check "
    "below that applies holds it back."
)
PLAIN_COUNTS: Final = (
    "Plain counts at the milestone, not averaged over sites and species as the main result is."
)
PROVENANCE: Final = (
    "The same records, study file, seed and version give the same report. A checksum identifies the exact "
    "content of a file."
)
ACCOUNT: Final = "{total} read: {parts}. Every one is accounted for in the table accounts.csv."
MODEL_NOTE: Final = "{model}. {check}"

# Each preparation against the usual practice.
NOT_RANDOM_SEEN: Final = (
    "These differences were seen between plots whose preparation was not allocated at random."
)
CONTRASTS_CAPTION: Final = (
    "Dot: difference in plants alive {per}. Line: 95 % CI, not adjusted for the number of comparisons. Shaded: "
    "differences under {smallest}, the smallest that matters."
)
CONTRASTS_HOLLOW: Final = "Hollow dot, broken line: between sites only."
CONTRASTS_NONE: Final = "No preparation could be compared with {base}."
CONTRASTS_LARGEST: Final = (
    "The largest difference is that of {method} from {against}: {size} {per} (95 % CI {span})."
)
CONTRASTS_NOTE: Final = (
    "{together}: for {pairs} at once (Bonferroni), so it allows for picking out what is clear. "
    "P values are adjusted for the {compared} of this table (Holm)."
)
P_MEANS: Final = (
    "A p value above 0.05 means that there is not enough evidence of a difference, not that there is none."
)
TRAITS_ALIKE: Final = (
    "No trait of the plots in the records lies half a standard deviation or more from that under {base}."
)
TRAITS_LARGEST: Final = "The largest difference: {largest}."
TRAITS: Final = (
    "Plots of the preparations differed where the table below has a row. There the mean of the trait, or the "
    "share of plots, is at least half a standard deviation from that under {base}."
)
TRAITS_RADIUS: Final = (
    "The weed-free radius is part of a preparation as it was done, so the differences above include it. With "
    "the radius held equal they stand in the appendix."
)
RANDOM_BLOCKS: Final = (
    "Preparations were allocated at random within blocks, so a difference within a block speaks of the "
    "preparations, within the limits given. It holds for these sites and {seasons}."
)
CHOSEN: Final = "Preparations were chosen for each place, not allocated at random."
CHOSEN_WHY: Final = "Reason given for the choice: “{reason}”."
NOT_RECORDED: Final = (
    "The records do not say how plots were given their preparation, so this report takes it that they were "
    "chosen for each place."
)
AS_SEEN: Final = (
    "The differences are what was seen at these sites in {seasons}. Ground, weather or crew that went with a "
    "preparation may account for part or all of a difference."
)
NO_USUAL: Final = (
    "No usual practice is named in the study file: compared with {against}, the preparation with most plots."
)
USUAL_ABSENT: Final = "The usual practice of the study file, {named}, is in no plot that can be compared. So {against}, with most plots, stands for it."

NOT_HELD: Final = "Not in this table: {names}. No site joins {them} to the others, so the model within sites leaves {them} out."

# Costs.
COST_NOTE: Final = (
    "Cost per plant planted, divided by the share alive at the milestone. Ranges are from the uncertainty of "
    "survival and the range of prices given."
)
COSTS_GIVEN: Final = "Costs are as given in the study file."
COST_SOURCE: Final = "Costs are inputs, not findings, in {currency} of {year}. Source: “{source}”."
COST_HOW: Final = (
    "Cost per living plant is what was spent on each plant planted, divided by the share alive at the milestone. "
    "Those alive then are called established. Infill is not in it."
)
COST_NOT_RANDOM: Final = "The survival in these costs is that seen where each preparation was used; it was not allocated at random."
NO_COSTS: Final = "The study file gives no costs"
PLANE_NONE: Final = "No difference in plants alive has an interval."
PLANE: Final = "{method} had {size} alive per 100 planted against {against} (95 % CI {span}), and cost {cost} {word} per 100 planted."
INCREMENTS_NOTE: Final = (
    "In order of cost. Plants alive: 95 % CI. Costs: range, of an extra plant by Fieller's limits and the prices. An "
    "extra plant has no cost where the interval of plants alive reaches none or fewer."
)
BREAK_EVEN: Final = (
    "A dearer preparation pays for itself when its extra cost is in proportion to its extra survival. Above its "
    "break-even cost a preparation is the dearer one per established plant, below it the cheaper one."
)
BREAK_EVEN_TITLE: Final = "Break-even cost per plant planted, against {usual}"
BREAK_EVEN_CAPTION: Final = (
    "Dot: cost per plant planted at which an established plant costs the same as under {usual}. Line: its range, from "
    "survival and prices. Cross: what the preparation costs."
)
BEST_VALUE: Final = (
    "The lowest cost per established plant is not always the best value. Where a living plant is worth much, a "
    "dearer preparation with more alive is ahead. That value is for the reader to decide."
)
BEST_VALUE_CAPTION: Final = (
    "Worth of the plants alive less what was paid, per plant planted. A line is thick where its preparation is "
    "ahead on the central estimates of cost and survival."
)
BEST_VALUE_NOTE: Final = (
    "From {draws} draws of survival and costs; the chances are good to {error} in 100. Each chance is of being "
    "ahead of all the others."
)
LINES_NOTE: Final = (
    "The lines of a preparation add up. One price that several preparations pay is drawn once for all."
)
LINES_YEARS: Final = "Prices of {years} years are added as they stand; none is brought to another year."
INFILL_NO_COST: Final = (
    "Infill was recorded, but the study file does not say what an infill plant costs ([infill]). So it is in "
    "none of these costs."
)
WITH_INFILL: Final = (
    "Total cost divided by total survivors: first plants at the milestone, infill plants on their own clock."
)
SEASON_COSTS_NONE: Final = "What a dry or a wet season would cost cannot be estimated from these records."
SEASON_COSTS: Final = (
    "What survival, and with it cost, went with rain like that of the driest and of the wettest first dry "
    "season in these records."
)
STEMS: Final = "The target is {target} living stems per hectare."
STEMS_FEWEST: Final = "With survival as at these sites, fewest plants are needed under {method}: {plants} per hectare (95 % CI {span})."
STEMS_NOTE: Final = (
    "The stems wanted over the share alive at the milestone. At the upper limit the target is reached also "
    "where survival is at its lower limit. Natural recruits and infill are not counted."
)

# The officer's sheet.
ROUNDED: Final = (
    "Plants to order are rounded up at each site, and all sites once: the rows can add up to more."
)
ORDER: Final = "{plants} plants would bring the plants {of} back to as many as were planted (95 % CI {span})."
ORDER_LEAST: Final = "It takes {plants} plants to bring the plants {of} back to as many as were planted, if every one lives (95 % CI {span})."
ORDER_DIED: Final = "By the curve of each site, about {dead} of {planted} had died by its last visit."
ORDER_STANDING: Final = "About {standing} infill plants are alive."
ORDER_EACH: Final = "Each order is what died less the infill alive, {share}."
ORDER_LIVES: Final = "over the share of infill that lives"
ORDER_ALL_LIVE: Final = "every infill plant taken to live"
IN_WHOLE: Final = "in the whole planting"
IN_PLOTS: Final = "in the plots"
AT_SITE: Final = "{site}: {note}"
PROBLEMS: Final = "{problems} in the records need a person; the first table lists them by kind."
NO_PROBLEM: Final = "No problem was found in the records."
REACH_ALIVE: Final = "First plants alive at {when} (95 % CI)"
REACH_NOTE: Final = (
    "Estimates; {share}. The interval holds both how many stand and how many infill plants live. Cost: the fewest "
    "plants at the lowest price to the most at the highest."
)
REACH_ALL: Final = "every infill plant taken to live, since it is not known how many do"
REACH_SHARE: Final = "{share} of 100 infill plants taken to live"
VISIT: Final = "{milestone}: visit {plots} between {first} and {last}."
EACH_PLOT: Final = "each plot"
SOME_PLOTS: Final = "{due} of {plots}"
LOOK_AGAIN: Final = "Look again for plants that were not found, at {sites}, before their tags fade."
NO_DAYS: Final = "Without planting days no visit can be set."
NO_VISIT: Final = "No milestone of the study file is still ahead, so no visit is due for one."
SEVERITY: Final = {"stop": "Correct first", "check": "Please look", "note": "Worth knowing"}
PROBLEMS_NOTE: Final = (
    "One row a kind of problem, with its first case. Correct first: not used until that is done. Please look: "
    "used, or excluded, by the rule stated. Every case, with file and row, is in problems.csv."
)

# What was planted; the patch; cautions.
PLOTS_RANDOM: Final = "Plots were placed at random."
PLOTS_CHOSEN: Final = "Plots were placed by choice, so they may not stand for the ground between them."
PLOTS_NOT_KNOWN: Final = "The study file does not say how plots were placed."
PREPARATIONS_NOTE: Final = (
    "A preparation is a bundle of works: no part of it can be credited alone unless the design crossed the "
    "parts. The radius is half the diameter of the weed-free patch round a seedling; the area is of that circle."
)
PREPARATIONS_ABSENT: Final = "In the study file but in no plot of these records: {names}."
LAYOUT_NOTE: Final = (
    "Two preparations can be compared within a site only where a row has a number under both."
)
LAYOUT_EVEN: Final = "Every preparation has {plots} at each of the {sites}."
VISITS_NOTE: Final = "Plots with a state or a count at the visit."
PATCH_NONE: Final = (
    "Neither weed cover nor the weed-free radius was recorded at the visits. So whether the patch lasted is not "
    "known."
)
PATCH: Final = (
    "Measured after planting, so part of what a preparation did: described here, and no answer is adjusted for "
    "it."
)
PATCH_CAPTION: Final = "Dot: mean of the plots at a visit. Upright line: the middle half of the plots."
PATCH_NOTE: Final = (
    "Mean of the plots and, in brackets, the middle half of them. Of the seedlings first planted, where it was "
    "recorded. A description, not a comparison. patch.csv has every visit with its records."
)
PATCH_SPAN: Final = (
    "{measure}, means of the preparations: {first} {unit} at the first visit, {last} {unit} at the last."
)
PATCH_ONE: Final = (
    "{measure}, means of the preparations: {first} {unit} at the one visit at which it was recorded."
)
CAUTION: Final = "{subject}: {short}."
CAUTIONS: Final = (
    "This report compares what was recorded. It is no instruction for field work; local rules, labels and "
    "permits come first."
)
CAUTIONS_TOUCHED: Final = "The preparations of this study touch: {subjects}."
