"""The first page: the question, the answer, strength of evidence, the target, one picture."""

from __future__ import annotations

import math
from functools import partial

import pandas as pd

from survivor.analysis.result import Analysis
from survivor.document.elements import Block, Figure, Link, Paragraph, Section
from survivor.effects.confounding import BETWEEN
from survivor.evidence.finding import Finding
from survivor.evidence.making import QUESTIONS
from survivor.evidence.words import beside, judged
from survivor.figures.comparison import survival_figure
from survivor.report.pages import english as en
from survivor.report.pages.values import (
    alive,
    comparisons,
    finding,
    has_species,
    joined,
    may_cause,
    named,
    plants,
    signed,
    size,
    together,
    usual,
    when,
)
from survivor.report.reasons import is_random, usual_practice, why
from survivor.sentences import Name, Sentence, Value, cell, say
from survivor.vocabulary import Basis
from survivor.words import capital, number, plain

KEY = "answer"
_CLEAR = ("clear difference", "clear but small difference")
_MOST_REASONS = 3


def answer(analysis: Analysis) -> Section:
    """Return the question, the answer with strength of evidence, the target and the picture."""
    compared, target = _compared(analysis), _target(analysis)
    first = analysis.settings.study.purpose == "check a target"
    blocks = [*target, *compared] if first and target else [*compared, *target]
    if blocks and isinstance(blocks[0], Paragraph) and first and target:
        blocks[0] = Paragraph(blocks[0].text, kind="lead", label=blocks[0].label)
    blocks += _whole(analysis)
    blocks += _warnings(analysis)
    blocks += _not_given(analysis)
    picture = survival_picture(analysis)
    if picture is not None:
        blocks.append(picture)
    else:
        said = why(analysis, "survival", "Survival by preparation could not be estimated")
        blocks.append(Paragraph(said, kind="small", label="No picture"))
    return Section(KEY, QUESTIONS["target" if first and target else "headline"], tuple(blocks))


def _compared(analysis: Analysis) -> list[Block]:
    """Say what was better, worse and open, leading with the largest clear gain."""
    told = [one for one in comparisons(analysis) if one.grade != "not answered"]
    if not told:
        return _nothing_compared(analysis)
    against, verb = Name(usual(analysis)), "kept" if may_cause(analysis) else "had"
    common: dict[str, Name | str] = {"verb": verb, "per": analysis.per_100, "when": when(analysis)}
    clear = [one for one in told if one.reading in _CLEAR]
    better = [one for one in clear if (one.estimate or 0.0) > 0]
    worse = [one for one in clear if (one.estimate or 0.0) <= 0][::-1]
    rest: list[Sentence] = []
    if better:
        lead, *others = better
        first = say(en.LEAD, usual=against, **common, **_parts(lead))
        rest += [say(en.ALSO_BETTER, **_parts(one)) for one in others]
    elif worse:
        lead, *worse = worse
        first = say(en.LEAD_WORSE, usual=against, **common, **_parts(lead))
        rest.append(say(en.NONE_BETTER, usual=against))
    else:
        lead = max(told, key=lambda one: abs(one.estimate or 0.0))
        first = say(en.NONE_BETTER, usual=against)
        rest.append(say(en.LARGEST, method=Name(lead.methods[0]), size=signed(lead), span=size(lead)[1]))
    rest += [say(en.WORSE, usual=against, **_parts(one)) for one in worse]
    rest += _open(analysis, told)
    rest += _between(analysis, told)
    rest += _left_out(analysis)
    blocks: list[Block] = [Paragraph((first,), kind="lead")]
    if lead.grade is not None:
        rules = in_annex(en.STRENGTH_RULES, "workings")
        blocks.append(Paragraph(strength(lead), label="Strength of evidence", see=rules))
    if rest:
        blocks.append(Paragraph(tuple(rest), label="The others"))
    return blocks


def _parts(one: Finding) -> dict[str, Name | Value | str]:
    written, span = size(one)
    return {"method": Name(one.methods[0]), "size": written, "span": span, "strength": one.strength}


def _open(analysis: Analysis, told: list[Finding]) -> list[Sentence]:
    """Name the preparations of which nothing can be said, and those that differ by less than matters."""
    smallest = Value(
        plain(analysis.settings.design.smallest_difference), analysis.settings.design.smallest_difference
    )
    found = []
    open_ = [one.methods[0] for one in told if one.reading == "not enough evidence to say"]
    alike = [one.methods[0] for one in told if one.reading == "no difference that matters"]
    if open_:
        found.append(say(en.OPEN, names=named(open_)))
    if alike:
        found.append(say(en.TOO_SMALL, names=named(alike), smallest=smallest))
    return found


def _between(analysis: Analysis, told: list[Finding]) -> list[Sentence]:
    """Name the preparations that share no site with the usual practice."""
    assert analysis.comparing.against is not None
    table = analysis.comparing.against.table
    apart = set(table.loc[table["basis"].astype(str) == BETWEEN, "method"].astype(str))
    names = [one.methods[0] for one in told if one.methods[0] in apart]
    return [say(en.BETWEEN, names=named(names), usual=Name(usual(analysis)))] if names else []


