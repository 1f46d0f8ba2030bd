"""What is said of every problem in the records, and what to do about it, as templates.

What stands in the places is made beside the check (`survivor.records.problems.find`). A message goes by
the code of its problem; where one code has several, the others have names of their own.
"""

from __future__ import annotations

from typing import Final

from survivor.records.sheets_english import OF_SHEETS


class OfTag(str):
    """What is said of a seedling, whose tag is named behind it."""

    __slots__ = ()


MESSAGES: Final[dict[str, tuple[str, str]]] = {
    **OF_SHEETS,
    # Visits.
    "plot-of-one-visit": (
        "this plot has records of one day only, where others have {usual:g}: is its label misspelt?",
        "if another plot is meant, correct the label; else nothing",
    ),
    "visit-lacking": (
        "the plot has no row of a visit that most plots of its site have: visit {value}",
        "nothing, if it was not visited then; else add it, or correct the label of its plot or visit",
    ),
    "off-its-round": (
        "most plots beside this one have visit {visit} within a week of {usual}",
        "nothing, if the day is right; else correct it",
    ),
    "count-falls": (
        "{alive} are alive of the {before} of the count before, where plots beside it lost {share} of 100",
        "nothing, if it is right; else correct the count",
    ),
    "cause-spelling": (
        "this looks like {like} ({number}), and is taken as another cause",
        "if it is the same, write that in the sheet; else nothing",
    ),
    "height-unlike": (
        "{height_cm} cm, where the same plant was {near} cm at the visit beside it",
        "nothing, if it is right (browsed, regrown); else correct the height",
    ),
    "height-above-others": (
        "{height_cm} cm, where the tallest of the others at its visit was {tallest} cm",
        "nothing, if it is right (browsed, regrown); else correct the height",
    ),
    "second-observer": (
        "taken again at this visit by another observer: {observer} wrote {wrote}, {first} {first_wrote}, "
        "which is used",
        "nothing; the second look is not in the answer",
    ),
    "observers-compared": (
        "{agreement}",
        "nothing where they agree well enough for what is asked; else settle how the state is told in the "
        "field",
    ),
    "planting-odd": (
        "the plot has a visit before its planting date, {planted_first}; other plots of this site: {usual}. "
        "Days since planting cannot be determined, so none of its records is used",
        "correct the planting date of the plot, or the date of the visit",
    ),
    "before-planting": (
        "the visit is dated before planting on {planted_first}",
        "correct the date of the visit or of planting",
    ),
    "in-the-future": (
        "the visit is dated after the records were closed ({closed})",
        "correct the date, or as_of in the study file",
    ),
    "duplicate-record": (
        "the {word} stands at one visit more than once, and the records contradict each other ({first}, "
        "...); none of them is used",
        "correct the {word} or the visit of one of them, or remove it",
    ),
    "repeated-record": (
        "the {word} stands at one visit a second time, with the same record",
        "remove one of them, or correct the {word} if it is another seedling or plot",
    ),
    "planting-date-differs": (
        "the plot sheet gives another planting date, {listed}",
        "correct one of them; that of the plot sheet is used",
    ),
    "visit-spread": (
        "two records of one visit to the plot are more than two months apart",
        "correct the date, or give each visit its own name",
    ),
    "out-of-order": (
        "the date does not fit the order of the visits: another of the plot is on the wrong side of it",
        "correct the date or the name of the visit",
    ),
    "blank-not-visited": (
        "no state at this visit: the time between the visits round it is taken together",
        "nothing, if nobody looked; a blank is never dead",
    ),
    "not-counted": (
        "no count at this visit: the time between the visits round it is taken together",
        "nothing, if nobody counted; a blank is never zero",
    ),
    "infill-no-date": (
        "infill has its own clock, and no planting date is given for it",
        "write the day on which the infill was planted",
    ),
    # Seedlings.
    "tag-of-one-visit": (
        "no other visit of this plot has the tag, and {missing}, which stands at its other visits, is "
        "missing at this one",
        "look it up: if it is {missing}, write that tag here; if it is infill, call it infill; else nothing, "
        "it is taken as another seedling",
    ),
    "tags-missing": (
        "no other visit of this plot has the tag, and {missing}, which stand at its other visits, are "
        "missing at this one",
        "look it up: if it is one of {missing}, write that tag here; if it is infill, call it infill; else "
        "nothing, it is taken as another seedling",
    ),
    "tag-in-two-plots": (
        "nearly every other tag stands in one plot, and this one in another too: {plots}; they are taken as "
        "two seedlings",
        "look it up: correct the tag or the plot; if they are two seedlings, nothing",
    ),
    "tag-spelling": (
        "this tag and {main} of the same plot are probably one seedling, written in two ways; they are taken "
        "as two",
        "correct the sheet (format the column as text); or, where all such tags are one, write in the study "
        'file under [rules]: tags_alike = "join"',
    ),
    "replanted-tag": (
        "after it was replanted this tag is of a new plant: infill, put in on {later} (tag {tag})",
        "nothing, if that is right",
    ),
    "replant-row": (
        "this tag begins after the first plant of its number: taken as infill, put in by the day on which it "
        "was first seen, {first_seen}; it is no first plant (tag {tag})",
        "nothing, if it is a replant; else give it a tag of its own",
    ),
    "replant-unclear": (
        "a word of this tag speaks of replanting, and it is alive all the same: the old plant or a new one "
        "under the old tag? it is not used until that is said (tag {tag})",
        "if it is a new plant, write replanted as the state of the visit at which it was put in; else take "
        "the word out",
    ),
    "more-tags-than-planted": (
        "the plot has more tags than seedlings planted: {value} planted",
        "correct the number planted, look for a tag written in two ways, or call infill infill",
    ),
    "delayed-entry": (
        "{seen}; as the study file says, each is followed from that day on, so survival is per 100 first "
        "seen and not per 100 planted",
        "nothing, if they were tagged then",
    ),
    "doubtful": (
        OfTag("in doubt here: counted neither as alive nor as dead; what other visits tell stands"),
        "look again at the next visit; or write alive or dead here once it is known",
    ),
    "reshoot": (
        OfTag("called dead here and alive later: alive throughout"),
        "nothing, if it reshot; else look for a tag read wrongly",
    ),
    "reshoot-late": (
        OfTag("called dead here and at another visit, alive later: taken as alive throughout"),
        "nothing, if it reshot; if another plant lives there now, write replanted here, and the first one "
        "died at this visit; if the later alive is a slip, write dead there",
    ),
    "alive-after-missing": (
        OfTag("called missing here and alive later: alive throughout"),
        "look for a tag read wrongly, or infill under the old tag",
    ),
    "missing-dead": (
        "missing, place found and plant gone: read as dead at the visit first missing",
        'nothing, if that is right; else say [rules] missing = "unknown"',
    ),
    "not-visited": (
        "no state at this visit: the time between the visits round it is taken together",
        "nothing, if nobody looked",
    ),
    "plot-all-blank": (
        "every seedling of the plot is blank at this visit, and blanks are read as dead",
        "if nobody visited the plot, write not visited",
    ),
    "not-found": (
        "tag or position not found at this visit: the state is unknown",
        "nothing, if it was looked for",
    ),
    "dead-at-planting": (
        OfTag("dead on the day of planting, so it was never at risk"),
        "correct the state or the dates",
    ),
    "two-species-one-tag": (
        "one tag is recorded with two species; the first is used",
        "correct the species, or the tag if there are two seedlings",
    ),
    # Counts.
    "renamed": ("read as “{read}”, as the study file says", "nothing, if that is right"),
    "planting-in-future": (
        "the planting date is after the records were closed ({closed})",
        "correct the date, or as_of in the study file",
    ),
    "radius-read-in-metres": (
        "this seems to be in metres where centimetres are needed; it is read so",
        "nothing, as the study file says so",
    ),
    "tag-joined": ("taken as tag {main}, as the study file allows", "nothing, if they are one seedling"),
    "share-of-no-number": (
        "{value} % of the {there} planted is no whole number of plants",
        "correct the share or the number planted",
    ),
    "more-dead-than-planted": ("{value} {how}, of the {there} planted, cannot be", "correct one of them"),
    "living-reckoned": (
        "the living were reckoned from the number planted and what the sheet tells: {how}",
        "nothing, if that is right; else correct counted in the table of the sheet",
    ),
    "no-planted-for-living": (
        "the sheet tells the dead, or a share of the planted, and not how many were planted here",
        "give the number planted",
    ),
    "count-mended": (
        "a later count is higher: raised to {at_least}",
        "nothing, if no infill went in and no natural recruit was counted",
    ),
    "more-alive-than-planted": (
        "more are alive than the {number} planted",
        "correct one of the numbers; count infill and natural recruits apart",
    ),
    "fewer-at-planting": (
        "on the planting day fewer are alive than the {number} planted",
        "correct one of the numbers, or the date of the count",
    ),
    "count-rises": (
        "more than the {earlier} of the visit before, and no infill is recorded; both counts are excluded",
        "look which count is wrong; record infill as infill; or have it corrected: [rules] count_rises = "
        '"mend"',
    ),
    "count-below-next": (
        "the next count, {later}, is higher, and no infill is recorded; both counts are excluded",
        "look which count is wrong; record infill as infill; or have it corrected: [rules] count_rises = "
        '"mend"',
    ),
    "one-count": (
        "one count only and no number planted, so there is nothing to compare with",
        "give the number planted; else it counts from the next visit on",
    ),
    "none-alive-counted": (
        "nobody was alive at any count and no number planted is given, so nobody is seen to die",
        "give the number planted; else these plants are in no number",
    ),
    "site-blank": (
        "no seedling of {site} has a state at this visit, and those of other sites have",
        "nothing, if nobody was there; if colours tell the states, write them as words",
    ),
    "tagged-not-told": (
        "{seen}; nothing says whether they were tagged at planting, so each is followed from that day on and "
        "no number is per 100 planted",
        'write under [rules]: tagged = "at planting" if the tags went in with the plants; else tagged = "at '
        'first sighting"',
    ),
    "unknown-state": (
        "this word for the state of a seedling is not known{asked}",
        '{meant}say in the study file what it means, under [records.sheets.states]: "{value}" = "..." with '
        "one of alive, dead, missing, not found, not visited, replanted, doubtful",
    ),
    "no-planting-date": (
        "no planting date that can be read is given for the plot, so its days cannot be counted",
        "write the date, or say [rules] planted_date where all plots share one, or under "
        "[rules.planted_by_site] the day of each site",
    ),
    "unconfirmed-death": (
        OfTag("dead at the last visit only: counted as dead, and unconfirmed, since it may reshoot"),
        "look again at the next visit",
    ),
    "skipped-visit": (
        "the state is not known at the visit before: the time since the last sighting is taken together",
        "nothing; the wider the stretch, the less it tells",
    ),
    "missing-unknown": (
        "missing (position found, plant gone), read as unknown",
        'nothing, if that is right; else say [rules] missing = "dead"',
    ),
    "blank-dead": (
        "a blank that no later sighting follows, read as dead as the study file says",
        'nothing, if that is right; else say [rules] blank = "not visited"',
    ),
    "not-found-at-end": (
        OfTag("not found at the end: followed to its last sighting only"),
        "look for it at the next visit; the answer is bounded by all such dead and all alive",
    ),
    "lost-from-sight": (
        OfTag("no state after this visit, though the plot was visited again: followed to here only"),
        "look for it at the next visit; the answer is bounded by all such dead and all alive",
    ),
    "never-seen-alive": (
        OfTag("never seen alive, and not known to be tagged at planting"),
        'if the tags went in with the plants, say [rules] tagged = "at planting"',
    ),
    "seen-once": (
        "no known state after the first sighting, so there is nothing to compare with",
        "nothing; it counts from the next visit on",
    ),
    "infill-mixed": (
        "infill went in before this count and is counted with the first planting: who died is not told",
        "count infill in rows of its own (cohort infill, with its planting date)",
    ),
    "planted-differs": (
        "the rows of one plot tell different numbers planted",
        "write the same number into every row",
    ),
    "no-planted-number": (
        "no number planted is told: followed from the first count on, what died before is not seen",
        "give the number planted; without it only survival of found can be told, which is too high",
    ),
    "nothing-planted": ("no seedling was planted here", "correct the number planted, or remove the row"),
    "measured-alive": (
        "a height and no state: taken as alive, as the study file says",
        "nothing, if that is right",
    ),
    "blank-alive": (
        "no state, and not found dead before: taken as alive, as the study file says",
        "nothing, if that is right",
    ),
    # Works.
    "work-in-future": (
        "the work is dated after the records were closed ({closed})",
        "correct the date, or as_of in the study file",
    ),
    "impossible-length": (
        "a {length} lies between 0 and {most:g} cm; it was left blank",
        "write it in centimetres, or name the column depth_m or width_m in the study file",
    ),
    "work-after-planting": (
        "the {work} is dated after planting, before which it belongs; it counts as done late",
        "correct the date; if weeds were controlled round plants that stood already, write follow-up weed "
        "control",
    ),
    "work-not-in-diary": (
        "no row of the diary speaks of the {value} that preparations hold; it is taken as done as planned, "
        "on a day that nobody knows",
        "add it to the diary, or take it out of the works of [[methods]]",
    ),
    "plot-without-works": (
        "no diary row is of this plot, though its preparation, {method}, has works; no answer on works "
        "counts it",
        "add its works to the diary",
    ),
    "work-not-done": (
        "{work}, of the preparation {method}: planned and not done",
        "add its row to the diary if it was done",
    ),
    "work-at-other-time": (
        "{work}, of the preparation {method}: done at another time than on most of its plots{days}",
        "correct the date, or leave it if that is right",
    ),
    "work-not-planned": (
        "{work}, of the preparation {method}: done and not planned",
        "nothing, if it was done; else correct the row, or the works of its preparation",
    ),
    "work-nowhere": (
        "{why}",
        "mend its site, block, plot or preparation here, or add the plot to the records{near}",
    ),
    "work-spelling": (
        "the work is carried along as it is written; did you mean {like}?",
        'if so, write in the study file under [works.words]: "{work}" = "{like}"',
    ),
    "work-own-word": (
        "survivor has no name of its own for this work; it is carried along as it is written",
        "nothing; or, if it is one of {known}, say so under [works.words] in the study file",
    ),
    "repeated-work": (
        "another row tells the same work of the same plots on the same day",
        "remove one of them; if it was a second pass, write its day or its number",
    ),
    "work-undated": (
        "the work has no day; it counts as done, on a day that nobody knows",
        "write the day, if anybody knows it",
    ),
    "work-before-planting": (
        "follow-up weed control is dated before planting; it is not used",
        "correct the date; if it was done before planting, write knockdown or another work",
    ),
    "work-long-before": (
        "the work is dated more than three years before planting",
        "correct the year, or leave it if that is right",
    ),
    "work-without-place": (
        "site, block, plot and preparation are blank, so nobody can tell where it was done",
        "write the plot; or the preparation or site of which it was all plots",
    ),
    "work-unnamed": (
        "the work is blank, so nobody can tell what was done",
        "write the work, such as knockdown or rip, or remove the row",
    ),
    "soil-state-unknown": (
        "this word for the soil is not known; it was left blank",
        "write dry, moist or wet",
    ),
}
