"""What was done, what it does not say, and what to do next."""

from __future__ import annotations

from survivor.analysis.result import Analysis
from survivor.document.elements import Listing, Paragraph, Section
from survivor.report.pages import english as en
from survivor.report.pages.answer import in_annex
from survivor.report.pages.values import comparisons, count, finding, joined, may_cause, named, usual
from survivor.report.reasons import why
from survivor.sentences import Name, Part, Sentence, Text, Value, cell, say
from survivor.vocabulary import BY_CHOICE, PLOT_KEY, RANDOM
from survivor.words import money, plants, plants_limits

_LEANED_ON = ("strong", "moderate")
_MOST_WANTED = 2
_MOST_SITES = 8  # named; more are in the annex


def design_in_a_word(analysis: Analysis) -> tuple[str, ...]:
    """Name the design for the line under the title; nothing where nothing is compared."""
    if analysis.records.intervals["method"].astype(str).nunique() < 2:
        return ()
    return (en.TRIAL if analysis.settings.design.allocation == RANDOM else en.NO_TRIAL,)


def done(analysis: Analysis) -> Section:
    """Return the design in a few sentences: who chose, what, where, how much, when."""
    design, plots = analysis.settings.design, analysis.records.plots
    chosen = {RANDOM: en.RANDOM, BY_CHOICE: en.BY_CHOICE}.get(design.allocation, en.NOT_RECORDED)
    names = analysis.records.intervals["method"].astype(str)
    n_methods, n_plots = int(names.nunique()), len(plots[list(PLOT_KEY)].drop_duplicates())
    sites = list(dict.fromkeys(plots["site"].astype(str)))
    parts: dict[str, Part] = {
        "plots": count(n_plots, "plot"),
        "sites": named(sites) if len(sites) <= _MOST_SITES else count(len(sites), "site"),
    }
    size = (
        say(en.SIZE, preparations=count(n_methods, "preparation"), **parts)
        if n_methods > 1
        else say(en.ONE_SIZE, **parts)
    )
    reason = design.reason_for_choice.strip().rstrip(".")
    text = joined(
        say(chosen) if n_methods > 1 else None,
        say(en.REASON, reason=reason) if reason and design.allocation != RANDOM else None,
        size,
        say(en.PLACED[design.plots_placed]),
    )
    return Section("design", en.DONE, (Paragraph(text, see=in_annex(en.METHODS, "planting")),))


def limits(analysis: Analysis) -> Section:
    """Return what the answer must not be taken for."""
    open_ = [one.methods[0] for one in comparisons(analysis) if one.reading == "not enough evidence to say"]
    items = joined(
        say(en.ELSEWHERE),
        None if may_cause(analysis) or not comparisons(analysis) else say(en.CAUSE),
        say(en.NOT_EQUAL, usual=Name(usual(analysis))) if open_ else None,
        say(en.WORKS) if comparisons(analysis) and not analysis.works.findings else None,
        say(en.RAIN_BARE) if analysis.rain.effect is None and analysis.rain.measures.empty else None,
        _no_radius(analysis),
    )
    return Section("limits", en.LIMITS, (Listing(items),))


def _no_radius(analysis: Analysis) -> Sentence | None:
    """Say why nothing is told of the radius; nothing where there is a response, or no season at all."""
    if analysis.radius.response is not None or "season" in analysis.unmade:
        return None
    return say(en.RADIUS_NOT, reason=why(analysis, "radius", en.NO_RADII, alone=True))


def following(analysis: Analysis) -> Section:
    """Return what to do next season, and what would make the answer stronger."""
    told = comparisons(analysis)
    better = [one for one in told if one.reading == "clear difference" and (one.estimate or 0.0) > 0]
    items: list[Text] = []
    if better and may_cause(analysis) and better[0].grade in _LEANED_ON:
        items.append(_supported(analysis, better[0].methods[0]))
    elif better:
        template = en.NEXT_BEST_WEAK if may_cause(analysis) else en.NEXT_BEST_CHOSEN
        items.append(say(template, method=Name(better[0].methods[0]), usual=Name(usual(analysis))))
    open_ = [one.methods[0] for one in told if one.reading == "not enough evidence to say"]
    if open_:
        items.append(say(en.NEXT_OPEN))
    wanted = [
        text for key in ("headline", "target") if (one := finding(analysis, key)) for text in one.raise_it
    ]
    wanted = list(dict.fromkeys(wanted))[:_MOST_WANTED]
    if wanted:
        words = [en.NEXT_STRONGER, *[en.NEXT_STRONGER_TOO] * (len(wanted) - 1)]
        items.append(tuple(say(word, what=what) for word, what in zip(words, wanted, strict=True)))
    items += _infill(analysis)
    items.append(say(en.NEXT_CAUTION))
    return Section("next", en.NEXT, (Listing(tuple(items)),))


def _supported(analysis: Analysis, method: str) -> Text:
    """Say what the evidence supports on survival and, where that is another, on cost."""
    names: dict[str, Part] = {"method": Name(method), "usual": Name(usual(analysis))}
    value = _best_values(analysis)
    if not value or value[0][0] == method:
        return (say(en.NEXT_BEST, **names),)
    said = [say(en.NEXT_BEST_OF, method=Name(method))]
    if len(value) > 1:
        (first, worth), (then, _) = value[:2]
        said.append(say(en.NEXT_VALUE_TO, value=Name(first), worth=worth, then=Name(then)))
    else:
        said.append(say(en.NEXT_VALUE, value=Name(value[0][0])))
    return (*said, say(en.NEXT_ELSEWHERE, usual=Name(usual(analysis))))


def _best_values(analysis: Analysis) -> list[tuple[str, Value]]:
    """List the preparations of best value on the central estimates, with the worth up to which each is."""
    payoff = analysis.costs.payoff
    if payoff is None or payoff.best_value is None:
        return []
    found = []
    for row in payoff.best_value.ranges.to_dict("records"):
        name, worth = str(row["method"]), float(row["worth_to"])
        at = cell("best_value_ranges", "worth_to", method=name)
        found.append((name, Value(money(worth, str(row["currency"])), worth, at)))
    return found


def _infill(analysis: Analysis) -> list[Sentence]:
    """Say how many infill plants reach what was promised; nothing where none are needed or it is not told."""
    rows = analysis.totals.to_reach
    rows = rows[rows["infill"].astype(float) > 0]
    if rows.empty:
        return []
    row = rows.iloc[0]
    at = {"table": "infill_to_reach", "goal": row["goal"]}
    size, lower, upper = (float(row[name]) for name in ("infill", "lower", "upper"))
    number_of = Value(plants(size), size, cell(column="infill", **at))
    span = Value(plants_limits(lower, upper), lower, cell(column="lower", **at))
    parts: dict[str, Part] = {"goal": str(row["goal"]), "when": str(row["alive_at"])}
    return [say(en.NEXT_INFILL, plants=number_of, span=span, **parts)]
