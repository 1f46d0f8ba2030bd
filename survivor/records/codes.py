"""Every code a problem can have: how grave it is, and what becomes of the record.

``excluded``: the record is not used until it is mended. ``listed``: nothing is
wrong with the record, it only says nothing of survival. ``used``: it is used, by
the rule that the problem states.
"""

from __future__ import annotations

from typing import Final, NamedTuple

from survivor.vocabulary import Severity


class Code(NamedTuple):
    """What a code means."""

    severity: Severity
    fate: str
    reason: str


_STOP, _CHECK, _NOTE = Severity.STOP, Severity.CHECK, Severity.NOTE

CODES: Final[dict[str, Code]] = {
    # Sheets.
    "how-read": Code(_NOTE, "used", "the file was read in another way than UTF-8 with commas"),
    "assumed": Code(_CHECK, "used", "something was taken so that nothing in the sheets tells"),
    "sheet-not-read": Code(_CHECK, "used", "a sheet that seems to hold plots or seedlings is not read"),
    "no-site": Code(_NOTE, "used", "no column tells sites apart: all plots are taken as one site"),
    "total-row": Code(_NOTE, "listed", "a row that sums up others"),
    "note-row": Code(_NOTE, "listed", "a remark between or below the records"),
    "unused-line": Code(_CHECK, "listed", "a tag and nothing else, below the records of its plot"),
    # The study file.
    "planted-unmatched": Code(_CHECK, "used", "a number planted that no plot matches is left out"),
    "planted-missing": Code(_CHECK, "used", "plots without a number planted count for nothing in averages"),
    "gauge-site-unmatched": Code(_CHECK, "used", "a gauge stands for a site that no record has"),
    "site-without-gauge": Code(_NOTE, "used", "no gauge stands for the site"),
    "dry-season-absent": Code(_NOTE, "used", "a gauge is named and no dry season"),
    "stratum-absent": Code(_CHECK, "used", "a stratum that the records do not tell"),
    "usual-practice-absent": Code(_CHECK, "used", "no plot holds the usual local practice"),
    "usual-practice-unnamed": Code(_CHECK, "used", "the usual local practice is not named"),
    "method-without-plots": Code(_NOTE, "used", "a preparation of the study file that no plot holds"),
    "method-without-cost": Code(_NOTE, "used", "a preparation without a cost, where others have one"),
    "currency-absent": Code(_NOTE, "used", "costs are given without a currency"),
    "target-absent": Code(_CHECK, "used", "a target is to be checked and none is given"),
    "milestone-not-reached": Code(_CHECK, "used", "the visits have not reached the milestone"),
    "later-milestone": Code(_NOTE, "used", "the visits have not reached a milestone besides the headline"),
    "rule-without-use": Code(_NOTE, "used", "a rule that is for another kind of records"),
    "column-word": Code(_CHECK, "used", "a word for a column that may be another, misspelt"),
    # Cells.
    "date-order": Code(_STOP, "excluded", "the dates fit the other order of day and month"),
    "blank-key": Code(_STOP, "excluded", "the site, plot or tag is blank"),
    "blank-date": Code(_STOP, "excluded", "the date is blank"),
    "ambiguous-date": Code(_STOP, "excluded", "the date can be read in two ways"),
    "unreadable-date": Code(_STOP, "excluded", "the date cannot be read"),
    "serial-date": Code(_NOTE, "used", "a spreadsheet's day number, read as a day"),
    "unknown-state": Code(_STOP, "excluded", "the word for the state is not known"),
    "state-number": Code(
        _CHECK, "used", "a number for a state, where other words or numbers stand for states too"
    ),
    "unknown-cohort": Code(_STOP, "excluded", "the word for first planting or infill is not known"),
    "percentage": Code(_STOP, "excluded", "a percentage where a count is needed"),
    "unreadable-count": Code(_STOP, "excluded", "the count cannot be read"),
    "negative-count": Code(_STOP, "excluded", "a negative count"),
    "fractional-count": Code(_STOP, "excluded", "a count that is not whole"),
    "unreadable-number": Code(_CHECK, "used", "a measure that cannot be read is left blank"),
    "impossible-measure": Code(_CHECK, "used", "a measure that nothing can have is left blank"),
    "height-without-plant": Code(_CHECK, "used", "a height beside the word that there is no living plant"),
    "height-unlike": Code(_CHECK, "used", "a height that those before and after do not bear out"),
    "height-unit": Code(_CHECK, "used", "a height that may be in another unit than its column"),
    "blank-untold": Code(_CHECK, "listed", "blank where no cell says alive, or none says dead"),
    "site-blank": Code(_CHECK, "listed", "no seedling of the site has a state at a visit that others have"),
    "not-visited": Code(_NOTE, "listed", "not visited or blank: the state is unknown"),
    "no-name": Code(
        _CHECK, "used", "a site, plot, tag or preparation whose name is a date or no name at all"
    ),
    "spelling": Code(_NOTE, "used", "a spelling that differs in case or spaces only"),
    "renamed": Code(_NOTE, "used", "a name read as another, as the study file says"),
    "cause-spelling": Code(_CHECK, "used", "a cause of death that may be another, misspelt"),
    "species-spelling": Code(_CHECK, "used", "a species that may be another, misspelt"),
    # Plots.
    "unknown-plot": Code(_STOP, "excluded", "the plot is not in the plot sheet"),
    "plot-without-visits": Code(_CHECK, "listed", "no visit of the plot can be used"),
    "repeated-plot": Code(_CHECK, "listed", "the same row of the plot sheet a second time"),
    "odd-preparation": Code(
        _CHECK, "used", "a row tells another preparation than the rest of its plot; that of the rest is used"
    ),
    "plot-differs": Code(_STOP, "excluded", "two rows tell different things of one plot"),
    "fact-differs": Code(_CHECK, "used", "a fact of the plot is told in two ways and left blank"),
    "unknown-method": Code(_STOP, "excluded", "the method of the plot is not known"),
    "method-differs": Code(_CHECK, "used", "visits and plot sheet tell different methods"),
    "method-spelling": Code(_CHECK, "used", "a method that may be another, misspelt"),
    "site-spelling": Code(_CHECK, "used", "a site that may be another, misspelt"),
    "small-plot": Code(_CHECK, "used", "a plot of one or two plants beside plots of many"),
    "one-plot-method": Code(_CHECK, "used", "the only plot of its method"),
    "one-plot-site": Code(_NOTE, "used", "the only plot of its site"),
    "no-planting-date": Code(_STOP, "excluded", "the plot has no planting date"),
    "planting-in-future": Code(_STOP, "excluded", "the planting date is after the records were closed"),
    "several-plantings": Code(_STOP, "excluded", "the plot has planting days of several seasons"),
    "several-planting-days": Code(_NOTE, "used", "days count from the last planting day of the plot"),
    "planting-date-differs": Code(_CHECK, "used", "visits and plot sheet give different planting dates"),
    "impossible-radius": Code(_CHECK, "used", "an impossible radius is left blank"),
    "radius-in-centimetres": Code(_CHECK, "used", "a radius that seems to be in centimetres is left blank"),
    "radius-in-metres": Code(_CHECK, "used", "a radius that seems to be in metres is left blank"),
    "radius-like-diameter": Code(_CHECK, "used", "a radius that looks like a diameter"),
    "trait-spelling": Code(_CHECK, "used", "a word of a trait that may be another, misspelt"),
    "trait-blank": Code(_CHECK, "used", "a trait is blank where nearly all other plots have it"),
    "planted-unusual": Code(_CHECK, "used", "a number planted that nothing else bears out"),
    "plot-of-one-visit": Code(_CHECK, "used", "a plot of one visit, where the others have several"),
    "planting-far": Code(_CHECK, "used", "a planting day years from everything else"),
    "diameter-halved": Code(_NOTE, "used", "a diameter, halved to the radius"),
    # Visits.
    "planting-odd": Code(_STOP, "excluded", "the planting date of a plot is after one of its visits"),
    "before-planting": Code(_STOP, "excluded", "the visit is dated before planting"),
    "in-the-future": Code(_STOP, "excluded", "the visit is dated after the records were closed"),
    "out-of-order": Code(_STOP, "excluded", "the visit is dated before an earlier visit of the plot"),
    "visit-lacking": Code(_NOTE, "used", "a plot without a row of a visit that most of its site have"),
    "off-its-round": Code(_CHECK, "used", "a visit weeks from the days of the plots beside it"),
    "visit-spread": Code(_CHECK, "used", "one visit of the plot spans more than two months"),
    "repeated-record": Code(_CHECK, "listed", "the same record a second time"),
    "duplicate-record": Code(_STOP, "excluded", "two records of one visit contradict each other"),
    "second-observer": Code(_NOTE, "listed", "taken again at the same visit by another observer"),
    "observers-compared": Code(_NOTE, "used", "how well two observers of the same visits agree"),
    "infill-no-date": Code(_STOP, "excluded", "infill without a planting date"),
    # Tagged seedlings.
    "reshoot": Code(_NOTE, "used", "called dead and alive later: alive throughout"),
    "reshoot-late": Code(_CHECK, "used", "called dead at several visits and alive later: alive throughout"),
    "alive-after-missing": Code(_CHECK, "used", "called missing and alive later: alive throughout"),
    "unconfirmed-death": Code(_NOTE, "used", "dead at the last visit only: counted as dead, unconfirmed"),
    "not-found": Code(_NOTE, "listed", "not found: the state is unknown"),
    "doubtful": Code(_CHECK, "listed", "somebody looked and was in doubt: neither alive nor dead"),
    "not-found-at-end": Code(_CHECK, "listed", "never found again: followed to the last sighting"),
    "lost-from-sight": Code(_CHECK, "used", "no record after this one: followed to this sighting"),
    "missing-unknown": Code(_NOTE, "listed", "missing, taken as unknown by the study file"),
    "blank-alive": Code(_NOTE, "used", "blank, taken as alive by the study file"),
    "radius-read-in-metres": Code(_NOTE, "used", "a radius in a column of centimetres read as metres"),
    "missing-dead": Code(_NOTE, "used", "missing, taken as dead at the visit first missing"),
    "skipped-visit": Code(
        _NOTE, "used", "a visit of the plot without a record of the seedling before this one"
    ),
    "blank-dead": Code(_CHECK, "used", "blank, taken as dead by the study file"),
    "plot-all-blank": Code(_CHECK, "used", "every seedling of the plot is blank at the visit"),
    "measured-alive": Code(_NOTE, "used", "a height and no state, taken as alive by the study file"),
    "dead-at-planting": Code(_CHECK, "excluded", "dead on the day of planting"),
    "never-seen-alive": Code(_CHECK, "excluded", "never seen alive, and not known to be tagged at planting"),
    "seen-once": Code(_NOTE, "listed", "one sighting only: nothing before or after it to compare with"),
    "tagged-not-told": Code(
        _CHECK, "used", "followed from the first sighting, as nothing tells when it was tagged"
    ),
    "delayed-entry": Code(_NOTE, "used", "followed from the first sighting, not from planting"),
    "more-tags-than-planted": Code(_CHECK, "used", "more tags than seedlings planted in the plot"),
    "tag-spelling": Code(_CHECK, "used", "two tags that are probably one, written in two ways"),
    "tag-of-one-visit": Code(
        _CHECK, "used", "a tag of one visit only, at which another tag of the plot is missing"
    ),
    "tag-in-two-plots": Code(_CHECK, "used", "a tag that stands in two plots, where the others stand in one"),
    "tag-joined": Code(_NOTE, "used", "two spellings of a tag taken as one, as the study file allows"),
    "replanted-tag": Code(_NOTE, "used", "what the tag tells after it was replanted: infill"),
    "replant-row": Code(_CHECK, "used", "a tag that begins when the first plant was gone, taken as infill"),
    "replant-unclear": Code(_STOP, "excluded", "a tag that lives on where the sheet speaks of replanting"),
    "two-species-one-tag": Code(_CHECK, "used", "one tag with two species"),
    # Counts.
    "more-alive-than-planted": Code(_STOP, "excluded", "more alive than planted"),
    "fewer-at-planting": Code(_CHECK, "excluded", "a count on the planting day below the number planted"),
    "count-rises": Code(_CHECK, "excluded", "two counts that contradict each other: the later is higher"),
    "count-falls": Code(_CHECK, "used", "a count that fell by far, where those of the plots beside it held"),
    "count-mended": Code(_NOTE, "used", "raised to the higher count that followed, as the study file allows"),
    "infill-mixed": Code(_CHECK, "excluded", "infill is counted together with the first planting"),
    "living-reckoned": Code(_NOTE, "used", "counts of the dead, or shares, turned into counts of the living"),
    "no-planted-for-living": Code(_STOP, "excluded", "dead or shares are told, and no number planted"),
    "share-of-no-number": Code(_STOP, "excluded", "a share of the planted that is no whole number"),
    "more-dead-than-planted": Code(_STOP, "excluded", "more dead than planted"),
    "no-planted-number": Code(_CHECK, "used", "no number planted: followed from the first count"),
    "planted-differs": Code(_STOP, "excluded", "different numbers planted are given for one plot"),
    "nothing-planted": Code(_CHECK, "listed", "no seedling was planted"),
    # Works.
    "work-without-place": Code(_STOP, "excluded", "nothing tells where the work was done"),
    "work-unnamed": Code(_STOP, "excluded", "the work is blank"),
    "work-nowhere": Code(
        _STOP, "excluded", "the work is of no plot of the records, or of none in particular"
    ),
    "work-in-future": Code(_STOP, "excluded", "the work is dated after the records were closed"),
    "work-before-planting": Code(_STOP, "excluded", "follow-up weed control dated before planting"),
    "work-after-planting": Code(_CHECK, "used", "a work that belongs before planting, dated after it"),
    "work-long-before": Code(_CHECK, "used", "a work dated years before planting"),
    "work-undated": Code(_CHECK, "used", "a work without a day: done, nobody knows when"),
    "work-spelling": Code(_CHECK, "used", "a work that may be another, misspelt"),
    "work-own-word": Code(_NOTE, "used", "a work without a name of survivor's, carried along"),
    "soil-state-unknown": Code(_CHECK, "used", "a word for the soil that is not known, left blank"),
    "repeated-work": Code(_CHECK, "listed", "the same work of the same plots on the same day a second time"),
    "work-not-in-diary": Code(_NOTE, "used", "a planned work of which the diary does not speak"),
    "work-not-done": Code(_CHECK, "used", "a planned work that the plot did not get"),
    "work-at-other-time": Code(
        _CHECK, "used", "a work at another time than on most plots of its preparation"
    ),
    "work-not-planned": Code(_NOTE, "used", "a work that the preparation of the plot does not hold"),
    "plot-without-works": Code(_CHECK, "used", "a plot of which the diary has no row"),
}
