"""The report itself: at most four pages, from the parts of an analysis; everything else is in the annex."""
