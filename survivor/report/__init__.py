"""Reports: what an analysis says, as a page, as tables and as data."""
