"""Every sentence on a programme, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

from survivor.pooling.result import NEW_NOTE

# Why a study is not used, or not yet.
CHANGED: Final = "its files were changed while they were read, three times"
OUR_FAULT: Final = "survivor has a fault with these records"
NO_STUDY_FILE: Final = "its study file cannot be read"
NO_RECORDS: Final = "its records cannot be used"
NO_ANALYSIS: Final = "it could not be analysed"
NO_MILESTONE: Final = "it has no milestone near day {day}"
NOT_REACHED: Final = "the last visit was on day {day}, before the milestone"
NOT_JUDGED: Final = "not judged"
FOUND: Final = "survival is of plants found at the first visit, so it is not counted among those planted"
COPY: Final = "it holds the same plants as {other}"
ANOTHER: Final = "another study"
LOST: Final = "its task was lost with its workers, several times"
NUMBERED: Final = "Study {number}"
NOBODY: Final = "not named"
NO_STUDIES: Final = "no study below this folder"
NONE_USED: Final = "none of the {studies} can be used"

# The page.
TITLE: Final = "{studies} together: what lives"
TITLE_ONE: Final = "One study alone: what lives"
ABOUT: Final = (
    "{studies} by {organisations}, planted {years}; {seedlings} seedlings watched in {plots} at {sites}."
)
ABOUT_WHEN: Final = "Survival is given at {milestone}."
ANSWER: Final = "What the programme says"

LIVE_ALL: Final = (
    "{size} of 100 plants were alive at {milestone} (95 % CI {span}; {alive} of {known} whose fate is known)."
)
LIVE_LEAST: Final = "It was {size} under {method}, the usual practice (95 % CI {span})."
KEEPS: Final = "{method} kept {size} more alive per 100 planted than {against} (95 % CI {span}; {studies})."
HARMS: Final = "{method} kept {size} fewer alive per 100 planted than {against} (95 % CI {span}; {studies})."
NEW: Final = "A new study may show {span}."
TARGETS: Final = (
    "Of {judged}, {met} met and {missed} missed; left open, or depending on missing plants: {unclear}."
)
TARGETS_SHARE: Final = "That is {size} met of every 100 (95 % CI {span})."
FEW_TARGETS: Final = "too few for a share"
NO_TARGETS: Final = "No study has a target that can be judged."
UNKNOWN: Final = "For {methods} there is not enough evidence to say which way the difference goes."
UNUSED: Final = "{unused} of {studies} could not be used."
WAITING: Final = "{waiting} of {studies} had no answer at {milestone} yet."
COSTS: Final = "Costs are not compared here: see each study's own report."
NOTHING_POOLED: Final = "No two studies compare the same preparations, so nothing is pooled."

DIFFERENCES: Final = "Differences from the usual practice, over all studies"
DIFFERENCES_CLEAR: Final = (
    "Clear differences from the usual practice, every comparison allowed for: {clear} of {preparations}."
)
DIFFERENCES_OPEN: Final = (
    "None of {preparations} differs clearly from the usual practice, every comparison allowed for."
)
DIFFERENCES_CAPTION: Final = (
    "Filled dot: mean over studies, with its 95 % CI. Open dot and dashed line: what a new study may show."
)
DIFFERENCES_HOW: Final = "Each study counts as one. Preparations are compared within sites of a study, and the studies are then pooled."

LIVES: Final = "What lives"
LIVES_TITLE: Final = "Alive per 100, observed"
LIVES_FINDING: Final = "By preparation, {least} to {most} of 100 were alive."
LIVES_ONE: Final = "{size} of 100 were alive under {method} (95 % CI {span})."
LIVES_CAPTION: Final = "Dot: alive per 100 plants whose fate is known, observed. Line: 95 % CI, by study; by plot where there is one study. Right: number of studies."
LIVES_NOTE: Final = "Observed: nothing is adjusted. Which preparation keeps more alive is for the differences above, made within sites."

WATCHED: Final = "What was planted and monitored, where and when"
WATCHED_TITLE: Final = "Seedlings watched, by organisation and year of planting"
WATCHED_FINDING: Final = "{organisation} watched most seedlings: {seedlings} in {studies}."
WATCHED_ONE: Final = "{organisation} watched {seedlings} seedlings in {studies}."
WATCHED_CAPTION: Final = (
    "Bars: seedlings watched, by year of planting, one panel an organisation. Numbers on top: studies."
)

STUDIES: Final = "Study by study"
STUDIES_TITLE: Final = "Every study's difference from its usual practice"
STUDIES_FINDING: Final = "{apart} of {units} differences lie apart from those of the other studies."
STUDIES_ONE: Final = "1 of {units} differences lies apart from those of the other studies."
STUDIES_CAPTION: Final = "Each stroke is one study with its 95 % CI, in order of size. Band: what a new study may show. Named: studies that stand apart."
APART: Final = "{study} stands apart on {method}: {size} alive per 100 planted, where the others lead one to expect {expected}."
APART_HOW: Final = "A study stands apart where chance and the usual spread between studies seldom leave it so far (1 in 20 for all comparisons together)."
NO_APART: Final = "No study stands apart from the others."

PROMISED: Final = "Targets met, missed or unclear"
PROMISED_TITLE: Final = "Verdicts on targets, and where they were met"
PROMISED_FINDING: Final = "Targets met: {met} of {judged}."
PROMISED_CAPTION: Final = "Dot: per 100 targets judged, with 95 % CI; none where fewer than {few} were judged. Right: number of targets."

LEFT: Final = "Studies that could not be used, and why"
LEFT_NONE: Final = "Every study could be used."
LEFT_WAITING: Final = "Not yet: {reason}"
LEFT_MEND: Final = "Whoever keeps a study finds what to correct with survivor check, in its folder."

NEXT: Final = "What the next season should try"
NEXT_MOST: Final = "One more study of {method} against {against} is worth most: on average {worth} more plants alive per 100 planted."
NEXT_THEN: Final = "After it comes {method} against {against}: {worth} per 100."
NEXT_CHANCE: Final = "It has {chance} chances in 100 to change which of the two to use."
NEXT_NOTHING: Final = (
    "One more study would hardly change which preparation to use: for each, the chance is under 1 in 100."
)
NEXT_GAP: Final = "Hardly tried: {method} on {ground}, in {studies}."
NEXT_NO_GAP: Final = "Every preparation was tried on every kind of ground in three studies or more."

METHODS: Final = "Methods and provenance"
HOW: Final = (
    "Every study is read, checked and analysed by itself, as its own report is. Which day counts as {milestone} is set by each study.",
    "Shares of targets have Wilson intervals. Names of places and landholders are shown only where each study allows it.",
)
HOW_POOLED: Final = (
    "Differences are pooled by restricted maximum likelihood; limits go by study (CR2), and those of a new study allow for how studies differ.",
    "A difference is clear where p, adjusted for all comparisons (Holm), is under 0.05.",
    NEW_NOTE.format(unit="study", units="studies"),
    "The smallest difference that matters is {smallest} per 100 planted, as most studies have it.",
)
PROVENANCE: Final = "survivor {version}; digest of all studies: {digest}."
