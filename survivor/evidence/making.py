"""From results to findings: the numbers, the sentence and the grade together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd

from survivor.costs.payoff import Payoff
from survivor.effects.confounding import BETWEEN, WITHIN
from survivor.effects.contrasts import LEAST_PLOTS, Contrasts
from survivor.effects.dose import Dose
from survivor.effects.plateau import Plateau
from survivor.effects.standardise import Standardised
from survivor.evidence import english as en
from survivor.evidence.finding import Alternative, Finding, Reading, VerdictWord, as_sentences
from survivor.evidence.grading import LEAST_DF, Circumstances, Settled, grade
from survivor.evidence.words import (
    Counts,
    Size,
    compared,
    judged,
    of_finding,
    pair_key,
    reading,
    settled,
    survival_parts,
    target_verdict,
)
from survivor.evidence.words import (
    alive as alive_said,
)
from survivor.sentences import Name, Text, Value, plain_text, say
from survivor.settings import Design
from survivor.vocabulary import CONFIDENCE, RANDOM, REFUSED, Basis
from survivor.words import estimated_beside, number

QUESTIONS: Final = {
    "headline": "Under which preparations were more plants alive than under the usual practice?",
    "best": "Is one preparation clearly the best?",
    "alive": "How many are alive?",
    "target": "Was the target met?",
    "total": "How many plants are alive in the whole planting?",
    "stocking": "What is the stocking: how many living stems stand on a hectare?",
    "payoff": "What does an established plant cost?",
    "value": "Which preparation is the best value?",
    "radius": "How wide should the weed-free patch be?",
    "rain": "How did rain go with survival?",
}


NOTHING: Final = Counts(0, 0, 0)
Line = Mapping[Any, Any]
SIDE_BY_SIDE: Final = (
    f"both preparations side by side at the same sites, at least {LEAST_PLOTS} plots of each"
)


@dataclass(frozen=True)
class Numbers:
    """What an answer says in numbers, and what they rest on.

    ``estimate, lower, upper`` in ``unit``, None where there is none; ``at_day`` days since planting;
    ``checks`` what was noticed on the way, in sentences.
    """

    at_day: float
    unit: str = ""
    estimate: float | None = None
    lower: float | None = None
    upper: float | None = None
    counts: Counts = NOTHING
    checks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Turns:
    """What survival of the whole planting turns on.

    ``circumstances`` for the grade; ``between`` says how survival on the day is known where no
    visit fell on it; ``otherwise`` its numbers where the answer is another under the other rule for
    missing plants.
    """

    circumstances: Circumstances
    between: str = ""
    otherwise: Alternative | None = None


AS_COUNTED: Final = Turns(Circumstances())


def finding_of(
    kind: str,
    answer: Text,
    milestone: str,
    numbers: Numbers,
    circumstances: Circumstances,
    *,
    question: str = "",
    methods: tuple[str, ...] = (),
    cost: str | None = None,
    read: Reading | None = None,
    verdict: VerdictWord | None = None,
    otherwise: Alternative | None = None,
) -> Finding:
    """Make a finding: its numbers, its sentence, and the grade that its circumstances allow.

    Parameters
    ----------
    kind
        Key of the finding; its question is that of ``QUESTIONS`` where none is given.
    answer
        The sentences, made from the numbers.
    milestone
        Name of the milestone.
    numbers, circumstances
        What the answer says, and what its grade depends on.
    question, methods, cost, read, verdict, otherwise
        As in ``Finding``.
    """
    graded, reasons, raise_it = grade(circumstances)
    counts = numbers.counts
    return Finding(
        key=kind,
        question=question or QUESTIONS.get(kind, ""),
        answer=plain_text(answer),
        said=as_sentences(answer),
        estimate=numbers.estimate,
        lower=numbers.lower,
        upper=numbers.upper,
        unit=numbers.unit,
        milestone=milestone,
        at_day=numbers.at_day,
        methods=methods,
        n_seedlings=counts.seedlings,
        n_plots=counts.plots,
        n_sites=counts.sites,
        checks=numbers.checks,
        cost=cost,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
        reading=read,
        verdict=verdict,
        otherwise=otherwise,
    )


def unanswered_finding(
    key: str, question: str, reason: Text, milestone: str, at_day: float, what_to_do: str = ""
) -> Finding:
    """Make the finding of a question that the records cannot answer; it stays on the list with its reason.

    ``what_to_do``: what would answer it; may be empty.
    """
    found = finding_of(
        key, reason, milestone, Numbers(at_day), Circumstances(answered=False), question=question
    )
    return replace(found, raise_it=(what_to_do,) if what_to_do else ())


def _numbers(line: Line, at_day: float, unit: str, checks: tuple[str, ...]) -> Numbers:
    """Numbers of a line of survival or of comparisons."""
    counts = Counts(*(int(line[name]) for name in ("n_seedlings", "n_plots", "n_sites")))
    return Numbers(at_day, unit, *_size(line), counts, checks)


def _size(line: Line, estimate: str = "estimate") -> Size:
    """Estimate and limits of a line."""
    return float(line[estimate]), float(line["lower"]), float(line["upper"])


def contrast_finding(
    contrasts: Contrasts,
    row: int,
    milestone: str,
    design: Design,
    *,
    flags: Circumstances | None = None,
    seedlings: Basis = Basis.PLANTED,
) -> Finding:
    """Make the finding of one comparison.

    Parameters
    ----------
    contrasts
        The comparisons.
    row
        Which of them, counted from 0.
    milestone
        Name of the milestone.
    design
        How plots were placed and preparations chosen, and the smallest difference
        that matters.
    cost
        What it costs, in words.
    flags
        What else is known: unknown plants, models, sites. Its other fields are filled
        in here.
    seedlings
        Whether survival is of those planted, or of those found at the first visit.
    """
    line = contrasts.table.iloc[row].to_dict()
    method, against = str(line[contrasts.by]), str(line["against"])
    numbers = _numbers(line, contrasts.at_day, seedlings.per_100, contrasts.checks)
    known = replace(
        flags or Circumstances(),
        compares=True,
        answered=line["basis"] != REFUSED,
        allocation=design.allocation,
        plots_placed=design.plots_placed,
        basis=str(line["basis"]),
        penalised=bool(line["penalised"]),
    )
    read: Reading | None = None
    together = (float("nan"), float("nan"))
    if known.answered:
        smallest, size = design.smallest_difference, _size(line)
        p_adjusted = float(line["p_adjusted"])
        together = float(line["lower_simultaneous"]), float(line["upper_simultaneous"])
        read = reading(size[1], size[2], p_adjusted, smallest)
        known = replace(
            known,
            df=float(line["df"]),
            fewest_plots=int(line["fewest_plots"]),
            settled=settled(size[1], size[2], p_adjusted, smallest, together),
        )
        answer = compared(
            method,
            against,
            size,
            milestone,
            p_adjusted=p_adjusted,
            smallest=smallest,
            random=design.allocation == RANDOM,
            basis=known.basis,
            seedlings=seedlings,
        )
    else:
        numbers = replace(numbers, estimate=None, lower=None, upper=None)
        reason = str(line["reason"])
        answer = (say(en.REFUSED, method=Name(method), against=Name(against), reason=reason),)
    found = finding_of(
        pair_key(method, against),
        answer,
        milestone,
        numbers,
        known,
        question=str(say(en.ASKED_OF_PAIR, method=Name(method), against=Name(against))),
        methods=(method, against),
        read=read,
    )
    if not known.answered:
        return replace(found, raise_it=(SIDE_BY_SIDE,))
    lower, upper = together
    return replace(
        found, lower_simultaneous=lower, upper_simultaneous=upper, comparisons=contrasts.comparisons
    )


def target_finding(
    survival: Standardised,
    target: float,
    milestone: str,
    design: Design,
    turns: Turns = AS_COUNTED,
    seedlings: Basis = Basis.PLANTED,
) -> Finding:
    """Make the finding of a target: a statement about true survival of the planted.

    Parameters
    ----------
    survival
        Of the whole planting (``by=None``).
    target
        Survival promised, per 100 planted.
    milestone, design, seedlings
        As for :func:`contrast_finding`.
    turns
        What survival of the whole planting turns on.
    """
    numbers, known = _of_planting(survival, design, turns, seedlings)
    size, otherwise = _size(survival.table.iloc[0].to_dict()), turns.otherwise
    other = None if otherwise is None else otherwise.size
    verdict = target_verdict(size, target, milestone, turns.between, seedlings, other)
    said = list(verdict.said)
    if otherwise is not None and otherwise.verdict is not None and other is not None:
        numbers_too = survival_parts("", other, verdict.digits)
        said.append(say(en.TARGET_OTHER, rule=otherwise.rule, verdict=otherwise.verdict, **numbers_too))
    known = replace(
        known,
        depends_on_missing=otherwise is not None,
        settled="no" if verdict.word == "unclear" and otherwise is None else "yes",
    )
    word: VerdictWord = verdict.word if otherwise is None else "depends on missing plants"
    return finding_of("target", tuple(said), milestone, numbers, known, verdict=word, otherwise=otherwise)


def survival_finding(
    survival: Standardised,
    milestone: str,
    design: Design,
    turns: Turns = AS_COUNTED,
    seedlings: Basis = Basis.PLANTED,
) -> Finding:
    """Make the finding of how many of the whole planting are alive; parameters as for a target."""
    numbers, known = _of_planting(survival, design, turns, seedlings)
    size, otherwise = _size(survival.table.iloc[0].to_dict()), turns.otherwise
    answer = list(alive_said(size, milestone, turns.between, seedlings))
    if otherwise is not None:
        answer.append(say(en.ALIVE_OTHER, rule=otherwise.rule, **survival_parts("", otherwise.size)))
    # The limits may reach further from the estimate than the smallest difference that matters.
    wide = (size[2] - size[1]) / 2 > design.smallest_difference
    known = replace(known, settled="partly" if wide else "yes")
    return finding_of("alive", tuple(answer), milestone, numbers, known, otherwise=otherwise)


def _of_planting(
    survival: Standardised, design: Design, turns: Turns, seedlings: Basis
) -> tuple[Numbers, Circumstances]:
    """Numbers of survival of the whole planting, and what an answer on it depends on."""
    line = survival.table.iloc[0].to_dict()
    numbers = _numbers(line, survival.at_day, seedlings.per_100, survival.checks)
    placed, plots = design.plots_placed, numbers.counts.plots
    known = replace(
        turns.circumstances,
        compares=False,
        plots_placed=placed,
        df=float(line["df"]),
        fewest_plots=plots,
    )
    return numbers, known


def total_finding(alive: Finding, size: Size, put_in: float) -> Finding:
    """Make the finding of how many plants of the whole planting are alive.

    Parameters
    ----------
    alive
        Survival of the whole planting, as :func:`survival_finding` gives it.
    size
        Plants, with 95 % CI.
    put_in
        Plants in the whole planting.
    """
    answer = (
        say(en.TOTAL, put_in=Value(number(put_in), put_in), when=alive.milestone, **_plants("total", size)),
        say(en.NO_INFILL),
    )
    return _in_other_units(alive, "total", answer, "plants", size)


def _plants(kind: str, size: Size, mark: float | None = None) -> dict[str, Value]:
    """Write an estimated number of plants with its interval: ``estimate`` and ``span``."""
    written, low, high = estimated_beside(size, mark)
    return {
        "estimate": Value(written, size[0], of_finding(kind, "estimate")),
        "span": Value(f"95 % CI {low} to {high}", size[1], of_finding(kind, "lower")),
    }


def stocking_finding(alive: Finding, size: Size, put_in: float, wanted: float | None = None) -> Finding:
    """Make the finding of the stocking: living stems on a hectare, of plants put in first.

    Parameters
    ----------
    alive
        Survival of the whole planting.
    size
        Living stems per hectare, with 95 % CI.
    put_in
        Plants put in per hectare.
    wanted
        Living stems wanted per hectare, or None: then no verdict is given.
    """
    planted, numbers = Value(number(put_in), put_in), _plants("stocking", size, wanted)
    answer = (say(en.STEMS, put_in=planted, when=alive.milestone, **numbers), say(en.NO_RECRUITS))
    found = _in_other_units(alive, "stocking", answer, "living stems per hectare", size)
    if wanted is None:
        return found
    verdict, otherwise = judged(*size[1:], wanted), None
    if alive.otherwise is not None:
        other = alive.otherwise
        middle, low, high = (value * put_in / 100 for value in other.size)
        otherwise = Alternative(other.rule, middle, low, high, judged(low, high, wanted))
        if otherwise.verdict != verdict:
            verdict = "depends on missing plants"
    said = say(en.STEMS_WANTED[verdict], wanted=Value(number(wanted), wanted))
    graded = replace(found, verdict=verdict, otherwise=otherwise).adding(said)
    if verdict in ("unclear", "depends on missing plants"):
        unclear = verdict == "unclear"
        settled_: Settled = "no" if unclear else "yes"
        known = Circumstances(compares=False, settled=settled_, depends_on_missing=not unclear)
        _, reasons, raise_it = grade(known)
        return replace(graded, grade=None, reasons=reasons, raise_it=raise_it)
    return graded


def _in_other_units(alive: Finding, kind: str, answer: Text, unit: str, size: Size) -> Finding:
    estimate, lower, upper = size
    return replace(
        alive,
        key=kind,
        question=QUESTIONS[kind],
        answer=plain_text(answer),
        said=as_sentences(answer),
        estimate=estimate,
        lower=lower,
        upper=upper,
        unit=unit,
    )


def _priced(payoff: Payoff, design: Design, basis: str, flags: Circumstances | None) -> Circumstances:
    """Circumstances of an answer on costs: those of the survival that costs are divided by."""
    costed = _costed(payoff)
    return replace(
        flags or Circumstances(),
        allocation=design.allocation,
        plots_placed=design.plots_placed,
        basis=basis,
        df=float(costed["df"].min()),
        fewest_plots=int(costed["n_plots"].min()),
    )


def _costed(payoff: Payoff) -> pd.DataFrame:
    """Survival of the methods that have a cost."""
    survived = payoff.survival.table
    return survived[survived[payoff.by].isin(payoff.table[payoff.by])]


def _between(payoff: Payoff, method: Any) -> bool:
    """Whether what is said of one method against the others rests on sites that hold only one of them."""
    return any(method in pair for pair in payoff.between)


def _rests_on(payoff: Payoff) -> Counts:
    """Count what costs rest on; of sites the most that one method has where they are not known together."""
    table = payoff.table
    sites = payoff.n_sites or int(table["n_sites"].max())
    return Counts(int(table["n_seedlings"].sum()), int(table["n_plots"].sum()), sites)


def payoff_finding(
    payoff: Payoff, milestone: str, design: Design, *, flags: Circumstances | None = None
) -> Finding:
    """Make the finding of what an established plant costs: of the cheapest method, or the lowest found."""
    table = payoff.table
    place = int(table["cost_per_established"].to_numpy().argmin())
    if payoff.cheapest is not None:
        place = table[payoff.by].tolist().index(payoff.cheapest)
    line = table.iloc[place].to_dict()
    alone, several = len(table) == 1, len(payoff.survival.table) > 1
    # Where none is clearly the cheapest the question is as open as a difference that is not clear.
    # The cost of one method alone is known as well as the survival that it is divided by.
    costed = _costed(payoff)
    wide = bool(((costed["upper"] - costed["lower"]).max()) / 2 > design.smallest_difference)
    open_: Settled = ("partly" if wide else "yes") if alone else "no"
    known = replace(
        _priced(payoff, design, BETWEEN if _between(payoff, line[payoff.by]) else WITHIN, flags),
        compares=several,
        one_cost=alone and several,
        settled="yes" if payoff.cheapest is not None else open_,
    )
    counts = _rests_on(payoff)
    unit = f"{line['currency']} per established plant".strip()
    return finding_of(
        "payoff",
        payoff.said,
        milestone,
        Numbers(payoff.at_day, unit, *_size(line, "cost_per_established"), counts, payoff.noticed),
        known,
        methods=tuple(map(str, table[payoff.by])),
        cost=payoff.statement,
    )


def value_finding(
    payoff: Payoff, milestone: str, design: Design, *, flags: Circumstances | None = None
) -> Finding | None:
    """Make the finding of the best value by what a plant is worth; None where fewer than two can be costed.

    Parameters
    ----------
    payoff
        Costs with the chance of the best value.
    milestone, design
        As for the other findings.
    flags
        What else is known, such as a penalised model.
    """
    value = payoff.best_value
    if value is None or value.table.empty:
        return None
    clear = bool((value.ranges["chance_low"] >= CONFIDENCE).all())
    leaders = list(dict.fromkeys(value.ranges[payoff.by]))
    basis = BETWEEN if any(_between(payoff, method) for method in leaders) else WITHIN
    known = replace(
        _priced(payoff, design, basis, flags),
        compares=True,
        settled="yes" if clear else "partly" if len(leaders) > 1 else "no",
    )
    counts = _rests_on(payoff)
    return finding_of(
        "value",
        value.said,
        milestone,
        Numbers(payoff.at_day, counts=counts, checks=value.checks),
        known,
        methods=tuple(map(str, leaders)),
    )


def radius_finding(dose: Dose, milestone: str, design: Design) -> Finding:
    """Make the finding of how wide the weed-free patch should be.

    The radius is not allocated at random, even where the preparation is, so its grade is that
    of an observation whatever the study's allocation.
    """
    stops, counts = dose.stops_paying, Counts(dose.n_seedlings, dose.n_plots, dose.n_sites)
    if stops is None:
        answer = " ".join(dose.checks) or en.NO_RADIUS
        numbers = Numbers(dose.at_day, counts=counts, checks=dose.checks)
        return finding_of("radius", answer, milestone, numbers, Circumstances(answered=False))
    unit = "m radius" if stops.value is not None else ""
    numbers = Numbers(dose.at_day, unit, stops.value, stops.lower, stops.upper, counts, dose.checks)
    known = Circumstances(
        radius=True,
        plots_placed=design.plots_placed,
        fewest_plots=dose.n_plots,
        settled=_radius_settled(dose, stops),
        df=float(dose.table["df"].min()),
        penalised=dose.fit is not None and dose.fit.variance == "penalised",
    )
    return finding_of("radius", radius_answer(dose), milestone, numbers, known)


def radius_answer(dose: Dose) -> str:
    """Say where a wider patch stops paying; empty where it was not modelled."""
    if dose.stops_paying is None:
        return ""
    line = dose.along_line
    if line is None or not float(dose.table["df"].min()) < LEAST_DF:
        return dose.stops_paying.sentence
    said = en.RADIUS_FEW.format(
        first=f"{number(line.from_m, 2)} m",
        last=f"{number(line.to_m, 2)} m",
        size=number(abs(line.estimate), 1),
        more="more" if line.estimate >= 0 else "fewer",
        per=line.per,
    )
    return f"{said} {en.RADIUS_NO_INTERVAL}"


def _radius_settled(dose: Dose, stops: Plateau) -> Settled:
    """Whether the records tell from which radius more stops paying.

    In part where a limit lies beyond the data, or where all that is shown is that more
    still pays.
    """
    if stops.state == "reached":
        return "yes" if stops.lower is not None and stops.upper is not None else "partly"
    if stops.state == "not reached":
        return "partly" if stops.lower is not None else "no"
    still = dose.along_line is not None and dose.along_line.lower >= stops.gain
    return "partly" if still else "no"
