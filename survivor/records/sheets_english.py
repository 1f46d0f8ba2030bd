"""What is said of problems in sheets, cells, names and plots, and in the study file: part of the messages."""

from __future__ import annotations

from typing import Final

OF_SHEETS: Final[dict[str, tuple[str, str]]] = {
    # Sheets.
    "plot-without-visits": (
        "no visit of this plot can be used",
        "add its visits, or correct their labels; without them the plot is left out of every answer",
    ),
    "no-plot-with-visits": (
        "no visit of any plot can be used",
        "see what else is said of the visits: nothing can be analysed until some can be used",
    ),
    "sheet-not-read": (
        "the sheet {value} of {file} has the header of a sheet of plots or seedlings, and is not read",
        "name it in a table [[records.sheets]]; or, if it is a copy or a summary, write under [records]: "
        'not_read = ["{value}"]',
    ),
    "no-site": (
        "no column tells sites apart: all plots are taken as one site under the name of the study",
        'nothing, if it is one site; else name the column, or [records.sheets.every_row] site = "..."',
    ),
    # The study file.
    "planted-unmatched": (
        "{why}; these plants are left out of the averages",
        "spell the site as in the records, or leave the line if it has no plot",
    ),
    "planted-by-site": (
        "the records tell no species, so plants are taken by site: the species is left out here",
        "name the column of species in the study file, or take the species out of [[planted]]",
    ),
    "planted-of-no-plot": (
        "no plot of {site} holds {value}{known}; these plants are left out of the averages",
        "spell the species as in the records, or leave the line if no plot holds it",
    ),
    "planted-nowhere": (
        "no line matches the records, so averages go by the plants in the plots",
        "spell sites and species as in the records",
    ),
    "planted-missing": (
        "no number planted is given for {names}: these have plots and count for nothing in the averages",
        "add a [[planted]] table for each, or take all [[planted]] tables out",
    ),
    "gauge-site-unmatched": (
        "{why}; the gauge says nothing of it",
        "spell the site as in the records, or take it out",
    ),
    "site-without-gauge": (
        "no gauge stands for {sites}, so nothing is said of rain there",
        "add the site to the gauge that is nearest, if one is near enough",
    ),
    "dry-season-absent": (
        "a rain gauge is named and no dry season, so nothing is said of the rain of the dry season",
        "when does it start and end? Write in the study file: [dry_season], and under it, month and day, "
        'such as start = "12-01" and end = "03-31"',
    ),
    "stratum-absent": (
        "{why} {value}, so preparations are compared within each site instead",
        "name the column in the study file: [records.sheets.columns] or [records.plots.columns] {value}",
    ),
    "stratum-unknown": (
        "{why} {value}, so preparations are compared within each site instead",
        "name a column that the records have, such as {others}",
    ),
    "method-without-plots": (
        "no plot that can be used holds this preparation; the records hold: {present}",
        "nothing, if it was not used; else add its spelling in the sheets to its list: also",
    ),
    "usual-practice-absent": (
        "no plot that can be used holds this preparation, so all are compared with {first}; the records "
        "hold: {present}",
        'if it is meant, write usual_practice = "{close}"',
    ),
    "usual-practice-unknown": (
        "no plot that can be used holds this preparation, so all are compared with {first}; the records "
        "hold: {present}",
        "name one of these",
    ),
    "usual-practice-unnamed": (
        "the study file does not name the usual practice, so all preparations are compared with “{first}”, "
        "the first among those with most plots",
        'write under [design]: usual_practice = "..."; the records hold: {present}',
    ),
    "method-without-cost": (
        "no cost is given for {bare}, so nothing is said of what a surviving plant cost there",
        "add a line to each: cost = {{ per_plant = ..., low = ..., high = ... }}",
    ),
    "currency-absent": (
        "costs are given and no currency, so amounts are told without one",
        'write in the study file: [costs], and under it currency = "dollars", the year of the prices and '
        "their source",
    ),
    "target-absent": (
        "the season was monitored to check a target, and no target is given",
        "add [target] with survival_per_100, such as 70, and the name of its milestone",
    ),
    "milestone-not-reached": (
        "the last visit is {last} days after planting, before the window of {milestone} opens on day {opens}",
        "name an earlier milestone as headline, or wait for the visit",
    ),
    "later-milestone": (
        "the last visit is {last} days after planting, before the window of {milestone} opens on day {opens}",
        "nothing, if its visit is still to come: the report says that it is not reached",
    ),
    "column-word": (
        "this is no word of survivor's, so the column is carried along as {value}; did you mean {like}?",
        "if so, write {like} left of the = sign",
    ),
    "rule-without-use": (
        "a rule for {other}, and the records are {own}: it changes nothing",
        "nothing, or take the line out of the study file; if the kind is wrong, correct [records] kind",
    ),
    # Cells.
    "blank-untold": (
        "no cell says {meant}, and {blanks:,} are blank: a blank may mean {meant}; none is used",
        'if so, write under [rules]: blank = "{meant}"; if nobody looked, fill in: not visited',
    ),
    "impossible-weed_cover": (
        "a weed cover is 0 to 100 % of the ground; the measure was left blank",
        "give the share of the ground under weeds, in %, or leave the cell blank",
    ),
    "impossible-height_m": (
        "a height is 0 to 150 m; the measure was left blank",
        "give the height in metres, or leave the cell blank where none was measured",
    ),
    "impossible-height_cm": (
        "a height is 0 to 15,000 cm; the measure was left blank",
        "give the height in cm, or leave the cell blank where none was measured",
    ),
    "height-without-plant": (
        "a height stands beside the state {state}; the state is used",
        "correct the state if the plant lives, else take the height out or write it into a remark",
    ),
    "total-row": ("this row sums up others and was left out", "nothing; or remove it from the sheet"),
    "unused-line": (
        "nothing but the tag stands here: it was taken as a line of the form that was not used, and left out",
        "nothing; or, if a seedling has this tag, write its plot",
    ),
    "note-row": (
        "this row holds a remark and no record, and was left out",
        "nothing; or remove it from the sheet",
    ),
    "height-unit": (
        "this height is {height}, and {beside}",
        "if it is {meant}, write {slip} ({unit}); it is used as it stands until then",
    ),
    "height-odd": (
        "this height is {height}, and {beside}",
        "correct it if it is wrong; if the other heights of its column are {meant}, write them in {other}",
    ),
    "ambiguous-date": (
        "this date can be read as day and month or as month and day",
        "say in the study file which comes first: under the file's table [[records.sheets]], or "
        '[records.plots], write date_order = "day-first" or date_order = "month-first"',
    ),
    "date-order": (
        "at least half of the dates cannot be read in the order that the study file gives, and the other "
        "order reads them; none of them is used until that is corrected",
        'write in the study file, in the table of this file: date_order = "{order}"',
    ),
    "order-of-sheet": (
        "many of these dates lie before planting or after the records were closed in the order of day and "
        "month that the study file gives, and none does in the other, {other}; none of them is used",
        'change date_order in the study file, in the table of this file, to "{other}"',
    ),
    "order-of-dates": (
        "in the order of day and month that the study file gives this lies before planting or after the "
        "records were closed, and in the other ({other}) it does not",
        "look it up; if day and month are exchanged, write the day as year-month-day",
    ),
    "order-of-planting": (
        "the visit lies before planting, unless day and month of the planting date are exchanged",
        'look up the planting date; if so, change date_order in the table of its file to "{other}", or write '
        "the planting date as year-month-day",
    ),
    "state-number": (
        "other words, or numbers, stand for states too, and this is read as {read}",
        'nothing, if it is right; else correct it, or write under [records.sheets.states]: "{value}" = "..."',
    ),
    "how-read": ("{how}", "nothing, if that is right"),
    "assumed": (
        "{assumed}",
        "if it is right, take that line out of assumed in the study file, in the table of the sheet; else "
        "correct what was made of it there",
    ),
    "unreadable-number": (
        "this is not a number; the measure was left blank",
        "give a number, with a point for the decimals",
    ),
    "blank-date": (
        "the visit has no date",
        "write the day of the visit into every row, or into the study file for a wide sheet",
    ),
    "unreadable-date": (
        "this is not a day",
        "write one day as year-month-day; for work over several days, the last of them",
    ),
    "serial-date": (
        "a spreadsheet's day number was read as a day",
        "nothing, if the days in the visits are right; else format the column as dates",
    ),
    "percentage": (
        "a percentage stands where a number of seedlings is needed",
        "give the number of seedlings; a percentage alone cannot be analysed",
    ),
    "unreadable-count": (
        "this is not a number of seedlings",
        "give a whole number, or leave the cell blank where nobody counted",
    ),
    "negative-count": (
        "a number of seedlings cannot be negative",
        "give a number of 0 or more, or leave the cell blank where nobody counted",
    ),
    "fractional-count": (
        "a number of seedlings cannot be broken",
        "give a whole number; a share or a mean cannot be analysed",
    ),
    "unknown-cohort": ("this word for first planting or infill is not known", "write planting or infill"),
    # Names.
    "small-plot": (
        "this plot has {number} of the plants, where the middle plot has {middle:g}",
        "nothing, if it is so; else correct the label of the plot, or a spelling in it",
    ),
    "site-spelling": (
        "{site} ({of_own}) looks like {like} ({of_like}), and is taken as another site",
        "if it is the same, write {like} in the sheet; else nothing",
    ),
    "method-spelling": (
        "{method} ({of_own}) looks like {like} ({of_like}), and is taken as another method",
        "if it is the same, correct the sheet; or give every preparation a table [[methods]] in the study "
        'file, and under the one with name = "{like}" write: also = ["{method}"]',
    ),
    "one-plot-method": (
        "{method} has one plot only, so how much plots differ under it cannot be determined",
        "nothing, if the name is right; else correct it in the sheet",
    ),
    "one-plot-site": (
        "{site} has one plot only, so preparations cannot be compared within it",
        "nothing, if the name is right; else correct it in the sheet",
    ),
    "species-spelling": (
        "this species may be {kind}{others}",
        'if so, write in the study file under [records.sheets.species]: "{species}" = "{first}"{unsure}',
    ),
    "no-name": ("{value} is {kind}", "if that is its name, nothing; else write its name in the sheet"),
    # Plots.
    "blank-key": (
        "the {word} is blank, so nobody can tell what the record is of",
        "write the {word} into every row",
    ),
    "odd-preparation": (
        "this row tells {value}, the other rows of the {of} {most}, which is used{asked}",
        "write the preparation of the {of} here too, or the right {of} label{more}",
    ),
    "unknown-method": ("this preparation is none of the [[methods]] of the study file", "{proposal}"),
    "preparations-of-plot": (
        "the rows of this plot tell different preparations, {named}; none of them is used",
        "write the same preparation into every row of the plot; where parts of it had their own, give each "
        "part its own plot label; where every plant had its own, write in the study file under [rules]: "
        'preparation_of = "plant"{spelt}',
    ),
    "preparations-of-plant": (
        "the rows of this plant tell different preparations, {named}; none of them is used",
        "write the same preparation into every row of the plant{spelt}",
    ),
    "method-differs": (
        "the plot sheet gives another preparation for this plot, {listed}",
        "correct one of them; that of the plot sheet is used",
    ),
    "several-plantings": (
        "the planting days told of this plot lie {apart} days apart, so its days cannot be counted from one "
        "of them; none of its records is used",
        "if the plot was planted in several seasons, give each planting its own plot label, such as 1-2022, "
        "or call the later plants infill (a column cohort); else correct the date",
    ),
    "impossible-radius": (
        "a weed-free radius has to be between 0 and {widest:g} metres; it was left blank",
        "measure from the stem to the edge of the patch, in metres",
    ),
    "radius-in-centimetres": (
        "this seems to be in centimetres where metres are needed; it was left blank",
        "if so, name the column {bare}_cm, or correct the cell",
    ),
    "radius-in-metres": (
        "this seems to be in metres where centimetres are needed; it was left blank",
        "if all such are, write under [rules]: metres_in_centimetres = true; else correct the cell",
    ),
    "planted-unusual": (
        "this is many times the usual number planted, {usual:g}",
        "nothing, if it is right; else correct it: survival is counted of it",
    ),
    "planted-beyond": (
        "this is more than a plot holds ({most:,})",
        "nothing, if it is right; else correct it: survival is counted of it",
    ),
    "first-count-low": (
        "{alive} of {number} planted are alive at the first count, where the others had lost {usual:.0f} of "
        "100",
        "nothing, if it is right; else correct the number planted, or the count",
    ),
    "trait-spelling": (
        "this looks like {like} ({number}), and is taken as another",
        "if another is meant, write that in the sheet; else nothing",
    ),
    "trait-alone": (
        "no other plot has this word, and the others share theirs",
        "if another is meant, write that in the sheet; else nothing",
    ),
    "plot-differs": (
        "the plot stands in the plot sheet more than once, with different facts{at}; none of them is used",
        "keep one row and one method a plot (a row a species where numbers planted are told by species)",
    ),
    "fact-differs": (
        "the rows of one plot tell its {word} in different ways; it was left blank",
        "write the same into every row of the plot",
    ),
    "spelling-of-plot-sheet": (
        "read as {read} of the plot sheet, which differs in case or spaces only",
        "nothing, if they are the same; else give them different names",
    ),
    "unknown-plot": ("{why}", "add it to the plot sheet, or mend its label here{near}"),
    "spelling": (
        "read as {read}, which differs in case, spaces or signs only",
        "nothing, if they are the same; else give them different names",
    ),
    "trait-blank": (
        "blank, where nearly all other plots have a value",
        "fill it in, or leave it blank if nobody knows",
    ),
    "no-method": (
        "no preparation is given for the plot",
        "write what was done to the ground, also where that was nothing",
    ),
    "diameter-halved": (
        "the column tells a diameter; half of it is the radius",
        "nothing, if it is a diameter; else name the column weed_free_radius_m in the study file",
    ),
    "radius-like-diameter": (
        "the header speaks of a diameter or width, the study file of a radius: four times the area",
        "if it is a diameter, name the column weed_free_diameter_m in the study file",
    ),
    "radius-twice-others": (
        "the radii of this site are about twice those of the same methods elsewhere: diameters?",
        "ask who measured it; halve it if it is a diameter",
    ),
    "several-planting-days": (
        "the plot was planted on several days; days count from the last",
        "nothing, if that is right",
    ),
    "planting-far": (
        "this is years from the planting days of the other plots, or from the first visit",
        "nothing, if it is right; else correct the year",
    ),
    "repeated-plot": ("the same row stands in the plot sheet a second time", "remove one of them"),
    "plot-excluded": ("its plot is excluded", "correct the plot sheet"),
}
