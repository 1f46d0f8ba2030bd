"""Every figure, from plain frames; the only place that imports matplotlib or seaborn.

Each module draws one kind of answer. A ``draw_...`` function takes the table of a
result and matplotlib Axes (a new one where none is given) and returns the Axes;
a ``..._figure`` function lays out a whole figure for a page, wide or narrow.
:mod:`survivor.figures.svg` turns a figure into text that can stand inside a page.
"""
