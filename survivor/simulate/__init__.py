"""Cohorts with known truth, drawn from stated parameters.

A seedling of plot p dies at the first time its cumulative hazard passes an
exponential draw::

    H(t) = H0(t) * exp(method + species + radius + site + method at that site + plot)

``H0`` is piecewise linear: one constant hazard from planting to the first dry
season, one for the first dry season, and so on. Death is seen only at the next
visit at which the seedling is found. Four paths share one draw: tidy frames
(:func:`draw_records`), risk intervals for calibration (:func:`draw_intervals`),
bare arrays (:func:`draw_watched`) and the truth that both estimate (:func:`true_effects`).
"""
