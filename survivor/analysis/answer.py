"""From the season's parts to its findings, the headline first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
from scipy.stats import beta

from survivor.analysis.comparing import Comparisons
from survivor.analysis.costs import Costs
from survivor.analysis.milestone import between_visits, milestone_day, milestone_words, reached
from survivor.analysis.models import SeasonFits
from survivor.analysis.parts import Unmade, attempt
from survivor.analysis.planting_years import years_note, years_of
from survivor.analysis.rain import Rain
from survivor.analysis.robustness import Fragility, Robustness, of_whole, other_missing, under_other_missing
from survivor.analysis.season import Season
from survivor.analysis.totals import PLANTS, Totals, whole_planting
from survivor.curves.rounds import at_milestone
from survivor.effects.confounding import BETWEEN
from survivor.effects.contrasts import Contrasts
from survivor.effects.contrasts import contrasts as compare
from survivor.effects.dose import Dose
from survivor.effects.sites import interaction_p, one_site_carries, plot_shares
from survivor.errors import EffectError, SurvivorError
from survivor.evidence import english as en
from survivor.evidence.finding import Finding, Reading
from survivor.evidence.grading import Circumstances
from survivor.evidence.headline import (
    Pair,
    best_finding,
    headline_finding,
    leader_of,
    not_compared,
    question_of,
)
from survivor.evidence.making import (
    QUESTIONS,
    contrast_finding,
    payoff_finding,
    radius_finding,
    stocking_finding,
    survival_finding,
    target_finding,
    total_finding,
    unanswered_finding,
    value_finding,
)
from survivor.evidence.words import reading
from survivor.models.randomisation import DRAWN, PermutationTest
from survivor.sentences import Name, Names, Sentence, say
from survivor.settings import Milestone, Settings, Stocking
from survivor.vocabulary import CONFIDENCE, RANDOM, REFUSED, SIGNIFICANCE, Basis
from survivor.words import sentence

_OVER_YEARS = ("headline", "target", "alive")


@dataclass(frozen=True)
class Weighed:
    """The comparisons of a season and all that their grades depend on.

    Attributes
    ----------
    season, models, comparisons, robustness, fragility
        Parts of the analysis.
    permutation
        The randomisation test, or None.
    by_others
        As :func:`leader_by_others` gives it.
    """

    season: Season
    models: SeasonFits
    comparisons: Comparisons
    robustness: Robustness
    fragility: Fragility
    permutation: PermutationTest | None = None
    by_others: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def smallest(self) -> float:
        """Smallest difference that matters, per 100."""
        return self.season.settings.design.smallest_difference

    def read(self, line: Any) -> Reading:
        """Read one comparison."""
        lower, upper, p_adjusted = (float(line[name]) for name in ("lower", "upper", "p_adjusted"))
        return reading(lower, upper, p_adjusted, self.smallest)

    def under_other_rule(self, line: Any) -> Reading | None:
        """Read a comparison under the other rule for missing plants; None where there is none."""
        rows = _same_pair(self.robustness.differences, str(line["method"]), str(line["against"]))
        rows = rows[rows["rule"] == other_missing(self.season.settings.rules.missing)]
        rows = rows[rows["lower"].notna() & rows["p_adjusted"].notna()]
        return self.read(rows.iloc[0]) if len(rows) else None

    def circumstances(self, line: pd.Series[Any], shares: pd.DataFrame) -> Circumstances:
        """Tell what else is known of one comparison: other models, other rules, sites.

        ``shares``: share alive of each plot (``survivor.effects.sites.plot_shares``).
        """
        if line["basis"] == REFUSED:
            return Circumstances()
        method, against, estimate = str(line["method"]), str(line["against"]), float(line["estimate"])
        models = _same_pair(self.robustness.agreement, method, against)["estimate"]
        rules = _same_pair(self.robustness.differences, method, against)["estimate"]
        random = self.season.settings.design.allocation == RANDOM
        read = self.read(line)
        return replace(
            self.fragility.common,
            missing_rule=self.under_other_rule(line) not in (None, read),
            misfit="; ".join(
                words for name, words in self.fragility.misfit.items() if name in (method, against)
            ),
            not_proportional=self.models.not_proportional,
            randomisation_disagrees=random
            and randomisation_disagrees(self.permutation, method, against, read),
            bounds_change_sign=bool((np.sign(rules) != np.sign(estimate)).any()),
            models_disagree=bool(((models < line["lower"]) | (models > line["upper"])).any()),
            sites_inconsistent=bool(interaction_p(shares, method, against) < SIGNIFICANCE),
            one_site_carries=one_site_carries(
                self.robustness.left_out, method, against, estimate, read.startswith("clear")
            ),
        )


def comparison_answers(weighed: Weighed) -> list[Finding]:
    """Make the findings of the comparisons, under their headline and which preparation is best.

    Empty where preparations were not compared.
    """
    season, against = weighed.season, weighed.comparisons.against
    if against is None:
        return []
    shares = plot_shares(
        at_milestone(season.intervals, season.milestone_day, season.window)[0], season.milestone_day
    )
    flags = [weighed.circumstances(line, shares) for _, line in against.table.iterrows()]
    findings = comparison_findings(
        against,
        flags,
        season.settings,
        season.when,
        season.records.plots["method"].astype(str),
        season.basis,
    )
    if findings and findings[0].grade != "not answered":
        between = between_visits(season.intervals, season.milestone_day)
        more = [
            _under_other_rule(weighed, flags),
            (say(en.BETWEEN_VISITS, day=f"{season.milestone_day:g}", how=between),) if between else (),
        ]
        findings[0] = findings[0].adding(*more)
    best = best_of(weighed, shares)
    return [*findings[:1], *([] if best is None else [best]), *findings[1:]]


def _under_other_rule(weighed: Weighed, flags: list[Circumstances]) -> tuple[Sentence, ...]:
    """Say which comparisons read otherwise under the other rule for missing plants; none where none does."""
    assert weighed.comparisons.against is not None
    lines = weighed.comparisons.against.table.to_dict("records")
    turned: dict[str, list[str]] = {}
    for line, known in zip(lines, flags, strict=True):
        if known.missing_rule:
            turned.setdefault(str(weighed.under_other_rule(line)), []).append(str(line["method"]))
    rule = under_other_missing(weighed.season.settings.rules.missing)
    return tuple(
        say(en.OTHER_RULE, rule=rule, names=Names(tuple(names)), reading=read)
        for read, names in turned.items()
    )


def randomisation_disagrees(test: PermutationTest | None, method: str, against: str, read: Reading) -> bool:
    """Whether a clear difference has a randomisation p of 0.05 or more, where p could have been less.

    Where layouts were drawn, p is known within the error of the draws: it has to be so at
    the lower 95 % limit too (Clopper and Pearson 1934), lest the draws make the grade.
    """
    if test is None or not read.startswith("clear"):
        return False
    names = test.table[[test.by, "against"]].astype(str)
    rows = test.table[(names[test.by] == method) & (names["against"] == against)]
    if rows.empty:
        return False
    line = rows.iloc[0]
    return bool(
        line["smallest_p"] <= SIGNIFICANCE and line["p_adjusted"] * _least_share(line) >= SIGNIFICANCE
    )


def _least_share(line: pd.Series[Any]) -> float:
    """Return the lower limit of a randomisation p as a share of it; 1 where every layout was tried."""
    p_value, tried = float(line["p_value"]), float(line["tried"])
    if line["how"] != DRAWN or not p_value > 0:
        return 1.0
    extreme = min(round(p_value * tried), tried)
    lower = beta.ppf((1 - CONFIDENCE) / 2, extreme, tried - extreme + 1) if extreme > 0 else 0.0
    return float(lower) / p_value


def lot_notes(test: PermutationTest | None) -> tuple[str, ...]:
    """Say where random allocation could give no p under 0.05, so that it neither confirms nor denies."""
    if test is None:
        return ()
    names = test.table.loc[test.table["smallest_p"] > SIGNIFICANCE, test.by].astype(str).tolist()
    if not names:
        return ()
    return (
        "So few allocations were possible that none could give a p under 0.05 for "
        f"{'; '.join(names)}. The randomisation test neither confirms nor denies there.",
    )


def _same_pair(table: pd.DataFrame, method: str, against: str) -> pd.DataFrame:
    rows = (table["method"].astype(str) == method) & (table["against"].astype(str) == against)
    return table[rows & table["estimate"].notna()]


def comparison_findings(
    contrasts: Contrasts,
    flags: list[Circumstances],
    settings: Settings,
    milestone: str,
    methods: Sequence[str] | pd.Series[str] = (),
    basis: Basis = Basis.PLANTED,
) -> list[Finding]:
    """Make the findings of each comparison, under the headline that sums them up.

    Every preparation stands in the headline, those not compared with the reason;
    ``methods``: all of the records. Where none could be compared the headline says so.
    """
    design = settings.design
    findings: list[Finding] = []
    for row, known in enumerate(flags):
        finding = contrast_finding(contrasts, row, milestone, design, flags=known, seedlings=basis)
        findings.append(finding)
    left = _left(contrasts, findings, methods)
    named = named_usual(contrasts, settings)
    # Neither a refused comparison nor one of too few plots may lead.
    told = [finding for finding in findings if finding.grade != "not answered"]
    headline = headline_finding(told, named, left)
    if headline is None and findings:
        against = str(contrasts.table.iloc[0]["against"])
        why = say(en.NOTHING_COMPARED, against=Name(against))
        asked = question_of(against, named)
        headline = unanswered_finding(
            "headline", asked, (why, *not_compared(left)), milestone, contrasts.at_day
        )
    return [headline, *findings] if headline is not None else findings


def _left(
    contrasts: Contrasts, findings: list[Finding], methods: Sequence[str] | pd.Series[str]
) -> list[tuple[str, str]]:
    """List the preparations that could not be compared, each with the reason."""
    reasons: list[tuple[str, str]] = []
    for finding, line in zip(findings, contrasts.table.to_dict("records"), strict=True):
        if finding.grade != "not answered":
            continue
        why = str(line["reason"]) or "the records give no limits"
        reasons.append((finding.methods[0] if finding.methods else str(line["method"]), why))
    named = {*contrasts.table["method"].astype(str), *contrasts.table["against"].astype(str)}
    unseen = [name for name in dict.fromkeys(map(str, methods)) if name and name not in named]
    return [*reasons, *((name, "none of its seedlings were looked at again") for name in unseen)]


def named_usual(contrasts: Contrasts, settings: Settings) -> bool:
    """Whether the method compared against is the usual practice that the study file names."""
    against = contrasts.table["against"].astype(str)
    return bool((against == str(settings.design.usual_practice)).any())


def best_of(weighed: Weighed, shares: pd.DataFrame) -> Finding | None:
    """Make the finding of whether one preparation is clearly the best; None where fewer than three are.

    ``shares`` as for :meth:`Weighed.circumstances`.
    """
    pairs, season = weighed.comparisons.all_pairs, weighed.season
    if pairs is None:
        return None
    design = season.settings.design
    lines = list(pairs.table.iterrows())
    leader = _leader(pairs, season)
    if leader is None:
        return None
    by_others = weighed.by_others
    against_leader = []
    for row, (_, line) in enumerate(lines):
        method, against = str(line["method"]), str(line["against"])
        if leader not in (method, against):
            continue
        estimate, low, high = (float(line[name]) for name in ("estimate", "lower", "upper"))
        # Differences by the other models are of a method less the leader.
        other = -by_others[against] if method == leader else by_others[method]
        flags = Circumstances(
            models_disagree=bool(((other < low) | (other > high)).any()),
            sites_inconsistent=bool(interaction_p(shares, method, against) < SIGNIFICANCE),
        )
        numbers = (estimate, low, high) if method == leader else (-estimate, -high, -low)
        against_leader.append(
            Pair(
                against if method == leader else method,
                *numbers,
                float(line["p_adjusted"]),
                line["basis"] == BETWEEN,
                _of_pair(pairs, row, season, flags),
            )
        )
    compared = int((pairs.table["basis"] != REFUSED).sum())
    if not compared or all(pair.finding.grade == "not answered" for pair in against_leader):
        return None
    return best_finding(leader, against_leader, compared, design)


def _of_pair(pairs: Contrasts, row: int, season: Season, flags: Circumstances | None = None) -> Finding:
    design = season.settings.design
    return contrast_finding(pairs, row, season.when, design, flags=flags, seedlings=season.basis)


def _leader(pairs: Contrasts, season: Season) -> str | None:
    """Name the preparation that no other is above, as `survivor.evidence` has it."""
    return leader_of([_of_pair(pairs, row, season) for row in range(len(pairs.table))])


def leader_by_others(season: Season, models: SeasonFits, comparisons: Comparisons) -> pd.DataFrame:
    """Differences of each method less the leader by the other models: a row a model, a column a method."""
    pairs = comparisons.all_pairs
    leader = None if pairs is None else _leader(pairs, season)
    if pairs is None or leader is None:
        return pd.DataFrame()
    rows = []
    for fitted in models.others.values():
        day = season.milestone_day if fitted.at is None else fitted.at
        try:
            table = compare(fitted, at=day, against=leader).table
        except SurvivorError:  # such a model has its own line, with the reason, in the table of models
            continue
        rows.append(pd.Series(table["estimate"].to_numpy(dtype=float), index=table["method"].astype(str)))
    methods = pd.unique(pd.concat([pairs.table["method"], pairs.table["against"]]).astype(str))
    return pd.DataFrame(rows, columns=methods, dtype=float)


def whole_answers(season: Season, models: SeasonFits, totals: Totals, unmade: Unmade) -> list[Finding]:
    """Make the findings of the whole planting: what was promised, how many are alive, plants and stems.

    What was promised and cannot be judged keeps its place, with the reason; one that is judged
    stands for how many are alive. The same survival in other units has the grade of how many are alive.
    """
    target = target_answer(season, models, unmade)
    alive = None
    if totals.whole is not None:
        turns = of_whole(season, models, season.milestone_day, season.window, None)
        design, basis = season.settings.design, season.basis
        alive = survival_finding(totals.whole, season.when, design, turns, basis)
    judged = target is not None and target.grade != "not answered"
    findings = [] if target is None or judged else [target]
    first = target if judged else alive
    if first is None:
        return findings
    # Stems wanted at a milestone are not judged before it.
    wanted = season.settings.stocking if reached(season.milestone, season.milestone_day) else None
    scaled = [] if alive is None else _scaled(totals.scaled, alive, wanted)
    return [*findings, first, *scaled]


def _scaled(table: pd.DataFrame, alive: Finding, stocking: Stocking | None) -> list[Finding]:
    """Make the findings of the plants alive in the whole planting, and of the stocking against the wanted."""
    wanted = None if stocking is None else float(stocking.target_per_hectare)
    findings = []
    for row in table.to_dict("records"):
        size, put_in = (
            (float(row["estimate"]), float(row["lower"]), float(row["upper"])),
            float(row["put_in"]),
        )
        if row["unit"] == PLANTS:
            findings.append(total_finding(alive, size, put_in))
        else:
            findings.append(stocking_finding(alive, size, put_in, wanted))
    return findings


def target_answer(season: Season, models: SeasonFits, unmade: Unmade) -> Finding | None:
    """Judge the target, or keep the question with the reason; None where nothing was promised."""
    settings = season.settings
    if settings.target is None:
        return None
    milestone, day = promised_milestone(settings), season.milestone_day
    if season.why_nothing:
        return unanswered_finding(
            "target", QUESTIONS["target"], sentence(season.why_nothing), milestone_words(milestone, day), day
        )
    day, _ = milestone_day(season.intervals, milestone, season.visited)
    made = attempt("target", lambda: _judged(season, models, milestone, day))
    if isinstance(made, Finding):
        return made
    unmade.keep(made)
    when = milestone_words(milestone, day)
    return unanswered_finding("target", QUESTIONS["target"], made.alone, when, day, made.what_to_do)


def promised_milestone(settings: Settings) -> Milestone:
    """Milestone for which survival was promised; the headline's where nothing was."""
    named = settings.target.milestone if settings.target is not None else settings.headline_milestone.name
    return next(milestone for milestone in settings.milestones if milestone.name == named)


