"""Establishment survival analysis: field records to evidence.

>>> import survivor
>>> study = survivor.load("datasets/tagged")
>>> study.problems  # what is wrong in the records, each with what to do  # doctest: +SKIP
>>> plants = study.first_plants  # risk intervals, one row a stretch between two visits
>>> survivor.compare(plants, at=365)  # differences per 100 planted  # doctest: +SKIP

From a task to its name (``help(survivor.NAME)`` has the rest):

=========================================  =========================================================
survival as it was seen                    ``curve``, ``median_days``, ``mean_days_alive``, ``log_rank``
methods compared as a report does          ``compare``: fit, test one ratio all season, differences
a model, and what it says of terms         ``fit``; its ``contrast``, ``test``, ``baseline``, ``predict``
survival and differences from a fit        ``survival``, ``contrasts``, ``non_inferiority``, ``like_sites``
limits at another level than 95 %          ``limits_at``, and ``level=`` where a call takes it
whether the model holds                    ``diagnose``, ``hazards``, ``residual_rounds``, ``within_between``
whether chance or something hidden did it  ``permutation_test``, ``sensitivity``, ``e_value``
a dose: radius, and where more stops       ``dose``, ``radius_by_method``
what it costs, what to order               ``payoff``, ``stems_needed``, ``infill_order``, ``fieller``
rain and water of the soil                 ``stress_days``, ``soil``
several seasons                            ``pool``, ``pool_by``
before the season                          ``plan``, ``sizes``
proportions of plots                       ``proportions``: Wilson, Newcombe, design effect, correlation
tags put on after planting                 ``from_first_visit``
=========================================  =========================================================

Coming from other libraries:

=============================================  ==================================================
lifelines ``KaplanMeierFitter``                ``curve(rows, by=...)``, limits by plot
lifelines ``CoxPHFitter(strata=)``             ``fit(rows, "...", model="cox")``; visits: ``fit(rows, "...")``
lifelines ``multivariate_logrank_test``        ``log_rank(rows)``; ``cluster=None`` for seedlings alone
lifelines ``CoxPHFitter.check_assumptions``    ``print(fit)``, ``hazards(fit)``: one test for every model
statsmodels ``results.conf_int(alpha=0.1)``    ``fit.summary(level=0.9)``, ``limits_at(result, 0.9)``
statsmodels ``GLM(..., Binomial(CLogLog()))``  ``fit(rows, "...", cluster=None)`` where visits are shared
statsmodels ``GLM(..., Binomial())``           ``fit(rows, "...", model="logistic", at=365, cluster=None)``
statsmodels ``results.t_test``, ``wald_test``  ``fit.contrast("a - b")``, ``fit.test("a = b; c = 0")``
R ``survfit``, ``survdiff``                    ``curve``, ``log_rank``
R ``cox.zph``                                  ``fit.residuals()``, ``residual_rounds(fit).plot()``
R ``coxph(... + cluster(plot))``               ``fit(rows, "...", model="cox", cluster="plot")``
R ``coxme``, ``glmer``                         ``fit(rows, "...", model="mixed")``, with ``at=`` for odds
R ``emmeans``                                  ``survival(fit)``, ``contrasts(fit, pairs="all")``
=============================================  ==================================================

One row of a table is a group of ``at_risk`` seedlings alive on ``start_day`` and looked at again
on ``stop_day``, of which ``died`` were found dead; see ``survivor.intervals``. What is public
stands in ``__init__.pyi``, for editors, type checkers and the package itself. Names are loaded
when first used, so that importing the package costs nothing.
"""

import lazy_loader

from survivor._version import __version__ as __version__

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
