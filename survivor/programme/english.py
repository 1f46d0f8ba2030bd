"""Every sentence on a programme, as templates: what stands in the places is made beside the numbers.

A sentence has at most 25 words (a name or a number with its limits counts as one) and one parenthesis.
"""

from __future__ import annotations

from typing import Final

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
TITLE: Final = "{name}: what lives and what pays"
ABOUT: Final = (
    "{studies} by {organisations}, planted {years}; {seedlings} seedlings watched in {plots} at {sites}."
)
ABOUT_WHEN: Final = "Survival is told at {milestone}."
ANSWER: Final = "What the programme says"

LIVE_ALL: Final = (
    "{size} of 100 plants were alive at {milestone} (95 % CI {span}; {alive} of {known} whose fate is known)."
)
LIVE_LEAST: Final = "It was {size} under {method}, the usual practice (95 % CI {span})."
PAYS: Final = "{method} kept {size} more alive per 100 planted than {against} (95 % CI {span}; {studies})."
HARMS: Final = "{method} kept {size} fewer alive per 100 planted than {against} (95 % CI {span}; {studies})."
NEW: Final = "A new study may show {span}."
TARGETS: Final = (
    "Of {judged}, {met} were met and {missed} missed; {unclear} are unclear or depend on missing plants."
)
TARGETS_SHARE: Final = "That is {size} met of every 100 (95 % CI {span})."
NO_TARGETS: Final = "No study has a target that can be judged."
UNKNOWN: Final = "For {methods} there is not enough evidence to say which way the difference goes."
UNUSED: Final = "{unused} of {studies} could not be used."
WAITING: Final = "{waiting} of {studies} had no answer at {milestone} yet."
NOTHING_POOLED: Final = "No two studies compare the same preparations, so nothing is pooled."

DIFFERENCES: Final = "Differences from the usual practice, over all studies"
DIFFERENCES_FINDING: Final = (
    "{method} leads with {size} alive per 100 planted against {against} (95 % CI {span})."
)
DIFFERENCES_CAPTION: Final = (
    "Filled dot: mean over studies, with its 95 % CI. Open dot and dashed line: what a new study may show."
)
DIFFERENCES_HOW: Final = "Each study counts as one. Preparations are compared within sites of a study, and the studies are then pooled."

LIVES: Final = "What lives"
LIVES_TITLE: Final = "Alive per 100, by preparation, ground, year and organisation"
LIVES_FINDING: Final = "{size} of 100 were alive under {method} (95 % CI {span})."
LIVES_CAPTION: Final = "Dot: alive per 100 plants whose fate is known, observed. Line: 95 % CI, studies as units. Right: number of studies."
LIVES_NOTE: Final = "Observed: nothing is adjusted. Which preparation pays is told by the differences above, made within sites."

WATCHED: Final = "What was planted and monitored, where and when"
WATCHED_TITLE: Final = "Seedlings watched, by organisation and year of planting"
WATCHED_FINDING: Final = "{organisation} watched most seedlings: {seedlings} in {studies}."
WATCHED_CAPTION: Final = (
    "Bars: seedlings watched, by year of planting, one panel an organisation. Numbers on top: studies."
)

STUDIES: Final = "Study by study"
STUDIES_TITLE: Final = "Every study's difference from its usual practice"
STUDIES_FINDING: Final = "{apart} of {units} differences stand apart from those of the other studies."
STUDIES_CAPTION: Final = "Each stroke is one study with its 95 % CI, in order of size. Band: what a new study may show. Named: studies that stand apart."
APART: Final = "{study} stands apart on {method}: {size} alive per 100 planted, where the others lead one to expect {expected}."
APART_HOW: Final = "A study stands apart where chance and the usual spread between studies seldom leave it so far (1 in 20 for all comparisons together)."
NO_APART: Final = "No study stands apart: all lie where chance and the spread between studies put them."

PROMISED: Final = "Targets met, missed or unclear"
PROMISED_TITLE: Final = "Verdicts on targets, and where they were met"
PROMISED_FINDING: Final = "{met} of {judged} targets were met."
PROMISED_CAPTION: Final = "Dot: per 100 targets judged, with 95 % CI. Right: number of targets. Below: those met, by organisation and year."

LEFT: Final = "Studies that could not be used, and why"
LEFT_NONE: Final = "Every study could be used."
LEFT_WAITING: Final = "Not yet: {reason}"
LEFT_MEND: Final = "Whoever keeps a study finds what to correct with survivor check, in its folder."

NEXT: Final = "What the next season should try"
NEXT_WORTH: Final = "One more study of {method} against {against} is worth most: it has {chance} chances in 100 to change which one to use."
NEXT_NOTHING: Final = (
    "One more study would hardly change which preparation to use: for each, the chance is under 1 in 100."
)
NEXT_GAP: Final = "{method} has been tried on {ground} in {studies}."
NEXT_NO_GAP: Final = "Every preparation was tried on every kind of ground in three studies or more."

METHODS: Final = "Methods and provenance"
HOW: Final = (
    "Every study is read, checked and analysed by itself, as its own report is; {milestone} is answered on its own day within its window.",
    "Differences are pooled by restricted maximum likelihood; limits go by study (CR2), and those of a new study allow for how studies differ.",
    "Shares of targets have Wilson intervals. Names of places and landholders are shown only where each study allows it.",
    "The smallest difference that matters is {smallest} per 100 planted, as most studies have it.",
)
PROVENANCE: Final = "survivor {version}; digest of all studies: {digest}."