def _judged(season: Season, models: SeasonFits, milestone: Milestone, day: float) -> Finding:
    """Judge the target at its own milestone."""
    assert season.settings.target is not None
    promised, design = season.settings.target.survival_per_100, season.settings.design
    if day < milestone.day - milestone.window_days:
        raise EffectError(f"the visits have not reached {milestone.name}, for which survival was promised")
    whole = whole_planting(season, models, day)
    # Those found at the first visit live on more often than those planted: a promise that even
    # they fall short of was missed, but one that they keep may have been missed all the same.
    if season.basis is Basis.FOUND and not float(whole.table["upper"].iloc[0]) < promised:
        raise EffectError(
            "survival was promised of planted seedlings, and these records begin at the first visit; of "
            "those found there more live on, so they cannot show that the promise was kept"
        )
    turns = of_whole(season, models, day, float(milestone.window_days), promised)
    return target_finding(whole, promised, milestone.name, design, turns, season.basis)


def cost_answers(season: Season, models: SeasonFits, costs: Costs, fragility: Fragility) -> list[Finding]:
    """Make the findings of the cost per established plant and of the best value."""
    if costs.payoff is None:
        return []
    design = season.settings.design
    # Comparisons know it each for themselves (``penalised`` of their table).
    penalised = models.answer is not None and models.answer.variance == "penalised"
    flags = replace(fragility.costs, penalised=penalised)
    cost = payoff_finding(costs.payoff, season.when, design, flags=flags).adding(fragility.costs_note)
    value = value_finding(costs.payoff, season.when, design, flags=flags)
    return [cost] if value is None else [cost, value]