def _left_out(analysis: Analysis) -> list[Sentence]:
    """Name the preparations that could not be compared, those with one reason together."""
    if analysis.comparing.against is None:
        return []
    table = analysis.comparing.against.table
    reasons = dict(zip(table["method"].astype(str), table["reason"].astype(str), strict=True))
    groups: dict[str, list[str]] = {}
    for one in comparisons(analysis):
        if one.grade == "not answered":
            reason = reasons.get(one.methods[0], "") or "too few of its plots stand beside it"
            groups.setdefault(reason, []).append(one.methods[0])
    against = Name(usual(analysis))
    return [
        say(en.NOT_COMPARED, names=named(names), usual=against, reason=reason)
        for reason, names in groups.items()
    ]


def _nothing_compared(analysis: Analysis) -> list[Block]:
    """Say how many were alive where nothing is compared, and why nothing is."""
    whole, reason = finding(analysis, "alive") or finding(analysis, "target"), finding(analysis, "headline")
    blocks: list[Block] = []
    if whole is not None and whole.estimate is not None:
        numbers = alive(*whole.size, _at(whole))
        blocks.append(Paragraph((say(en.ALL_ALIKE, when=when(analysis), **numbers),), kind="lead"))
    else:
        blocks.append(Paragraph((say(en.NO_ANSWER),), kind="lead"))
    said = reason.answer if reason is not None else why(analysis, "season", "No question could be answered")
    blocks.append(Paragraph(said, label="No comparison"))
    return blocks


def _at(one: Finding) -> dict[str, str]:
    return {"table": "findings", "key": one.key}


def strength(one: Finding) -> tuple[Sentence, ...]:
    """Say the strength of evidence, its reach, and what holds it back."""
    word = capital(one.strength)
    found = [
        say(en.STRENGTH, strength=word, reach=one.reach)
        if one.reach
        else say(en.STRENGTH_BARE, strength=word)
    ]
    if one.reading in _CLEAR and (one.comparisons or 1) > 1:
        found.append(say(en.PICKED, pairs=str(one.comparisons), span=together(one)))
    if one.grade == "strong" and not one.reasons:
        found.append(say(en.NO_CHECK))
    for place, reason in enumerate(one.reasons[:_MOST_REASONS]):
        found.append(say(en.LOWERED_TOO if place else en.LOWERED, reason=reason))
    return tuple(found)


def _target(analysis: Analysis) -> list[Block]:
    one, asked = finding(analysis, "target"), analysis.settings.target
    if one is None or asked is None:
        return []
    promised = Value(plain(asked.survival_per_100), asked.survival_per_100)
    if one.verdict is None or one.estimate is None:
        return [Paragraph(one.answer, label=f"Target of {promised.text}: cannot be judged")]
    other = one.otherwise
    digits = beside(asked.survival_per_100, *one.size, *(() if other is None else other.size))
    numbers = alive(*one.size, _at(one), digits)
    word = str(one.verdict)
    if other is not None:
        own = judged(*one.size[1:], asked.survival_per_100)
        word = en.TARGET_VERDICT.format(first=own, second=other.verdict, verdict=one.verdict)
    label = f"Target of {promised.text} alive {analysis.per_100}: {word}"
    if other is None:
        text: tuple[Sentence, ...] = (say(en.TARGET_SEEN, when=one.milestone, **numbers),)
    else:
        again = alive(*other.size, None, digits)
        dead, left = (numbers, again) if analysis.settings.rules.missing == "dead" else (again, numbers)
        text = (say(en.TARGET_DEAD, **dead), say(en.TARGET_LEFT_OUT, **left))
    return [Paragraph(text, label=label)]


def _whole(analysis: Analysis) -> list[Block]:
    """Say how many are alive in the whole planting and on a hectare, and whether that is what is wanted."""
    rows = analysis.totals.scaled
    if rows.empty:
        return []
    sentences: list[Sentence] = []
    for row in rows.to_dict("records"):
        at = {"table": "in_all", "measure": row["measure"]}
        stocking = analysis.settings.stocking if row["unit"] != "plants" else None
        mark = None if stocking is None else float(stocking.target_per_hectare)
        numbers = plants(float(row["estimate"]), float(row["lower"]), float(row["upper"]), at, mark=mark)
        put_in = float(row["put_in"])
        if row["unit"] == "plants":
            all_planted = Value(number(put_in), put_in, cell("in_all", "put_in", measure=row["measure"]))
            sentences.append(say(en.TOTAL, put_in=all_planted, when=when(analysis), **numbers))
            sentences.append(say(en.ASSUMED))
        else:
            sentences.append(say(en.STEMS, **numbers))
            sentences += _stems_wanted(analysis)
    return [Paragraph(tuple(sentences), label="The whole planting")]


