"""What a report says: an analysis turned into headings, sentences, tables and figures."""

from __future__ import annotations

from typing import TYPE_CHECKING

from survivor.analysis.entry import of_found
from survivor.analysis.milestone import milestone_words
from survivor.report.content.answer import answer, extent, questions
from survivor.report.content.appendix import appendix
from survivor.report.content.cautions import cautions
from survivor.report.content.comparing import comparison
from survivor.report.content.elements import Report
from survivor.report.content.grouping import sites, species
from survivor.report.content.lasting import patch
from survivor.report.content.logs import corrections, photo_points
from survivor.report.content.losses import losses
from survivor.report.content.money import costs
from survivor.report.content.planting import planting
from survivor.report.content.plantings import planting_years
from survivor.report.content.radii import radius
from survivor.report.content.rainfall import season
from survivor.report.content.rewording import reworded
from survivor.report.content.stages import stages
from survivor.report.content.survival import survival_curves
from survivor.report.content.tall import heights
from survivor.report.content.whole import alive_in_all
from survivor.report.content.wording import date, dates
from survivor.report.content.workings import cannot, problems, provenance, workings

if TYPE_CHECKING:
    from survivor.analysis.result import Analysis

__all__ = ["report_of"]


def report_of(analysis: Analysis) -> Report:
    """Return the whole report in reading order, the answer first.

    Parameters
    ----------
    analysis
        A season, analysed. What it does not hold is said, with the reason.
    """
    when = milestone_words(analysis.settings.headline_milestone, analysis.milestone_day)
    about = [f"Establishment survival at {when}", extent(analysis)]
    planted = analysis.records.plots.get("planted_date")
    seen = analysis.records.visits.get("date")
    if planted is not None and planted.notna().any():
        about.append(f"planted {dates(planted)}")
    if seen is not None and seen.notna().any():
        about.append(f"last visit {date(seen.max())}")
    report = Report(
        title=analysis.settings.study.name,
        about=tuple(about),
        answer=answer(analysis),
        sections=(
            questions(analysis),
            planting(analysis),
            survival_curves(analysis),
            stages(analysis),
            alive_in_all(analysis),
            *planting_years(analysis),
            *heights(analysis),
            comparison(analysis),
            radius(analysis),
            *patch(analysis),
            season(analysis),
            species(analysis),
            sites(analysis),
            losses(analysis),
            costs(analysis),
            cannot(analysis),
            workings(analysis),
            problems(analysis),
            corrections(analysis.settings),
            *photo_points(analysis.settings),
            cautions(analysis),
            provenance(analysis),
            appendix(analysis),
        ),
    )
    return reworded(report, of_found) if analysis.found_first else report
