"""From effects of works to answers: one family of questions, its p adjusted, each graded by its allocation.

All questions on works that the records can answer are one family: what each work adds, the pairs named
beforehand, when it was done, and works after planting. Their p are adjusted together by Holm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from survivor.evidence.finding import Finding, Reading
from survivor.evidence.grading import Circumstances
from survivor.evidence.making import Numbers, finding_of
from survivor.evidence.words import Counts, difference_phrase, reading, settled
from survivor.limits import holding_together
from survivor.models.result import holm
from survivor.settings import Design, Works
from survivor.vocabulary import BY_CHOICE, RANDOM, REFUSED
from survivor.words import capital, number, plain
from survivor.works.columns import CALLED, LEAD, PASSES, RIP_SOIL
from survivor.works.later import Later
from survivor.works.parts import PAIR, WORK
from survivor.works.support import EVERY_PLOT
from survivor.works.timing import Timing

LATER: Final = "later work"
ANSWER_COLUMNS: Final = (
    "what", "kind", "basis", "estimate", "std_error", "df", "lower", "upper", "lower_simultaneous",
    "upper_simultaneous", "p_value", "p_adjusted",
    "unit", "at_day", "n_seedlings", "n_plots", "n_sites", "fewest_plots", "penalised", "allocation",
    "low", "high", "over", "n_sets", "reason",
)  # fmt: skip
_WORST: Final = (RANDOM, BY_CHOICE, "not recorded")


@dataclass(frozen=True)
class Asked:
    """How the season was laid out, for grades.

    Attributes
    ----------
    design, works
        Of the study file.
    when
        The milestone in words.
    """

    design: Design
    works: Works
    when: str

    def allocation(self, name: str, usual: str) -> str:
        """How it was chosen which plots got a work, or when; of several works, the weakest."""
        parts = [part for joint in name.split(" x ") for part in joint.split(" and ")]
        found = [self.works.allocated.get(part, usual) for part in parts]
        return max(found, key=_WORST.index)


def answers_table(
    effects: pd.DataFrame, timings: Sequence[Timing], later: Sequence[Later], asked: Asked
) -> pd.DataFrame:
    """Lay out all answers, p adjusted over the family.

    Returns
    -------
    DataFrame
        `ANSWER_COLUMNS`; ``estimate`` and limits per 100 planted. Simultaneous ones hold for the family.
    """
    rows: list[dict[str, Any]] = [
        {
            **{str(name): row[name] for name in ANSWER_COLUMNS if name in row},
            "allocation": asked.allocation(str(row["what"]), asked.design.allocation),
        }
        for row in effects.to_dict("records")
    ]
    rows += [
        {**_row(timing, CALLED[timing.key], timing.key, asked), "low": timing.low, "high": timing.high}
        for timing in timings
    ]
    rows += [
        {**_row(one, one.work, LATER, asked), "at_day": one.at_day, "low": one.day, "high": one.at_day}
        for one in later
    ]
    table = pd.DataFrame(rows).reindex(columns=list(ANSWER_COLUMNS))
    told = (table["basis"] != REFUSED) & table["p_value"].astype(float).notna()
    table["p_adjusted"] = np.nan
    table.loc[told, "p_adjusted"] = holm(table.loc[told, "p_value"].to_numpy(dtype=float))
    return holding_together(table, int(told.sum()))


def _row(one: Timing | Later, what: str, kind: str, asked: Asked) -> dict[str, Any]:
    """Lay out the answer on a time, or on a work after planting."""
    return {
        "what": what,
        "kind": kind,
        "basis": "within sites",
        **{part: getattr(one, part) for part in _SHARED},
        "unit": "per 100 planted",
        "penalised": False,
        "allocation": asked.allocation(what, "not recorded"),
        "over": "",
        "n_sets": 0,
        "reason": "",
    }


_SHARED: Final = (
    "estimate", "std_error", "lower", "upper", "df", "p_value", "n_seedlings", "n_plots", "n_sites",
    "fewest_plots",
)  # fmt: skip


def findings_of(table: pd.DataFrame, asked: Asked) -> tuple[Finding, ...]:
    """Make a finding of each answer, with its grade."""
    told = int(table["p_adjusted"].notna().sum())
    return tuple(_finding(row, asked, told) for row in table.to_dict("records"))


def _finding(row: Mapping[Any, Any], asked: Asked, told: int) -> Finding:
    smallest = asked.design.smallest_difference
    size = tuple(float(row[name]) for name in ("estimate", "lower", "upper"))
    together = float(row["lower_simultaneous"]), float(row["upper_simultaneous"])
    answered = row["basis"] != REFUSED and bool(np.isfinite(size).all())
    circumstances = Circumstances(
        compares=False,
        answered=answered,
        part=str(row["allocation"]),
        plots_placed=asked.design.plots_placed,
        basis=str(row["basis"]),
        df=float(row["df"]),
        fewest_plots=int(row["fewest_plots"]) if answered else 0,
        penalised=bool(row["penalised"]),
        settled=settled(size[1], size[2], float(row["p_adjusted"]), smallest, together) if answered else "no",
    )
    at = float(row["at_day"]) if pd.notna(row["at_day"]) else 0.0
    key, question = key_of(row), question_of(row)
    if not answered:
        why = f"What {row['what']} adds cannot be determined from these records: {row['reason']}."
        return finding_of(key, why, asked.when, Numbers(at), circumstances, question=question)
    counts = Counts(*(int(row[name]) for name in ("n_seedlings", "n_plots", "n_sites")))
    numbers = Numbers(at, str(row["unit"]), size[0], size[1], size[2], counts)
    read = reading(size[1], size[2], float(row["p_adjusted"]), smallest)
    answer = sentence_of(row, read, counts, asked)
    found = finding_of(key, answer, asked.when, numbers, circumstances, question=question, read=read)
    lower, upper = together
    return replace(found, lower_simultaneous=lower, upper_simultaneous=upper, comparisons=told)


def key_of(row: Mapping[Any, Any]) -> str:
    """Short name of an answer."""
    return f"works: {row['what']}"


def question_of(row: Mapping[Any, Any]) -> str:
    """Write the question of an answer."""
    what, kind = str(row["what"]), str(row["kind"])
    if kind == WORK:
        return f"What does {what} add, the other works held equal?"
    if kind == PAIR:
        first, second = what.split(" x ")
        return f"Does {first} add more, or less, where there is {second} too?"
    if kind == LATER:
        return f"Did {what} after planting pay?"
    return {
        LEAD: "Does it matter how long before planting weed control begins?",
        PASSES: "Does a further pass of weed control before planting pay?",
        RIP_SOIL: "Does it matter whether the ground is ripped dry or wet?",
    }[kind]


def subject_of(row: Mapping[Any, Any]) -> str:
    """Name what is compared, to stand before "went with": the thing itself, against what."""
    kind, what = str(row["kind"]), str(row["what"])
    if kind == LEAD:
        months = [number(float(row[end])) for end in ("high", "low")]
        return f"weed control begun {months[0]} months before planting, against {months[1]},"
    if kind == PASSES:
        return "one more pass of weed control before planting"
    if kind == RIP_SOIL:
        return "ripping dry, against ripping wet,"
    if kind == LATER:
        return f"{what} at about day {number(float(row['low']))}"
    return what


_TOPICS: Final = {
    LEAD: "lead time matters",
    PASSES: "a further pass pays",
    RIP_SOIL: "it matters whether ground is ripped dry or wet",
}


def sentence_of(row: Mapping[Any, Any], read: Reading, counts: Counts, asked: Asked) -> str:
    """Write an answer as a sentence, from its numbers."""
    estimate, lower, upper = (float(row[name]) for name in ("estimate", "lower", "upper"))
    size = difference_phrase(estimate, lower, upper, str(counts), "alive per 100 planted")
    kind, what = str(row["kind"]), str(row["what"])
    smallest = plain(asked.design.smallest_difference)
    when = f"by day {number(float(row['high']))}" if kind == LATER else f"at {asked.when}"
    if kind == PAIR:
        first, second = what.split(" x ")
        both = f"together {first} and {second} had {size} {when} beyond the sum of the two"
        if read == "not enough evidence to say":
            return (
                f"There is not enough evidence to say whether {first} and {second} do more together. "
                f"{capital(both)}."
            )
        if read == "no difference that matters":
            return f"{capital(first)} and {second} add up, as far as {smallest} per 100: {both}."
        return f"{capital(both)}."
    subject = subject_of(row)
    verb = "kept" if row["allocation"] == RANDOM else "went with"
    equal = ", the other works held equal" if kind == WORK else ""
    over = f" {over_said(str(row['over']))}" if kind == WORK else ""
    if read == "not enough evidence to say" and kind in _TOPICS:
        return (
            f"There is not enough evidence to say whether {_TOPICS[kind]}. "
            f"{capital(subject)} went with {size} {when}."
        )
    if read == "not enough evidence to say":
        return (
            f"There is not enough evidence to say what {subject} adds{equal}. Plots with it had "
            f"{size} {when}.{over}"
        )
    if read == "no difference that matters":
        none = f"made no difference of {smallest} per 100 or more{equal}"
        return f"{capital(subject)} {none}: {size} {when}.{over}"
    less = f", less than the {smallest} per 100 that matter" if read.startswith("clear but") else ""
    return f"{capital(subject)} {verb} {size} {when}{equal}{less}.{over}"


def over_said(over: str) -> str:
    """Say over which plots what a work adds is averaged."""
    if over == EVERY_PLOT:
        return "No two plots at one place differ in it alone, so that rests on works adding up."
    return f"That is over plots with and without it beside {over}."
