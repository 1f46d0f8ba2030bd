"""One answer with everything that a reader needs to weigh it."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, fields, replace
from typing import Annotated, Any, Final, Literal

import pandas as pd
from pydantic.json_schema import SkipJsonSchema

from survivor.sentences import Sentence, Text, plain_text, say, sentences_of

Grade = Literal["strong", "moderate", "weak", "not answered"]
VerdictWord = Literal["met", "missed", "unclear", "depends on missing plants"]
Reading = Literal[
    "clear difference",
    "clear but small difference",
    "no difference that matters",
    "not enough evidence to say",
]
NOT_ENOUGH: Final[Reading] = "not enough evidence to say"


@dataclass(frozen=True)
class Alternative:
    """The same answer under another rule: the rule in words, its numbers and its verdict."""

    rule: str
    estimate: float
    lower: float
    upper: float
    verdict: VerdictWord | None = None

    @property
    def size(self) -> tuple[float, float, float]:
        """Estimate, lower and upper limit."""
        return self.estimate, self.lower, self.upper


@dataclass(frozen=True)
class Finding:
    """A question and its answer.

    Attributes
    ----------
    key
        Short name, the same in every season.
    question
        As a reader would ask it.
    answer
        A few sentences, with number, unit and limits.
    estimate, lower, upper
        In ``unit``; None where there is none. Limits are two-sided 95 %.
    lower_simultaneous, upper_simultaneous
        Of comparisons: limits that hold 95 % for all pairs of preparations together, so that they
        allow for this one being picked because it is clear; ``comparisons``: how many pairs.
    unit
        For example ``per 100 planted``.
    milestone, at_day
        The milestone's name and the days since planting used.
    methods
        The methods compared, in the order of the difference.
    n_seedlings, n_plots, n_sites
        What the answer rests on.
    checks
        What was noticed on the way, in sentences.
    cost
        What it costs, in words, or None.
    grade
        Strength of evidence: ``strong``, ``moderate``, ``weak`` or ``not answered``; None where
        there is not enough evidence to say, which is an answer of its own.
    reach
        Of what the strength speaks, for example ``these 8 sites and this season``.
    reasons, raise_it
        Why the grade is no higher, and what would raise it.
    reading
        Of comparisons: how the difference reads against the smallest one that matters.
    verdict
        On a target only: ``met``, ``missed``, ``unclear`` or ``depends on missing plants``.
    otherwise
        The answer under the other rule for missing plants, where it is another.
    said
        The sentences of the answer with the values that they are made of; goes into no file.
    """

    key: str
    question: str
    answer: str
    estimate: float | None
    lower: float | None
    upper: float | None
    unit: str
    milestone: str
    at_day: float
    methods: tuple[str, ...] = ()
    n_seedlings: int = 0
    n_plots: int = 0
    n_sites: int = 0
    checks: tuple[str, ...] = ()
    cost: str | None = None
    grade: Grade | None = "not answered"
    reach: str = ""
    reasons: tuple[str, ...] = ()
    raise_it: tuple[str, ...] = ()
    reading: Reading | None = None
    verdict: VerdictWord | None = None
    otherwise: Alternative | None = None
    lower_simultaneous: float | None = None
    upper_simultaneous: float | None = None
    comparisons: int | None = None
    said: Annotated[tuple[Sentence, ...], SkipJsonSchema()] = field(default=(), repr=False, compare=False)

    @property
    def size(self) -> tuple[float, float, float]:
        """Estimate, lower and upper limit; 0 for one that is not known."""
        return self.estimate or 0.0, self.lower or 0.0, self.upper or 0.0

    @property
    def text(self) -> Text:
        """The answer, its names apart where its sentences are known."""
        return self.said or self.answer

    @property
    def strength(self) -> str:
        """Strength of evidence in words, also where there is not enough of it to say."""
        return self.grade or NOT_ENOUGH

    def adding(self, *texts: Text) -> Finding:
        """Return the finding with these sentences after its answer; an empty one adds nothing."""
        said = as_sentences(self.text, *texts)
        return replace(self, answer=plain_text(said), said=said)

    def as_record(self) -> dict[str, Any]:
        """Return the finding as plain values, tuples as lists, ready for JSON."""
        held = {each.name: getattr(self, each.name) for each in fields(self) if each.name != "said"}
        if self.otherwise is not None:
            held["otherwise"] = asdict(self.otherwise)
        return {name: list(value) if isinstance(value, tuple) else value for name, value in held.items()}

    @property
    def table(self) -> pd.DataFrame:
        """The finding as a table of one row."""
        record = {
            name: "; ".join(value) if isinstance(value, list) else value
            for name, value in self.as_record().items()
            if name != "otherwise"
        }
        return pd.DataFrame([record])

    def __str__(self) -> str:
        return f"{self.answer} [{self.strength}]"

    def _repr_html_(self) -> str:
        return str(self.table.T.to_html(header=False))


def as_sentences(*texts: Text) -> tuple[Sentence, ...]:
    """Gather texts as sentences; a plain text is one without values."""
    found: list[Sentence] = []
    for text in texts:
        if isinstance(text, str):
            found += [say("{text}", text=text)] if text else []
        else:
            found += sentences_of(text)
    return tuple(found)