def _stems_wanted(analysis: Analysis) -> list[Sentence]:
    """Say whether the stems wanted on a hectare are there; nothing where none are wanted."""
    found, stocking = finding(analysis, "stocking"), analysis.settings.stocking
    if found is None or stocking is None:
        return []
    stems = float(stocking.target_per_hectare)
    wanted = Value(number(stems), stems)
    if found.verdict is None:
        return [say(en.STEMS_LATER, wanted=wanted, milestone=analysis.settings.headline_milestone.name)]
    word = en.STEMS_VERDICT[found.verdict]
    if found.otherwise is not None:
        own = judged(*found.size[1:], stems)
        word = word.format(first=own, second=found.otherwise.verdict)
    return [say(en.STEMS_WANTED, wanted=wanted, verdict=word)]


def _not_given(analysis: Analysis) -> list[Block]:
    """Say that no target was set, and that the size of the whole planting is not known, where that is so."""
    no_target = analysis.settings.target is None
    no_size = (
        analysis.totals.scaled.empty and not analysis.settings.planted and analysis.basis is Basis.PLANTED
    )
    said = en.NOT_GIVEN.get((no_target, no_size))
    return [Paragraph((say(said),), kind="small")] if said else []


def _warnings(analysis: Analysis) -> list[Block]:
    """Say what must not be missed: plants found late, no usual practice, preparations chosen."""
    said = joined(
        say(en.FOUND_ONLY) if analysis.basis is Basis.FOUND else None,
        say(en.AGAINST_MOST, usual=Name(usual(analysis)))
        if usual(analysis) and usual_practice(analysis) is None
        else None,
        None if is_random(analysis) or not comparisons(analysis) else say(en.CHOSEN),
        *_declared(analysis),
    )
    return [Paragraph(said, kind="note")] if said else []


def _declared(analysis: Analysis) -> list[Sentence]:
    """Say what those who did it have at stake; where they chose preparations, what was decided before."""
    given = analysis.settings.report
    found = []
    interests = given.interests.strip().rstrip(".")
    if interests and interests.casefold() != "none":
        found.append(say(en.INTERESTED, interests=interests))
    decided = given.decided_before.strip().rstrip(".")
    if decided and not is_random(analysis):
        found.append(say(en.DECIDED, decided=decided))
    return found


def survival_picture(analysis: Analysis) -> Figure | None:
    """Return survival per preparation, observed and standardised, with the cost of a living plant."""
    if analysis.survival.by_method is None:
        return _observed_picture(analysis)
    table = analysis.survival.by_method.table.sort_values("estimate", ascending=False, kind="stable")
    costs = analysis.costs.payoff.table if analysis.costs.payoff is not None else None
    target = analysis.settings.target
    milestone = analysis.settings.headline_milestone
    promised = (
        target.survival_per_100
        if target is not None and target.milestone == milestone.name and analysis.basis is not Basis.FOUND
        else None
    )
    seen = analysis.survival.observed.rename(columns={"alive_per_100_planted": "observed"})
    drawn = seen[["method", "observed"]].merge(table.astype({"method": str}), on="method", how="left")
    best = table.iloc[0]
    at = {"table": "survival", "method": best["method"]}
    shown = say(
        en.PICTURE_OF_SOME if bool(drawn["estimate"].isna().any()) else en.PICTURE,
        method=Name(str(best["method"])),
        per=analysis.per_100,
        **alive(float(best["estimate"]), float(best["lower"]), float(best["upper"]), at),
    )
    over = " and ".join(["site", *(["species"] if has_species(analysis) else [])])
    caption = say(en.PICTURE_CAPTION, over=over)
    return Figure(
        key="survival",
        title=f"Alive at {when(analysis)}, by preparation",
        finding=shown,
        caption=caption,
        draw=partial(
            survival_figure,
            drawn,
            costs,
            usual=usual_practice(analysis),
            target=promised,
            per=analysis.per_100,
        ),
        table=None,
    )


ANNEX = "annex.html"


def in_annex(words: str, key: str) -> Link:
    """Lead to a section of the annex."""
    return Link(words, f"{ANNEX}#{key}")


def _observed_picture(analysis: Analysis) -> Figure | None:
    """Return survival per preparation as observed, where no model could standardise it."""
    curves = analysis.survival.curves
    if curves is None or curves.table.empty:
        return None
    read = curves.read(analysis.milestone_day)
    sizes = {"estimate": "survival", "lower": "lower", "upper": "upper"}
    table = pd.DataFrame({"method": read[str(read.columns[0])].astype(str)}).assign(
        **{name: 100 * read[source].to_numpy(dtype=float) for name, source in sizes.items()}
    )
    table = table[table["estimate"].notna()].sort_values("estimate", ascending=False, kind="stable")
    if table.empty:
        return None
    best = table.iloc[0]
    numbers = alive(float(best["estimate"]), float(best["lower"]), float(best["upper"]))
    bare = not math.isfinite(float(best["lower"]))
    words = en.PICTURE_OBSERVED_BARE if bare else en.PICTURE_OBSERVED
    return Figure(
        key="survival",
        title=f"Alive at {when(analysis)}, by preparation, of plants followed",
        finding=say(words, method=Name(str(best["method"])), per=analysis.per_100, **numbers),
        caption=say(en.PICTURE_CAPTION_BARE if bare else en.PICTURE_CAPTION_OBSERVED),
        draw=partial(survival_figure, table, usual=usual_practice(analysis), per=analysis.per_100),
        table=None,
    )
