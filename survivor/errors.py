"""One root error and one class per stage; each text says what, where and the mend."""

from __future__ import annotations


class SurvivorError(Exception):
    """Root of every error that this package raises on purpose.

    Parameters
    ----------
    what
        What is wrong, in one plain sentence.
    where
        File, sheet, row, column or study-file key; empty when there is none.
    mend
        What the reader can do about it.
    """

    #: Exit status of the command line: 1 the records stop the answer, 2 wrong use.
    exit_status = 1

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what = what
        self.where = where
        self.mend = mend
        parts = [f"{where}: {what}" if where else what]
        if mend:
            parts.append(f"What to do: {mend}")
        super().__init__("\n".join(parts))


class StudyFileError(SurvivorError):
    """The study file is missing, unreadable, or says something we do not know."""

    exit_status = 2


class RecordsError(SurvivorError):
    """A file of records cannot be read, or too little in it can be understood."""


class UnusableError(RecordsError):
    """No record can be used, for problems that are listed with the records, each with its mend."""


class IntervalsError(SurvivorError):
    """A risk-interval table breaks one of its invariants."""


class PlanError(SurvivorError):
    """The plan file is missing, unreadable, or asks for what no layout or size can give."""

    exit_status = 2


class SimulationError(SurvivorError):
    """A cohort cannot be drawn from these parameters; says which one and why."""

    exit_status = 2


class DemoError(SurvivorError):
    """The demo cohorts cannot be written without losing what stands there."""

    exit_status = 2


class SeasonError(SurvivorError):
    """A rain or temperature file cannot be used."""


class CurveError(SurvivorError):
    """A survival curve cannot be drawn from these intervals, or not at that day."""


class ModelError(SurvivorError):
    """A model cannot be fitted to these intervals; says which term and why."""


class EffectError(SurvivorError):
    """An effect is not estimable from these records; says why."""


class PayoffError(SurvivorError):
    """Costs are missing or cannot be joined to the methods."""


class PoolingError(SurvivorError):
    """Seasons or sites cannot be pooled: too few, not comparable, or one counted twice."""


class ProgrammeError(SurvivorError):
    """A programme cannot be run: no studies below its folder, or none that can be used."""

    exit_status = 2


class NoProcessesError(ProgrammeError):
    """No processes can be started on this machine for a programme."""


class GuidelineError(SurvivorError):
    """A guideline cannot be made, or its file says something we do not know."""

    exit_status = 2


class DeskError(SurvivorError):
    """The desk was asked for what it does not do: says what, and what to do instead."""

    exit_status = 2


class ReportError(SurvivorError):
    """A report cannot be set in one of its forms."""


class WritingError(SurvivorError):
    """A place cannot be written to, or holds what survivor did not write and so never replaces."""

    exit_status = 2