def season_findings(
    season: Season,
    compared: list[Finding],
    whole: list[Finding],
    costs: list[Finding],
    response: Dose | None,
    rain: Rain,
    unmade: Unmade,
) -> tuple[Finding, ...]:
    """Order the findings by what the season was monitored for.

    A question without an answer stays on the list with its reason.
    """
    design = season.settings.design
    if not compared:
        reasons = unmade.texts("season", "curves", "models", "survival", "comparing")
        why = " ".join(reasons) or "The preparations could not be compared."
        compared = [unanswered_finding("headline", "", why, season.when, season.milestone_day)]
    first = 0 if season.settings.study.purpose == "check a target" else 1
    findings = [*compared[:first], *whole, *compared[first:], *costs]
    if response is not None:
        findings.append(radius_finding(response, season.when, design))
    untold = next((reason for reason in rain.reasons if reason.part == "rain"), None)
    if untold is not None:
        said, mend = sentence(untold.what), untold.what_to_do
        findings.append(unanswered_finding("rain", "", said, season.when, season.milestone_day, mend))
    years = () if season.intervals.empty else years_note(season.intervals, season.settings)
    answered = [
        finding.adding(years) if finding.key in _OVER_YEARS and finding.grade != "not answered" else finding
        for finding in findings
    ]
    return tuple(replace(finding, reach=reach_of(finding, season)) for finding in answered)


def reach_of(finding: Finding, season: Season) -> str:
    """Say of which sites and seasons a grade speaks; empty where there is none."""
    if finding.grade in (None, "not answered") or not finding.n_sites:
        return ""
    years = len(years_of(season.intervals, season.settings))
    sites = "this site" if finding.n_sites == 1 else f"these {finding.n_sites} sites"
    return f"{sites} and {'this season' if years < 2 else f'these {years} planting seasons'}"
