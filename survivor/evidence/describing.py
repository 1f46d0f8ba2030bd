"""Findings without a promise to hold them to: how many are alive, and the weed-free patch."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from survivor.effects.dose import Dose
from survivor.effects.paying import StopsPaying
from survivor.effects.standardise import Standardised
from survivor.evidence.finding import Finding
from survivor.evidence.grading import Circumstances, Settled, grade
from survivor.evidence.words import Counts, survival_sentence
from survivor.settings import Design
from survivor.vocabulary import PER_100


def survival_finding(
    survival: Standardised,
    milestone: str,
    design: Design,
    *,
    flags: Circumstances | None = None,
    told: str = "",
) -> Finding:
    """Make the finding of how many of the whole planting are alive (``survival`` with ``by=None``).

    ``flags``: what else is known of it; ``told``: how survival on the day is known, where no
    visit fell on it.
    """
    line: dict[str, Any] = {str(name): value for name, value in survival.table.iloc[0].items()}
    estimate, lower, upper = (float(line[name]) for name in ("estimate", "lower", "upper"))
    counts = Counts(int(line["n_seedlings"]), int(line["n_plots"]), int(line["n_sites"]))
    graded, reasons, raise_it = grade(
        replace(
            flags or Circumstances(),
            compares=False,
            plots_placed=design.plots_placed,
            df=float(line["df"]),
            fewest_plots=counts.plots,
            settled="yes" if (upper - lower) / 2 <= design.smallest_difference else "partly",
        )
    )
    return Finding(
        key="alive",
        question="How many are alive?",
        answer=survival_sentence("all preparations", estimate, lower, upper, milestone, counts, told),
        estimate=estimate,
        lower=lower,
        upper=upper,
        unit=PER_100,
        milestone=milestone,
        at_day=survival.at_day,
        n_seedlings=counts.seedlings,
        n_plots=counts.plots,
        n_sites=counts.sites,
        checks=survival.checks,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
    )


def radius_finding(dose: Dose, milestone: str, design: Design) -> Finding:
    """Make the finding of how wide the weed-free patch should be.

    The radius is not drawn by lot, even where the preparation is, so its grade is that
    of an observation whatever the study's allocation.
    """
    stops = dose.stops_paying
    if stops is None:
        answer = " ".join(dose.checks) or "The weed-free radius is described by method and not modelled."
        known = Circumstances(answered=False)
    else:
        answer = radius_answer(dose)
        known = Circumstances(
            radius=True,
            plots_placed=design.plots_placed,
            fewest_plots=dose.n_plots,
            settled=_radius_settled(dose, stops),
            df=float(dose.table["df"].min()),
            penalised=dose.fit is not None and dose.fit.variance == "penalised",
        )
    graded, reasons, raise_it = grade(known)
    value = None if stops is None else stops.value
    return Finding(
        key="radius",
        question="How wide should the weed-free patch be?",
        answer=answer,
        estimate=value,
        lower=None if stops is None else stops.lower,
        upper=None if stops is None else stops.upper,
        unit="m radius" if value is not None else "",
        milestone=milestone,
        at_day=dose.at_day,
        n_seedlings=dose.n_seedlings,
        n_plots=dose.n_plots,
        n_sites=dose.n_sites,
        checks=dose.checks,
        grade=graded,
        reasons=reasons,
        raise_it=raise_it,
    )


def radius_answer(dose: Dose) -> str:
    """Say where a wider patch stops paying, and what that rests on; empty where it was not modelled."""
    if dose.stops_paying is None:
        return ""
    rests = Counts(dose.n_seedlings, dose.n_plots, dose.n_sites)
    return f"{dose.stops_paying.sentence} This rests on {rests}."


def _radius_settled(dose: Dose, stops: StopsPaying) -> Settled:
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
