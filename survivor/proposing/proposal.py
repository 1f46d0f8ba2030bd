"""The proposed study file: what the sheets tell, and at most ten questions on what they cannot."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

from survivor.files.kinds import TEXT_ENDINGS, WORKBOOK_ENDINGS
from survivor.files.names import look_alike
from survivor.files.writing import is_there, writing
from survivor.planning.folder import DICTIONARY, blank_files
from survivor.proposing.facts import Facts, facts_of
from survivor.proposing.rain import gauge_lines, rain_files, weather_files
from survivor.proposing.works import design_lines, works_lines
from survivor.records.study_text import propose_study
from survivor.settings import STUDY_FILE
from survivor.settings.questions import PLANTED_AT, STATE_CHOICES, Rank, asked, numbered, quoted
from survivor.words import counted

_NOTHING: Final = re.compile(
    r"\b(?:nothing|nil|none|untreated|control|no prep\w*|not treated)\b", re.IGNORECASE
)
_FILLING: Final = frozenset({"and", "hole", "line", "with", "the", "then", "tractor", "a", "of"})
_SHORT: Final = 4  # letters of a word that keeps its ending
_MOST_NAMES: Final = 40  # of preparations or species that are compared with each other
_EACH_SITE: Final = "on which day was each site planted? It goes before one day for all."
_ALL_SITES: Final = "one day for all; leave it open where sites have days of their own: "
_DAY: Final = "year-month-day, such as 2022-06-15"
_RARE: Final = 0.05  # share of the commonest species below which a name is asked about
# Age, days within which a visit counts for it, name; from which age on it is proposed.
_BLANK: Final = {"alive": "until the plant is found dead", "dead": "where no later visit found it alive"}
_MILESTONES: Final = (("12 months", 365, 45, 335), ("24 months", 730, 45, 700), ("36 months", 1095, 45, 1065))
_FIRST_SEASON: Final = ("after the first dry season", 280, 45)


def propose(folder: Path) -> str:
    """Propose a study file for the sheets, the rain and the weather in a folder.

    Raises
    ------
    StudyFileError
        When there is a study file already, or no sheet with seedlings or plots.
    """
    files = sorted(folder.iterdir()) if folder.is_dir() else []
    files = [f for f in files if f.suffix.lower() in TEXT_ENDINGS + WORKBOOK_ENDINGS]
    files = [f for f in files if not f.name.startswith(("~$", "."))]
    rain = rain_files(files)
    whole = {own.file for own in rain if own.sheet is None}
    weather = weather_files([file for file in files if file.name not in whole])
    beside = {(own.file, own.sheet or "") for own in rain} | {(file, "") for file in weather}
    text = propose_study(folder, beside)
    facts = facts_of(folder / STUDY_FILE, text)
    tagged = 'kind = "tagged"' in text.split("\n")
    rest = [*_words(facts), *_rules(facts, tagged), *_design(facts), *gauge_lines(rain, weather, facts.sites)]
    return numbered("\n".join([*_head(facts), text.rstrip(), "", *rest]).rstrip() + "\n")


def write_proposal(folder: Path, text: str) -> None:
    """Write a study file, and where there is none yet the dictionary of everything that one may say.

    Raises
    ------
    WritingError
        When there is a study file already, or they cannot be written.
    """
    files: dict[str, str | bytes] = {STUDY_FILE: text}
    if not is_there(folder / DICTIONARY):
        files[DICTIONARY] = blank_files()[DICTIONARY]
    with writing(folder, "the proposed study file", as_one=False) as place:
        place.write(files)


def _milestones(facts: Facts) -> list[tuple[str, int, int]]:
    """Ages that the visits reach, the last first: what the first page of the report answers for."""
    last = max((day for day in facts.rounds if day > 1), default=365)
    reached = [(name, day, window) for name, day, window, least in _MILESTONES if last >= least]
    if not reached:
        name = f"{months} months" if (months := round(last / 30.4)) > 1 else f"day {last}"
        return [(name, last, min(30, last - 1))]
    season = [_FIRST_SEASON] if any(abs(day - 280) <= 45 for day in facts.rounds) else []
    return [*reached, *season]


def _head(facts: Facts) -> Iterator[str]:
    milestones = _milestones(facts)
    yield from [
        "# Lines behind #? wait for an answer: take the #? away from the line that is right, or run",
        "# survivor new --ask in this folder. What is asked first changes most.",
        "",
    ]
    if len(milestones) > 1:
        yield from asked(
            Rank.MILESTONE,
            "for which age does the first page of the report answer? Without an answer, for the first.",
            [f"headline = {quoted(name)}   # day {day}" for name, day, _ in milestones],
        )
        yield ""


def _words(facts: Facts) -> Iterator[str]:
    """Words for states, spellings of species: one table for all sheets."""
    if facts.states:
        number = counted(sum(facts.states.values()), "cell")
        used = " and ".join(sorted({"0", "1"} & facts.states.keys()))
        until = f"only {used} used until you say" if used else "unused until you say"
        yield "[records.states]"
        yield from asked(
            Rank.STATES,
            f"what do these words mean? They stand in {number}, {until}.",
            [
                f'{quoted(word)} = ""   # {counted(times, "cell")}: {STATE_CHOICES}'
                for word, times in facts.states.items()
            ],
        )
        yield ""
    if rare := _rare_species(facts.species):
        yield "[records.species]"
        yield from asked(
            Rank.SPECIES,
            "are these species written in two ways? Survival is compared within species.",
            [
                f"{quoted(word)} = {quoted(ours)}   # {counted(facts.species[word], 'cell')}"
                for word, ours in rare.items()
            ],
        )
        yield ""


def _rare_species(species: dict[str, int]) -> dict[str, str]:
    """Names met seldom that look like, or are part of, a common one."""
    most = max(species.values(), default=0)
    common = [name for name, times in species.items() if times > _RARE * most][:_MOST_NAMES]
    found = {}
    for name, times in list(species.items())[: 2 * _MOST_NAMES]:
        near = [
            other
            for other in common
            if other != name
            and times * 4 < species[other]
            and (look_alike(name, other) or _part(name, other))
        ]
        if len(near) == 1:
            found[name] = near[0]
    return found


def _part(name: str, other: str) -> bool:
    words, of = ([*re.findall(r"\w+", text.casefold())] for text in (name, other))
    return bool(words) and set(words) < set(of)


def _rules(facts: Facts, tagged: bool) -> Iterator[str]:
    yield "[rules]"
    if facts.undated:
        yield from asked(
            Rank.PLANTED,
            "on which day were they planted? No sheet tells it for some plots, and their records wait.",
            [f'planted_date = ""   # {_ALL_SITES if len(facts.undated_sites) > 1 else ""}{_DAY}'],
        )
    if tagged:
        yield from asked(
            Rank.TAGGED,
            "when did the tags go in? It decides whether survival is per 100 planted.",
            [
                'tagged = "at planting"   # with the plants: survival counts from the planting day',
                'tagged = "at first sighting"   # later, on plants then alive: it counts from that day',
            ],
        )
    if facts.blank:
        yield from asked(
            Rank.BLANK,
            f"what does a blank cell mean? No cell says {facts.blank}. Without an answer no blank is used.",
            [
                f'blank = "{facts.blank}"   # {_BLANK[facts.blank]}',
                'blank = "not visited"   # nobody looked',
            ],
        )
    if facts.missing:
        yield from asked(
            Rank.MISSING,
            "what became of a plant that is gone from its place? Without an answer it counts as dead.",
            [
                'missing = "dead"   # it died',
                'missing = "unknown"   # nobody knows: it is followed until then',
            ],
        )
    if facts.radius_in_metres:
        yield from asked(
            Rank.UNITS,
            f"are radii below 3 in a column of centimetres in metres? {facts.radius_in_metres:,} cells are "
            "so small. Without an answer they are left blank.",
            [
                "metres_in_centimetres = true   # 0.6 is 60 cm",
                "metres_in_centimetres = false   # they are left blank",
            ],
        )
    yield ""
    if len(facts.undated_sites) > 1:
        days = [
            f'{quoted(site)} = ""   # {PLANTED_AT}{" ".join(site.split())}: {_DAY}'
            for site in facts.undated_sites
        ]
        yield from [*asked(Rank.PLANTED, _EACH_SITE, ["[rules.planted_by_site]", *days]), ""]


def _design(facts: Facts) -> Iterator[str]:
    often = sorted(facts.methods, key=lambda name: -facts.methods[name])
    groups = _groups(often[:_MOST_NAMES])
    names = [group[0] for group in groups]
    yield from _preparations(facts, groups)
    yield "[design]"
    if len(names) > 1:
        told = facts.works.of_method if facts.works else {}
        works = {name: len(own.sure) for name, own in told.items()}  # the usual one has few
        first = sorted(names, key=lambda name: (_NOTHING.search(name) is None, works.get(name, 0)))
        yield from asked(
            Rank.USUAL,
            "which preparation is the usual one? All others are compared with it.",
            [f"usual_practice = {quoted(name)}" for name in first],
        )
        yield from asked(
            Rank.ALLOCATION,
            "how was the preparation of each plot chosen? Only chance makes a difference its effect.",
            [
                'allocation = "random within blocks"   # by chance, in every block or site',
                'allocation = "by choice"   # to suit the ground or the owner',
                'allocation = "not recorded"   # nobody knows',
            ],
        )
        yield from asked(
            Rank.PLACED,
            "how were the plots placed on the ground? Where by choice, the evidence is a step weaker.",
            [
                'plots_placed = "random"   # by chance, over all of the planting',
                'plots_placed = "by choice"   # where somebody chose',
                'plots_placed = "not recorded"   # nobody knows',
            ],
        )
        if facts.blocks:
            yield 'strata = ["site", "block"]   # preparations are compared within blocks'
    if facts.radius:
        yield from asked(
            Rank.RADIUS,
            "when was the weed-free radius measured? Only one of planting can explain survival.",
            ['radius_measured = "at planting"', 'radius_measured = "after planting"'],
        )
    yield from [
        "",
        *asked(
            Rank.DRY_SEASON,
            "when does the dry season start and end? Its rain is told by it.",
            [
                "[dry_season]",
                'start = ""   # month-day, such as 12-01',
                'end = ""   # month-day, such as 03-31',
            ],
        ),
        "",
    ]
    for name, day, window in _milestones(facts):
        yield from ["[[milestones]]", f"name = {quoted(name)}", f"day = {day}", f"window_days = {window}", ""]


def _preparations(facts: Facts, groups: Sequence[Sequence[str]]) -> Iterator[str]:
    """Write the preparations where they are spelt in several ways, or a diary tells their works."""
    lines = []
    in_doubt = any(len(group) > 1 for group in groups)
    for group in groups if in_doubt or facts.works else ():
        lines += ["[[methods]]", f"name = {quoted(group[0])}"]
        if len(group) > 1:
            lines.append(f"also = [{', '.join(map(quoted, group[1:]))}]")
        if facts.works and (own := facts.works.of(group)):
            told = list(works_lines(own))
            lines += told[:1] if in_doubt else told
        lines += [] if in_doubt else [""]
    if in_doubt:
        text = (
            f'{len(facts.methods)} names of preparations are written. Are those after "also" the name before '
            "them, spelt otherwise? Without an answer every spelling is a preparation of its own."
        )
        yield from [*asked(Rank.METHODS, text, lines), ""]
    elif lines:
        yield from ["# Works of each preparation, from the diary: no sheet says what was planned.", *lines]
    if facts.works:
        yield from design_lines(facts.works)


def _groups(names: Sequence[str]) -> list[list[str]]:
    """Put names of preparations together that name the same works, those with most plots first."""
    groups: list[list[str]] = []
    for name in names:
        same = [group for group in groups if _works(name) == _works(group[0])]
        # "no spray" beside "hand-dug, no spray": what is left out tells them.
        near = [group for group in groups if _says_no(name) and _works(name) < _works(group[0])]
        if same or len(near) == 1:
            (same or near)[0].append(name)
        else:
            groups.append([name])
    return groups


def _works(name: str) -> frozenset[str]:
    """Works of a name by the stems of its words: ripped, ripping and rip are one."""
    words = re.findall(r"[^\W\d_]+|\d+", name.casefold())
    return frozenset(stem for word in words if (stem := _stem(word)) not in _FILLING)


def _stem(word: str) -> str:
    stem = re.sub(r"(?:ing|ed|s)$", "", word) if len(word) > _SHORT else word
    doubled = len(stem) > 2 and stem[-1] == stem[-2] and stem != word
    return stem[:-1] if doubled else stem


def _says_no(name: str) -> bool:
    return re.search(r"\bno\b|\bwithout\b", name.casefold()) is not None
